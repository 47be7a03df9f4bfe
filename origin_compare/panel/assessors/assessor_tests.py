"""What one assessor does with one attribute, in figures: the tests behind a performance report.

In the sense of ISO 11132: discrimination (own F of samples against own repeats), agreement
(correlation with the adjusted means of the other assessors), repeatability (sd of repeats), and
scale use, the slope on the others' means as in the mixed assessor model (Brockhoff, Schlich and
Skovgaard, Food Quality and Preference 39, 2015, 156, from memory), scaled so that the panel's
median slope is 1. All are taken within a tasting, so that a good or bad day is nobody's fault.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from origin_compare.panel.profile.batch_effects import Solution
from origin_compare.panel.profile.components import pieces

COLUMNS = [
    "assessor_id",
    "attribute",
    "n_samples",
    "n_scores",
    "level",
    "discrimination_f",
    "discrimination_p",
    "agreement_r",
    "agreement_p",
    "spread_slope",
    "spread_se",
    "spread_low",
    "spread_high",
    "spread_p",
    "repeat_sd",
    "repeat_df",
    "repeat_ratio",
    "repeat_p",
    "drift_per_tasting",
    "drift_p",
]


def without_each(part: pd.DataFrame, solution: Solution, ids: tuple[str, ...]) -> pd.DataFrame:
    """Adjusted means without the assessor's own scores, assessor x batch.

    An assessor's part in each estimate is known from the estimate's weights; it is taken out and
    the rest scaled up. Exact in a balanced tasting, near enough otherwise.
    """
    mean = part["score"].mean()
    own, weight = solution.of_each_assessor((part["score"] - mean).to_numpy())
    rest = (own.sum(axis=0) - own) / np.where(weight < 0.99, 1 - weight, np.nan)
    names = part["assessor_id"].astype(str).groupby(solution.layout.assessor).first()
    found = pd.DataFrame(mean + rest, index=names.to_numpy(), columns=list(ids))
    return found.sort_index()


@dataclass(frozen=True, slots=True)
class ScaleUse:
    """How much of the assessors' disagreement is mere use of the scale, for one attribute.

    `f`, `df_scale`, `df_error`, `p`: do slopes on the panel's means differ between assessors,
    against what disagreement is left. `share`: of the disagreement's sum of squares. NaN where too
    little was tasted to tell.
    """

    f: float
    df_scale: int
    df_error: int
    p: float
    share: float


def scale_use(part: pd.DataFrame, means: pd.Series) -> ScaleUse:
    """Scale use of the whole panel by the mixed assessor model (Brockhoff, Schlich, Skovgaard).

    part: rows of one attribute, score already freed of serving position. means: the panel's
    adjusted mean of each batch. Each assessor's cells are fitted by a slope of their own within a
    tasting; their differences are scale use, what is left is disagreement. In one balanced tasting
    these are the model's own sums of squares.
    """
    same = pd.DataFrame(dict.fromkeys(part["assessor_id"].astype(str).unique(), means)).T
    cells = _cells(part, same)
    weight, y, x = cells["size"], cells["mean_within"], cells["panel_within"]
    who = cells["assessor_id"].astype(str)
    sxx, sxy = (weight * x * x).groupby(who).sum(), (weight * x * y).groupby(who).sum()
    own = sxy / sxx.where(sxx > 0)
    scaling = float((sxx * (own - sxy.sum() / sxx.sum()) ** 2).sum())
    left = float((weight * (y - who.map(own) * x) ** 2).sum())
    df, df_error = int(own.notna().sum()) - 1, _disagreement_df(cells) - int(own.notna().sum()) + 1
    if df < 1 or df_error < 1 or left <= 0:
        return ScaleUse(np.nan, df, df_error, np.nan, np.nan)
    f = (scaling / df) / (left / df_error)
    return ScaleUse(f, df, df_error, float(stats.f.sf(f, df, df_error)), scaling / (scaling + left))


def _disagreement_df(cells: pd.DataFrame) -> int:
    """Degrees of freedom of all disagreement: cells less visits and the batches' own contrasts."""
    batch, tasting = (pd.factorize(cells[name].astype(str)) for name in ("batch_id", "tasting_id"))
    contrasts = len(batch[1]) - pieces(batch[0], tasting[0])
    visits = cells.groupby(["assessor_id", "tasting_id"], observed=True).ngroups
    return len(cells) - visits - contrasts


def assessor_figures(
    part: pd.DataFrame, others: pd.DataFrame, attribute: str, tastings: list[str]
) -> pd.DataFrame:
    """One row per assessor with `COLUMNS`; what cannot be computed is NaN.

    `agreement_p` is one-sided (no better than chance); `spread_p` tests a slope of 1
    (`spread_low` to `spread_high` is its 95 % interval);
    `repeat_ratio` and `repeat_p` compare with the other assessors' pooled repeat error.

    part: rows of one attribute, score already freed of serving position.
    others: adjusted means without the assessor, assessor x batch (`without_each`).
    tastings: ids in order of time.
    """
    cells = _cells(part, others)
    within = _repeats(part)
    fitted = [_one(own, str(who)) for who, own in cells.groupby("assessor_id", observed=True)]
    table = pd.DataFrame(fitted).set_index("assessor_id")
    usual = table["spread_slope"].median()
    for name in ("spread_slope", "spread_se"):
        table[name] = table[name] / usual if usual > 0 else np.nan
    df = table.pop("spread_df")
    reach = stats.t.ppf(0.975, df) * table["spread_se"]
    table["spread_low"], table["spread_high"] = (
        table["spread_slope"] - reach,
        table["spread_slope"] + reach,
    )
    off = (table["spread_slope"] - 1).abs()
    table["spread_p"] = 2 * stats.t.sf(off / table["spread_se"], df)
    table["attribute"] = attribute
    table["repeat_df"] = within["df"].reindex(table.index).fillna(0).astype(int)
    table["repeat_sd"] = np.sqrt(
        within["ss"].reindex(table.index) / table["repeat_df"].where(table["repeat_df"] > 0)
    )
    table["discrimination_f"] = table.pop("between") / table["repeat_sd"] ** 2
    table["discrimination_p"] = stats.f.sf(
        table["discrimination_f"], table.pop("between_df"), table["repeat_df"]
    )
    rest_df = table["repeat_df"].sum() - table["repeat_df"]
    rest = (within["ss"].sum() - within["ss"].reindex(table.index)) / rest_df.where(rest_df > 0)
    table["repeat_ratio"] = table["repeat_sd"] / np.sqrt(rest)
    table["repeat_p"] = stats.f.sf(table["repeat_ratio"] ** 2, table["repeat_df"], rest_df)
    drift = _drifts(cells, tastings).reindex(table.index)
    return table.join(drift).reset_index()[COLUMNS]


def _cells(part: pd.DataFrame, others: pd.DataFrame) -> pd.DataFrame:
    """Mean per assessor, tasting and batch, with the other assessors' adjusted mean beside it."""
    keys = ["assessor_id", "tasting_id", "batch_id"]
    cells = part.groupby(keys, observed=True)["score"].agg(["mean", "size"]).reset_index()
    place = [cells["assessor_id"].astype(str), cells["batch_id"].astype(str)]
    cells["panel"] = others.stack().reindex(pd.MultiIndex.from_arrays(place)).to_numpy()
    cells = cells[cells["panel"].notna()].reset_index(drop=True)
    by_visit = cells.groupby(["assessor_id", "tasting_id"], observed=True)
    weight = cells["size"] / by_visit["size"].transform("sum")
    for name in ("mean", "panel"):
        centre = (cells[name] * weight).groupby(
            [cells["assessor_id"], cells["tasting_id"]], observed=True
        )
        cells[f"{name}_within"] = cells[name] - centre.transform("sum")
    return cells


def _repeats(part: pd.DataFrame) -> pd.DataFrame:
    """Sum of squares and degrees of freedom of repeats, by assessor."""
    keys = ["assessor_id", "tasting_id", "batch_id"]
    off = part["score"] - part.groupby(keys, observed=True)["score"].transform("mean")
    cells = part.groupby(keys, observed=True).size().groupby("assessor_id", observed=True).size()
    squares = (off**2).groupby(part["assessor_id"], observed=True)
    return pd.DataFrame({"ss": squares.sum(), "df": squares.size() - cells})


def _one(own: pd.DataFrame, who: str) -> dict[str, object]:
    """Spread, agreement and level of one assessor from the cells of one attribute."""
    n, y, x = own["size"].to_numpy(), own["mean_within"], own["panel_within"]
    visits = own["tasting_id"].nunique()
    sxx, sxy, syy = (float((n * one).sum()) for one in (x * x, x * y, y * y))
    between_df, df = len(own) - visits, len(own) - visits - 1
    row: dict[str, object] = {
        "assessor_id": who,
        "n_samples": len(own),
        "n_scores": int(n.sum()),
        "level": float(np.average(own["mean"] - own["panel"], weights=n)),
        "between": syy / between_df if between_df > 0 else np.nan,
        "between_df": between_df,
        "agreement_r": np.nan,
        "agreement_p": np.nan,
        "spread_slope": np.nan,
        "spread_se": np.nan,
        "spread_df": df,
    }
    if df < 1 or sxx <= 0:
        return row
    slope = sxy / sxx
    se = float(np.sqrt(max(syy - slope * sxy, 0.0) / df / sxx))
    row |= {
        "agreement_r": sxy / np.sqrt(sxx * syy) if syy > 0 else 0.0,
        "agreement_p": stats.t.sf(slope / se, df) if se > 0 else float(slope <= 0),
        "spread_slope": slope,
        "spread_se": se,
    }
    return row


def _drifts(cells: pd.DataFrame, tastings: list[str]) -> pd.DataFrame:
    """Change of each assessor's level against the panel per tasting, and its p (4 tastings up)."""
    order = {name: i for i, name in enumerate(tastings)}
    off = (cells["mean"] - cells["panel"]) * cells["size"]
    keys = [cells["assessor_id"].astype(str), cells["tasting_id"].astype(str)]
    level = off.groupby(keys).sum() / cells["size"].groupby(keys).sum()
    wide = level.unstack("tasting_id")
    wide = wide.sub(wide.mean(axis=0), axis=1)
    rows = {}
    for who, line in wide.iterrows():
        seen = line.dropna()
        if len(seen) < 4:
            rows[who] = (np.nan, np.nan)
            continue
        fit = stats.linregress([order[str(name)] for name in seen.index], seen)
        rows[who] = (float(fit.slope), float(fit.pvalue))
    return pd.DataFrame.from_dict(
        rows, orient="index", columns=["drift_per_tasting", "drift_p"]
    ).rename_axis("assessor_id")
