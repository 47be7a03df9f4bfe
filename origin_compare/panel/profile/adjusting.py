"""From panel rows to a profile: adjusted means per batch and the test that tells batches apart."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from origin_compare.answers import count, listed
from origin_compare.errors import NotEnoughData
from origin_compare.panel.profile.components import (
    Components,
    Layout,
    Solution,
    estimate_components,
    lay_out,
    linked,
    solve,
)
from origin_compare.panel.profile.profile import Profile, Verdict, centring
from origin_compare.panel.score_rows import Rows, usable

Floats = NDArray[np.float64]

ALPHA = 0.05
FEW_ASSESSORS = 5
TOLD = 0.05
"""Least share of a covariate's spread that has to be its own for an adjustment."""
SAME_STRENGTH = 1.0
"""Served strengths no further apart than this, % vol, count as one (common practice)."""
PILED = 1 / 3
"""Share of scores at the lowest mark past which the figures of an attribute are called rough."""


def adjusted(
    scores: pd.DataFrame, scales: Mapping[str, tuple[float, float]] | None = None
) -> Profile:
    """Batch x attribute profile from long panel scores (columns of the scores sheet).

    Per attribute a mixed model with assessor, assessor:batch, tasting and assessor:tasting random
    gives the noise; batch effects are adjusted means by generalised least squares (batch fixed,
    serving position and served strength as covariates where they can be told apart from batch and
    tasting). Samples served again, such as a hidden control, link the tastings; few linked
    tastings are fixed too. For the strength of the cut see `at_one_cut`.
    `scales`: see `rows.usable`.
    Raises `NotEnoughData` for fewer than two batches or assessors (a consensus sheet has none),
    `MixedScales` for several scales without a mapping, `ValueError` for a missing column.
    """
    rows = usable(scores, scales)
    _refuse_too_little(rows)
    usable_parts: dict[str, pd.DataFrame] = {}
    unusable: list[tuple[str, str, int]] = []
    for attribute, part in parts_of(rows.frame):
        cause = _cause_against(part, rows)
        if cause:
            unusable.append((attribute, cause, len(part)))
        else:
            usable_parts[attribute] = part
    if not usable_parts:
        raise NotEnoughData(
            "No attribute can be compared: "
            + "; ".join(f"{name} {cause}" for name, cause, _ in unusable)
            + ". Give each assessor's own scores of at least two batches."
        )
    fits = _fits(usable_parts)
    verdicts = _verdicts(fits, rows)
    told = {verdict.attribute: verdict.told_apart for verdict in verdicts}
    parts = [_estimates(name, *fits[name], told[name]) for name in (v.attribute for v in verdicts)]
    return Profile(
        estimates=pd.concat(parts, ignore_index=True),
        verdicts=verdicts,
        scale=rows.scale,
        batches=rows.batches,
        controls=rows.controls,
        unusable=pd.DataFrame(unusable, columns=["attribute", "cause", "rows"]),
        notes=_notes(rows, fits, unusable),
        counts={
            "scores": len(rows.frame),
            "assessors": rows.frame["assessor_id"].nunique(),
            "tastings": rows.frame["tasting_id"].nunique(),
        },
        solutions={name: (solution, tuple(ids)) for name, (solution, _, ids) in fits.items()},
    )


def parts_of(frame: pd.DataFrame) -> list[tuple[str, pd.DataFrame]]:
    """The rows of each attribute, names held as categories so that grouping is quick."""
    names = {"tasting_id", "assessor_id", "batch_id", "sample_kind"}
    quick = frame.astype(dict.fromkeys(names, "category"))
    return [
        (str(name), part.reset_index(drop=True))
        for name, part in quick.groupby("attribute", sort=False)
    ]


def _refuse_too_little(rows: Rows) -> None:
    who = sorted(set(rows.frame["assessor_id"]))
    if len(who) < 2:
        raise NotEnoughData(
            f"Scores of {count(len(who), 'assessor')}{' (' + who[0] + ')' if who else ''}: "
            "how far assessors disagree cannot be seen, so no figure could carry its error. "
            "A consensus sheet holds no single scores; keep each assessor's own row."
        )
    if len(rows.batches) < 2:
        raise NotEnoughData(
            f"{count(len(rows.batches), 'batch')} tasted: a comparison needs at least two. "
            "Add the scores of more batches."
        )


def _cause_against(part: pd.DataFrame, rows: Rows) -> str:
    """Why an attribute cannot be compared, or nothing."""
    if part["assessor_id"].nunique() < 2:
        return "was scored by one assessor only"
    if part.loc[part["batch_id"].isin(rows.batches), "batch_id"].nunique() < 2:
        return "was scored on one batch only"
    if part["score"].nunique() < 2:
        return "was scored the same every time"
    if part.groupby("batch_id", observed=True)["score"].nunique().max() < 2:
        return "has one and the same score from everybody on each batch, as a consensus sheet has"
    if len(part) <= part["batch_id"].nunique() + part["assessor_id"].nunique():
        return "has too few scores for a standard error"
    return ""


def _fits(
    parts: Mapping[str, pd.DataFrame],
) -> dict[str, tuple[Solution, pd.DataFrame, list[str]]]:
    """The fit of each attribute; attributes scored on the very same rows are fitted together."""
    alike: dict[bytes, list[str]] = {}
    layouts: dict[bytes, tuple[Layout, list[str]]] = {}
    for name, part in parts.items():
        batch, ids = pd.factorize(part["batch_id"], sort=True)
        assessor = pd.factorize(part["assessor_id"])[0]
        tasting = pd.factorize(part["tasting_id"])[0]
        covariates = covariates_of(part, batch, tasting)
        seen = [batch, assessor, tasting, *covariates.values()]
        key = np.stack(seen).tobytes() + "\n".join([*covariates, *map(str, ids)]).encode()
        alike.setdefault(key, []).append(name)
        if key not in layouts:
            layout = lay_out(batch, assessor, tasting, covariates)
            layouts[key] = layout, [str(one) for one in ids]
    found = {}
    for key, names in alike.items():
        layout, known = layouts[key]
        ys = np.column_stack([parts[name]["score"].to_numpy() for name in names])
        means, spreads = ys.mean(axis=0), ys.std(axis=0)
        standard = (ys - means) / spreads
        for i, components in enumerate(estimate_components(layout, standard)):
            solution = solve(layout, standard[:, i], components)
            scaled = _unscaled(solution, float(means[i]), float(spreads[i]))
            found[names[i]] = (scaled, parts[names[i]], known)
    return {name: found[name] for name in parts}


def _unscaled(solution: Solution, mean: float, spread: float) -> Solution:
    """Back on the panel's scale: the search itself is done on standardised scores."""
    found = solution.components
    components = Components(
        variance={name: value * spread**2 for name, value in found.variance.items()},
        cov=found.cov * spread**4,
        status=found.status,
    )
    return Solution(
        estimate=mean + spread * solution.estimate,
        cov=solution.cov * spread**2,
        slopes=solution.slopes * spread,
        slopes_cov=solution.slopes_cov * spread**2,
        weights=solution.weights,
        components=components,
        layout=solution.layout,
    )


def covariates_of(
    part: pd.DataFrame, batch: NDArray[np.intp], tasting: NDArray[np.intp]
) -> dict[str, Floats]:
    """What a score is adjusted for, each centred: `position` and `served_abv_pct`.

    One is absent where it is missing, hardly changes, or moves with what is compared: position
    with the batch, strength with batch or tasting.
    """
    position = part["position"]
    strength = part["served_abv_pct"]
    found = {}
    if position.notna().mean() >= 0.9 and position.nunique() > 1:
        centred = (position - position.mean()).fillna(0.0)
        if _left(centred, [batch]) >= TOLD:
            found["position"] = centred.to_numpy()
    if strength.notna().mean() >= 0.9 and np.ptp(strength.dropna()) > SAME_STRENGTH:
        centred = (strength - strength.mean()).fillna(0.0)
        if _left(centred, [batch, tasting]) >= TOLD:
            found["served_abv_pct"] = centred.to_numpy()
    return found


def _left(centred: pd.Series, groups: list[NDArray[np.intp]]) -> float:
    """Share of a covariate's spread that no group's level explains."""
    y = centred.to_numpy()
    known = np.column_stack([pd.get_dummies(codes).to_numpy(dtype=float) for codes in groups])
    rest = y - known @ (np.linalg.pinv(known.T @ known, hermitian=True) @ (known.T @ y))
    return float((rest**2).sum() / (y**2).sum())


def _verdicts(
    fits: Mapping[str, tuple[Solution, pd.DataFrame, list[str]]], rows: Rows
) -> tuple[Verdict, ...]:
    tests = {name: _test(fit[0], fit[2], rows) for name, fit in fits.items()}
    p = np.array([test[3] for test in tests.values()])
    adjusted_p = stats.false_discovery_control(p)
    found = [
        Verdict(
            attribute=name,
            told_apart=bool(p_adjusted < ALPHA),
            f=f,
            df_batch=df1,
            df_error=df2,
            p=p_value,
            p_adjusted=float(p_adjusted),
            reliability=_reliability(*fits[name], rows),
            components=fits[name][0].components,
        )
        for (name, (f, df1, df2, p_value)), p_adjusted in zip(
            tests.items(), adjusted_p, strict=True
        )
    ]
    return tuple(sorted(found, key=lambda v: (v.p, -v.f)))


def _test(solution: Solution, ids: list[str], rows: Rows) -> tuple[float, int, float, float]:
    """F, its two degrees of freedom and p for all real batches being alike."""
    kept = _kept(ids, rows)
    contrasts = np.zeros((len(ids), len(kept) - 1))
    contrasts[kept[0], :] = -1.0
    contrasts[kept[1:], np.arange(len(kept) - 1)] = 1.0
    values, vectors = np.linalg.eigh(contrasts.T @ solution.cov @ contrasts)
    turned = contrasts @ vectors
    t_squared = (turned.T @ solution.estimate) ** 2 / values
    _, df = solution.variance_of(turned)
    q = len(values)
    f = float(t_squared.mean())
    df = df[df > 2]
    expected = float(np.sum(df / (df - 2))) if np.all(np.isfinite(df)) else float("inf")
    if q == 1:
        df_error = float(solution.variance_of(turned)[1][0])
    elif not np.isfinite(expected):
        df_error = float(np.min(df)) if len(df) else 1.0
    else:
        df_error = 2 * expected / (expected - q) if expected > q else 1.0
    return f, q, df_error, float(stats.f.sf(f, q, df_error))


def _reliability(solution: Solution, part: pd.DataFrame, ids: list[str], rows: Rows) -> float:
    kept = _kept(ids, rows)
    noise = centring(len(kept)) @ solution.cov[np.ix_(kept, kept)] @ centring(len(kept))
    own = solution.components.variance["batch"]
    error = float(np.trace(noise)) / (len(kept) - 1)
    return own / (own + error) if own + error > 0 else 0.0


def _kept(ids: list[str], rows: Rows) -> NDArray[np.intp]:
    real = set(rows.batches)
    return np.array([i for i, name in enumerate(ids) if name in real])


def _estimates(
    attribute: str, solution: Solution, part: pd.DataFrame, ids: list[str], told_apart: bool
) -> pd.DataFrame:
    batches = set(part.loc[part["sample_kind"].eq("batch"), "batch_id"])
    kept = np.array([i for i, name in enumerate(ids) if name in batches])
    level = np.eye(len(ids))[:, kept]
    variance, df = solution.variance_of(level)
    against = level - level.mean(axis=1, keepdims=True)
    variance_compare, df_compare = solution.variance_of(against)
    se = np.sqrt(variance)
    estimate = solution.estimate[kept]
    margin = stats.t.ppf(1 - ALPHA / 2, df) * se
    names = [ids[i] for i in kept]
    by_batch = part.groupby("batch_id", observed=True)
    return pd.DataFrame(
        {
            "batch_id": names,
            "attribute": attribute,
            "estimate": estimate,
            "se": se,
            "df": df,
            "low": estimate - margin,
            "high": estimate + margin,
            "n_scores": by_batch.size().loc[names].to_numpy(),
            "n_assessors": by_batch["assessor_id"].nunique().loc[names].to_numpy(),
            "told_apart": told_apart,
            "se_compare": np.sqrt(variance_compare),
            "df_compare": df_compare,
        }
    )


def _notes(
    rows: Rows,
    fits: Mapping[str, tuple[Solution, pd.DataFrame, list[str]]],
    unusable: list[tuple[str, str, int]],
) -> tuple[str, ...]:
    notes = [rows.left_out_words()] if rows.left_out_words() else []
    notes += [f"{name} left out, for it {cause}" for name, cause, _ in unusable]
    layouts = [fit[0].layout for fit in fits.values()]
    if not any("assessor:batch" in layout.used for layout in layouts):
        notes.append(
            "no assessor tasted a batch twice, so disagreement on a batch and plain repeat error "
            "stand as one"
        )
    if not all(linked(layout.batch, layout.tasting) for layout in layouts):
        notes.append(
            "not all tastings share a sample with another, so batches of different tastings are "
            "compared through the spread between tastings only; serve one hidden control every time"
        )
    if not any("position" in layout.terms for layout in layouts):
        notes.append("serving position could not be allowed for")
    people = rows.frame["assessor_id"].nunique()
    if people < FEW_ASSESSORS:
        notes.append(
            f"with {people} assessors, how far assessors differ is known only roughly, and the "
            "intervals are wide for it"
        )
    low = rows.frame.groupby("attribute", sort=False)["score"].agg(lambda y: (y <= y.min()).mean())
    piled = [name for name in fits if low[name] > PILED]
    if piled:
        notes.append(
            f"scores of {listed(piled)} pile up at the lowest mark, so their figures are rough"
        )
    doubtful = [n for n, fit in fits.items() if fit[0].components.status == "not_converged"]
    if doubtful:
        notes.append(f"the fit of {listed(doubtful)} is doubtful")
    notes += _strength_words(rows.frame["served_abv_pct"].dropna(), layouts)
    return tuple(notes)


def _strength_words(served: pd.Series, layouts: list[Layout]) -> list[str]:
    if served.empty or np.ptp(served) <= SAME_STRENGTH:
        return []
    words = f"served at {served.min():.1f} to {served.max():.1f} % vol"
    if any("served_abv_pct" in layout.terms for layout in layouts):
        return [f"{words}: scores adjusted to the mean strength"]
    return [
        f"{words}: strength itself moves scores, and here it goes with the batch or the tasting, "
        "so it cannot be adjusted for"
    ]
