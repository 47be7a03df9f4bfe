"""Does the panel, or an assessor, drift from tasting to tasting? The hidden control tells.

The control is one spirit kept in stock, so whatever moves its score is no batch's doing. (That the
control itself keeps is an assumption; seal it well.)
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from origin_compare.answers import count, listed
from origin_compare.errors import NotEnoughData
from origin_compare.estimates import ALPHA, Estimates, false_discovery
from origin_compare.panel.score_rows import in_time, usable

Floats = NDArray[np.float64]

PANEL = "panel"
FEW_TASTINGS = 4
"""Fewest tastings in which a trend is looked for (common practice)."""
LEVELS = [
    *["who", "attribute", "control", "tasting_id", "tasted_on"],
    *["shift", "low", "high", "n_scores"],
]
TRENDS = ["who", "attribute", "tastings", "per_tasting", "low", "high", "p", "p_adjusted", "moved"]


@dataclass(frozen=True)
class Drift:
    """Scores of the hidden control from tasting to tasting.

    `levels`: `LEVELS`; `shift` is the control's score less its usual level in the same eyes (each
        control by itself, where one took over from another), points, with a 95 % interval; `who`
        is "panel" or an assessor. The panel's shift allows for who sat; its interval is between
        assessors, an assessor's is of repeats.
    `trends`: `TRENDS`; slope over the tastings in order of time, 95 % interval, p by Student's t
        with the wandering between tastings as error; `p_adjusted` by Benjamini and Hochberg, over
        the attributes for the panel, over assessors and attributes for assessors.
    """

    levels: pd.DataFrame
    trends: pd.DataFrame
    controls: tuple[str, ...]
    tastings: tuple[str, ...]
    without: tuple[str, ...]

    def of(self, attribute: str) -> pd.DataFrame:
        """The levels of one attribute."""
        return self.levels[self.levels["attribute"].eq(attribute)].reset_index(drop=True)

    def sentence(self) -> str:
        if self.trends.empty:
            return (
                f"The control was served in {count(len(self.tastings), 'tasting')}, too few to "
                f"tell a drift: {FEW_TASTINGS} or more are needed."
            )
        head = f"Against the hidden control over {count(len(self.tastings), 'tasting')}"
        moved = self.trends[self.trends["moved"]]
        panel = [
            f"{row['attribute']} ({row['per_tasting']:+.2f} points a tasting)"
            for row in moved[moved["who"].eq(PANEL)].to_dict("records")
        ]
        people = moved.loc[moved["who"].ne(PANEL), "who"].value_counts()
        whole = f"drifted on {listed(panel, 4)}" if panel else "did not demonstrably drift"
        if people.empty:
            return (
                f"{head}, the panel as a whole {whole}; nor did any assessor."
                if not panel
                else (f"{head}, the panel as a whole {whole}; no single assessor demonstrably did.")
            )
        each = [f"{who} (on {count(int(n), 'attribute')})" for who, n in people.items()]
        return f"{head}, the panel as a whole {whole}; among assessors {listed(each, 8)} drifted."

    def table(self) -> pd.DataFrame:
        return self.trends.copy()

    def rests_on(self) -> str:
        scores = int(self.levels.loc[self.levels["who"].eq(PANEL), "n_scores"].sum())
        out = f" Without a control: {listed(self.without, 20)}." if self.without else ""
        return (
            f"{count(scores, 'score')} of the control {listed(self.controls)} in "
            f"{count(len(self.tastings), 'tasting')}; {count(len(self.trends), 'trend')} looked "
            f"at, allowed for all of them. That the control itself did not change is taken for "
            f"granted.{out}"
        )


def drift(scores: pd.DataFrame, scales: Mapping[str, tuple[float, float]] | None = None) -> Drift:
    """Drift of the panel and of each assessor over tastings, against the hidden control.

    `scores`: long frame as for `adjusted`. Raises `NotEnoughData` where no control was served in
    two tastings: batches differ, so they cannot tell a drift; `MixedScales` as `adjusted`.
    """
    frame = usable(scores, scales).frame
    order = in_time(frame)
    served = frame[frame["sample_kind"].eq("control")]
    again = served.groupby("batch_id")["tasting_id"].transform("nunique").gt(1)
    control = served[again]
    if control.empty:
        raise NotEnoughData(
            "No hidden control was served in two tastings, so a drift of the panel cannot be told "
            "from a difference between batches. Serve one control in every tasting."
        )
    when = frame.groupby("tasting_id")["tasted_on"].min()
    levels, trends = [], []
    for attribute, part in control.groupby("attribute", sort=False):
        cells = _cells(part, {name: i for i, name in enumerate(order)})
        own = _levels(cells, part)
        levels.append(own.assign(attribute=attribute))
        trends.append(_trends(own).assign(attribute=attribute))
    held = [name for name in order if name in set(control["tasting_id"])]
    found = pd.concat(levels, ignore_index=True)
    found["tasted_on"] = found["tasting_id"].map(when)
    return Drift(
        levels=found[LEVELS],
        trends=_judged(pd.concat(trends, ignore_index=True)),
        controls=tuple(sorted(control["batch_id"].unique())),
        tastings=tuple(held),
        without=tuple(name for name in order if name not in set(held)),
    )


def _cells(part: pd.DataFrame, order: Mapping[str, int]) -> pd.DataFrame:
    """Mean per assessor, control and tasting: who, control, tasting_id, place, mean, size."""
    keys = ["assessor_id", "batch_id", "tasting_id"]
    cells = part.groupby(keys)["score"].agg(["mean", "size"]).reset_index()
    cells = cells.rename(columns={"assessor_id": "who", "batch_id": "control"})
    return cells.assign(place=cells["tasting_id"].map(order).astype(float))


def _levels(cells: pd.DataFrame, part: pd.DataFrame) -> pd.DataFrame:
    """Shifts of the panel and of each assessor, tasting by tasting."""
    whole = [_panel(own).assign(control=name) for name, own in cells.groupby("control")]
    usual = cells.groupby(["who", "control"])["mean"].transform("mean")
    sd, df = _repeat_sd(part)
    each = cells.assign(shift=cells["mean"] - usual, n_scores=cells["size"])
    half = _reach(sd / np.sqrt(cells["size"]), df)
    each = each.assign(low=each["shift"] - half, high=each["shift"] + half)
    return pd.concat([*whole, each], ignore_index=True)


def _panel(cells: pd.DataFrame) -> pd.DataFrame:
    """Effects of the tastings of one control beside each assessor's level, summing to 0."""
    people = pd.get_dummies(cells["who"]).to_numpy(dtype=float)
    when = pd.get_dummies(cells["tasting_id"])
    tastings = list(when.columns)
    design = np.column_stack([people, when.to_numpy(dtype=float)[:, 1:]])
    inverse = np.linalg.pinv(design.T @ design, hermitian=True)
    y = cells["mean"].to_numpy()
    beta = inverse @ (design.T @ y)
    df = len(y) - int(np.linalg.matrix_rank(design))
    error = float(((y - design @ beta) ** 2).sum()) / df if df > 0 else np.nan
    # each effect less their mean, written by the differences from the first tasting
    contrasts = (np.eye(len(tastings)) - 1 / len(tastings))[:, 1:]
    k = people.shape[1]
    shift = contrasts @ beta[k:]
    variance = np.einsum("ij,jk,ik->i", contrasts, inverse[k:, k:], contrasts)
    half = _reach(np.sqrt(variance * error), df)
    by_tasting = cells.groupby("tasting_id")
    return pd.DataFrame(
        {
            "who": PANEL,
            "tasting_id": tastings,
            "shift": shift,
            "low": shift - half,
            "high": shift + half,
            "n_scores": by_tasting["size"].sum().loc[tastings].to_numpy(),
            "place": by_tasting["place"].first().loc[tastings].to_numpy(),
        }
    )


def _reach(se: Floats | pd.Series, df: int) -> Floats:
    return np.asarray(se, dtype=float) * (stats.t.ppf(1 - ALPHA / 2, df) if df > 0 else np.nan)


def _repeat_sd(part: pd.DataFrame) -> tuple[float, int]:
    keys = ["assessor_id", "batch_id", "tasting_id"]
    off = part["score"] - part.groupby(keys)["score"].transform("mean")
    df = len(part) - part.groupby(keys).ngroups
    return (float(np.sqrt((off**2).sum() / df)) if df > 0 else float("nan")), df


def _trends(levels: pd.DataFrame) -> pd.DataFrame:
    """One row for the panel and for each assessor seen in `FEW_TASTINGS` or more."""
    seen = [(who, line, line["tasting_id"].nunique()) for who, line in levels.groupby("who")]
    rows = [(who, n, *_slope(line)) for who, line, n in seen if n >= FEW_TASTINGS]
    table = pd.DataFrame(rows, columns=["who", "tastings", "per_tasting", "low", "high", "p"])
    return table.sort_values("who", key=lambda names: names.ne(PANEL), kind="stable")


def _slope(line: pd.DataFrame) -> tuple[float, float, float, float]:
    """Slope on the tastings' order beside a level per control: estimate, low, high, p."""
    from statsmodels.regression.linear_model import OLS

    columns = pd.get_dummies(line["control"]).astype(float)
    columns.insert(0, "slope", line["place"].astype(float))
    moved = line["place"] - line.groupby("control")["place"].transform("mean")
    if len(line) <= columns.shape[1] or not moved.abs().max() > 0:
        return float("nan"), float("nan"), float("nan"), float("nan")
    fit = OLS(line["shift"].to_numpy(float), columns.to_numpy()).fit()
    found = Estimates(float(fit.params[0]), float(fit.bse[0]), float(fit.df_resid))
    return found.value, *found.interval(), float(found.p)


def _judged(trends: pd.DataFrame) -> pd.DataFrame:
    panel = trends["who"].eq(PANEL)
    p = pd.concat(
        [false_discovery(trends.loc[panel, "p"]), false_discovery(trends.loc[~panel, "p"])]
    )
    table = trends.assign(p_adjusted=p.reindex(trends.index))
    return table.assign(moved=table["p_adjusted"].lt(ALPHA))[TRENDS]
