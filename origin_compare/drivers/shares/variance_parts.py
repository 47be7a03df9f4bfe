"""Season, grower, the two together, batch and panel: how far each sets scores apart."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from origin_compare import mixed
from origin_compare.answers import count
from origin_compare.drivers.model.study import Tasted
from origin_compare.drivers.model.usable_batches import Kept, ProfileLike
from origin_compare.drivers.wording import joined, plain, title
from origin_compare.errors import NotEnoughData

SEASON, TOGETHER, BATCH, PANEL = "season", "grower in its season", "batch", "panel"
ROUGH = 5
"""With fewer levels a variance is rough, whatever its interval."""


@dataclass(frozen=True)
class VarianceParts:
    """`parts`: one row per attribute and part (season, grower, grower in its season, batch, panel):
    `sd, low, high` (95 %, profile likelihood; none for the panel, whose error is known), score
    points, `share_pct` of the variance of a score, `levels`. `left_out`: parts that these batches
    cannot tell, with the reason.
    """

    parts: pd.DataFrame
    left_out: tuple[str, ...]
    n_seasons: int
    told: tuple[str, ...]
    kept: Kept

    def table(self) -> pd.DataFrame:
        """One row per attribute and part."""
        return self.parts.copy()

    def sentence(self) -> str:
        """Mean shares over the attributes that the panel tells apart, and how many draws."""
        rows = self.parts[self.parts["attribute"].isin(self.told)]
        if rows.empty:
            return "The panel tells batches apart on no attribute, so nothing is set apart."
        mean = rows.groupby("part", sort=False)["share_pct"].mean()
        told = joined(f"{part} {plain(share, 0)} %" for part, share in mean.items())
        return f"Of what sets scores apart: {told} (mean over attributes). {self._draws()}".strip()

    def _draws(self) -> str:
        if self.n_seasons == 1:
            return "One season is one draw of the weather: nothing is said about seasons."
        if self.n_seasons < ROUGH:
            names = {2: "Two seasons are two draws", 3: "Three seasons are three draws"}
            said = names.get(self.n_seasons, f"{self.n_seasons} seasons are as many draws")
            return f"{said} of the weather, so the season's part is rough."
        return ""

    def rests_on(self) -> str:
        """The batches, and what could not be told."""
        without = f" {' '.join(self.left_out)}" if self.left_out else ""
        return (
            f"{self.kept.words()} Variance components by restricted maximum likelihood with "
            "profile intervals, process left as it was; the panel's own error is known and taken "
            f"out of the batch.{without}"
        )


def variance_parts(
    batches: pd.DataFrame,
    profile: ProfileLike,
    origin: str = "grower_id",
    *,
    attributes: Iterable[str] | None = None,
    leave_out: Iterable[str] = (),
) -> VarianceParts:
    """Standard deviations between seasons, growers, growers within their season, and batches.

    Raises NotEnoughData with fewer than two growers or with one batch for each.
    """
    return variance_parts_of(Tasted(batches, profile, tuple(leave_out)), origin, attributes)


def variance_parts_of(
    tasted: Tasted, origin: str = "grower_id", attributes: Iterable[str] | None = None
) -> VarianceParts:
    """`variance_parts` of batches already settled."""
    study = tasted.study([], origin, attributes=attributes, still=())
    rows, name = study.rows, title(origin)
    growers = int(rows[origin].nunique())
    if growers < 2 or growers >= len(rows) - 1:
        raise NotEnoughData(
            f"{count(len(rows), 'batch')} of {count(growers, name)}: with one {name}, or one batch "
            f"for each, {name} and batch are one thing."
        )
    names = list(study.names)
    data = pd.DataFrame(study.panel.scores, columns=names, index=rows.index)
    groups, left_out, seasons = _groups(data, rows, origin)
    fit = mixed.fit(data, names, "1", list(groups))
    bounds = fit.intervals()
    bounds = bounds[bounds["kind"] == "sd"].set_index(["response", "term"])
    panel = study.panel.panel_variance
    parts = []
    for k, attribute in enumerate(names):
        own = [
            (part, *bounds.loc[(attribute, group), ["estimate", "low", "high"]], levels)
            for group, (part, levels) in {**groups, "residual": (BATCH, len(rows))}.items()
        ]
        parts.append(_with_panel(pd.DataFrame(own, columns=COLUMNS), float(panel[k]), attribute))
    told = tuple(one for one, seen in zip(names, study.told, strict=True) if seen)
    return VarianceParts(pd.concat(parts, ignore_index=True), left_out, seasons, told, study.kept)


COLUMNS = ["part", "sd", "low", "high", "levels"]


def _groups(
    data: pd.DataFrame, rows: pd.DataFrame, origin: str
) -> tuple[dict[str, tuple[str, int]], tuple[str, ...], int]:
    """Grouping columns put beside the scores: their part's name and number of levels."""
    data["of_grower"] = rows[origin].astype(str)
    groups = {"of_grower": (title(origin), int(data["of_grower"].nunique()))}
    seasons = rows["season"].astype(str) if "season" in rows else pd.Series("", index=rows.index)
    several = int(seasons.nunique())
    if several < 2:
        return groups, (), several
    data["of_season"] = seasons
    both = data["of_grower"] + " " + seasons
    groups = {"of_season": (SEASON, several), **groups}
    if both.nunique() >= len(rows) - 1:
        why = f"One batch per {title(origin)} and season: how far a season suits one "
        return (
            groups,
            (f"{why}{title(origin)} more than another cannot be told from batches.",),
            several,
        )
    data["of_both"] = both
    groups["of_both"] = (TOGETHER, int(both.nunique()))
    return groups, (), several


def _with_panel(own: pd.DataFrame, panel: float, attribute: str) -> pd.DataFrame:
    """The batch's part without the panel's known error, the panel's beside it, and shares."""
    last = own["part"] == BATCH
    for column in ("sd", "low", "high"):
        own.loc[last, column] = np.sqrt(np.maximum(own.loc[last, column] ** 2 - panel, 0.0))
    own.loc[len(own)] = [PANEL, np.sqrt(panel), np.nan, np.nan, 0]
    variance = own["sd"] ** 2
    own["share_pct"] = 100 * variance / variance.sum()
    own.insert(0, "attribute", attribute)
    own["levels"] = own["levels"].astype(int)
    return own
