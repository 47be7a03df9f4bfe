"""From panel rows to a profile: adjusted means per batch and the test that tells batches apart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse, stats
from scipy.sparse.linalg import lsqr

from origin_compare.answers import count, listed
from origin_compare.errors import NotEnoughData
from origin_compare.estimates import ALPHA, false_discovery
from origin_compare.one_thread import one_thread
from origin_compare.panel.profile.batch_effects import Solution, Spread, batch_equations, solve
from origin_compare.panel.profile.batch_test import batch_test
from origin_compare.panel.profile.components import Layout, estimate_components, lay_out, linked
from origin_compare.panel.profile.equations import Ints, Solver, incidence
from origin_compare.panel.profile.profile import Profile, Verdict
from origin_compare.panel.score_rows import Rows, usable

Floats = NDArray[np.float64]

FEW_ASSESSORS = 5
TOLD = 0.05
"""Least share of a covariate's spread that has to be its own for an adjustment."""
SAME_STRENGTH = 1.0
"""Served strengths no further apart than this, % vol, count as one (common practice)."""
PILED = 1 / 3
"""Share of scores at the lowest mark past which the figures of an attribute are called rough."""


@one_thread
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
    fits = _fits(usable_parts, rows)
    verdicts = _verdicts(fits)
    told = {verdict.attribute: verdict.told_apart for verdict in verdicts}
    parts = [_estimates(name, fits[name], told[name]) for name in (v.attribute for v in verdicts)]
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
        solutions={name: (fit.solution, tuple(fit.ids)) for name, fit in fits.items()},
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
    who = sorted(rows.frame["assessor_id"].unique())
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
    people, tasted = part["assessor_id"].nunique(), part["batch_id"].unique()
    if people < 2:
        return "was scored by one assessor only"
    if len(set(tasted) & set(rows.batches)) < 2:
        return "was scored on one batch only"
    if np.ptp(part["score"]) == 0:
        return "was scored the same every time"
    by_batch = part.groupby("batch_id", observed=True)["score"]
    if (by_batch.max() == by_batch.min()).all():
        return "has one and the same score from everybody on each batch, as a consensus sheet has"
    if len(part) <= len(tasted) + people:
        return "has too few scores for a standard error"
    return ""


@dataclass(frozen=True)
class Fit:
    """One attribute: its `solution` for the samples `ids`; `kept` are the places among them of the
    batches compared."""

    solution: Solution
    ids: list[str]
    kept: NDArray[np.intp]
    spread: Spread
    test: tuple[float, int, float, float]


def _fits(parts: Mapping[str, pd.DataFrame], rows: Rows) -> dict[str, Fit]:
    """The fit of each attribute; attributes scored on the very same rows are fitted together."""
    alike: dict[bytes, list[str]] = {}
    layouts: dict[bytes, tuple[Layout, list[str]]] = {}
    for name, part in parts.items():
        batch, ids = pd.factorize(part["batch_id"], sort=True)
        assessor = pd.factorize(part["assessor_id"])[0]
        tasting = pd.factorize(part["tasting_id"])[0]
        covariates = covariates_of(part, batch, tasting)
        seen = [batch, assessor, tasting, *covariates.values()]
        words = "\n".join([*covariates, *map(str, ids)]).encode()
        key = sha256(np.stack(seen).tobytes() + words).digest()
        alike.setdefault(key, []).append(name)
        if key not in layouts:
            layout = lay_out(batch, assessor, tasting, covariates)
            layouts[key] = layout, [str(one) for one in ids]
    found: dict[str, Fit] = {}
    for key, names in alike.items():
        found |= _fits_alike(*layouts[key], {name: parts[name] for name in names}, rows)
    return {name: found[name] for name in parts}


def _fits_alike(
    layout: Layout, ids: list[str], parts: Mapping[str, pd.DataFrame], rows: Rows
) -> dict[str, Fit]:
    ys = np.column_stack([part["score"].to_numpy() for part in parts.values()])
    spreads = ys.std(axis=0)
    standard = (ys - ys.mean(axis=0)) / spreads
    given = batch_equations(layout, layout.used)
    solver = Solver(given[0])
    kept = _kept(ids, rows)
    found = {}
    for place, components in enumerate(estimate_components(layout, standard)):
        name = list(parts)[place]
        own = components.times(float(spreads[place]))
        solution = solve(layout, ys[:, place], own, given, solver)
        found[name] = Fit(
            solution=solution,
            ids=ids,
            kept=kept,
            spread=solution.spread(kept, solver),
            test=batch_test(solution, ys[:, place], kept, solver),
        )
    return found


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
        centred = (position - position.mean()).fillna(0.0).to_numpy()
        if _left(centred, [batch]) >= TOLD:
            found["position"] = centred
    if strength.notna().mean() >= 0.9 and np.ptp(strength.dropna()) > SAME_STRENGTH:
        centred = (strength - strength.mean()).fillna(0.0).to_numpy()
        if _left(centred, [batch, tasting], list(found.values())) >= TOLD:
            found["served_abv_pct"] = centred
    return found


def _left(centred: Floats, groups: list[Ints], beside: Sequence[Floats] = ()) -> float:
    """Share of a covariate's spread that neither a group's level nor other covariates explain."""
    others = [sparse.csr_matrix(one[:, None]) for one in beside]
    known = sparse.hstack([*map(incidence, groups), *others], format="csr")
    rest = centred - known @ lsqr(known, centred, atol=1e-10, btol=1e-10)[0]
    return float((rest**2).sum() / (centred**2).sum())


def _verdicts(fits: Mapping[str, Fit]) -> tuple[Verdict, ...]:
    p = np.array([fit.test[3] for fit in fits.values()])
    adjusted_p = false_discovery(p)
    found = [
        Verdict(
            attribute=name,
            told_apart=bool(p_adjusted < ALPHA),
            f=fit.test[0],
            df_batch=fit.test[1],
            df_error=fit.test[2],
            p=fit.test[3],
            p_adjusted=float(p_adjusted),
            reliability=_reliability(fit),
            components=fit.solution.components,
        )
        for (name, fit), p_adjusted in zip(fits.items(), adjusted_p, strict=True)
    ]
    return tuple(sorted(found, key=lambda v: (v.p, -v.f)))


def _reliability(fit: Fit) -> float:
    own = fit.solution.components.variance["batch"]
    error = float(fit.spread.variance_compare.sum()) / (len(fit.kept) - 1)
    return own / (own + error) if own + error > 0 else 0.0


def _kept(ids: list[str], rows: Rows) -> NDArray[np.intp]:
    real = set(rows.batches)
    return np.array([i for i, name in enumerate(ids) if name in real])


def _estimates(attribute: str, fit: Fit, told_apart: bool) -> pd.DataFrame:
    spread, ids = fit.spread, fit.ids
    se = np.sqrt(spread.variance)
    estimate = fit.solution.estimate[fit.kept]
    margin = stats.t.ppf(1 - ALPHA / 2, spread.df) * se
    names = [ids[i] for i in fit.kept]
    layout = fit.solution.layout
    tasted = np.unique(layout.batch * (int(layout.assessor.max()) + 1) + layout.assessor)
    people = np.bincount(tasted // (int(layout.assessor.max()) + 1))
    return pd.DataFrame(
        {
            "batch_id": names,
            "attribute": attribute,
            "estimate": estimate,
            "se": se,
            "df": spread.df,
            "low": estimate - margin,
            "high": estimate + margin,
            "n_scores": np.bincount(layout.batch)[fit.kept],
            "n_assessors": people[fit.kept],
            "told_apart": told_apart,
            "se_compare": np.sqrt(spread.variance_compare),
            "df_compare": spread.df_compare,
        }
    )


def _notes(
    rows: Rows,
    fits: Mapping[str, Fit],
    unusable: list[tuple[str, str, int]],
) -> tuple[str, ...]:
    notes = [rows.left_out_words()] if rows.left_out_words() else []
    notes += [f"{name} left out, for it {cause}" for name, cause, _ in unusable]
    layouts = [fit.solution.layout for fit in fits.values()]
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
    doubtful = [n for n, fit in fits.items() if fit.solution.components.status == "not_converged"]
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
