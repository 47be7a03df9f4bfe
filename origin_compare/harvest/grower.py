"""What can honestly be told to one grower: own figures and spirit, the group as a middle half.

No other grower is named or can be worked out: a group under the house's smallest size (five) is
not shown, and only its median and quartiles ever are. No rank, no best, no worst.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from origin_compare import words
from origin_compare.answers import count, listed
from origin_compare.errors import UnknownName
from origin_compare.records.season import Season

if TYPE_CHECKING:
    from origin_compare.panel import Profile

FIELD_FIGURES = (
    "yield_t_ha", "grain_n_pct_dm", "grain_moisture_pct", "screenings_pct", "thousand_grain_g",
    "germination_pct",
)  # fmt: skip
MADE_FIGURES = ("extract_pct_dm", "grist_kg", "new_make_l", "spirit_yield_lpa_t")
CLEAR, HINT, NOT_SHOWN = "clear", "a hint", "not shown"


@dataclass(frozen=True)
class GrowerLetter:
    """One grower's season.

    `lots`: own lots of the season. `batches`: own batches (single-origin ones only).
    `figures`: figure, own, group_median, group_low, group_high (quartiles), evidence.
    `flavours`: attribute, own, low, high (95 %), group_median, group_low, group_high, evidence.
    `group_size`: growers in the season's group; 0 when it is too small to show.
    """

    grower_id: str
    season: int
    lots: pd.DataFrame
    batches: pd.DataFrame
    figures: pd.DataFrame
    flavours: pd.DataFrame
    group_size: int
    smallest_group: int
    not_single: tuple[str, ...]

    def sentence(self) -> str:
        if self.flavours.empty:
            return (
                f"{self.grower_id} in {self.season}: {count(len(self.lots), 'lot')}; no spirit of "
                "this grower alone was tasted, so nothing can be said of flavour."
            )
        stand_out = self.flavours[self.flavours["evidence"] == CLEAR]
        made = float(self.batches["new_make_l"].sum())
        start = f"Your barley of {self.season} became {made:,.0f} L of new make"
        if self.group_size == 0:
            return (
                f"{start}. There were fewer than {self.smallest_group} growers to compare with, "
                "so only your own figures are shown."
            )
        if stand_out.empty:
            return (
                f"{start}; on no flavour did it clearly stand apart from the middle half "
                "of the season's growers."
            )
        said = [f"{row.side} {words.flavour(str(row.attribute))}" for row in stand_out.itertuples()]
        return f"{start}; the panel found it clearly {listed(said)} than the middle half."

    def table(self) -> pd.DataFrame:
        """One row per flavour the panel can tell; see the class for the columns."""
        return self.flavours

    def rests_on(self) -> str:
        group = (
            f"the middle half of {self.group_size} growers"
            if self.group_size
            else f"no group (fewer than {self.smallest_group} growers)"
        )
        text = (
            f"{count(len(self.lots), 'lot')}, {count(len(self.batches), 'batch')} of this grower "
            f"alone, compared with {group}. "
        )
        if len(self.batches) == 1:
            text += (
                "With one batch, the field and the way that one batch ran are one thing: "
                "they cannot be told apart. "
            )
        if self.not_single:
            text += f"Not used, made of several growers' grain: {listed(self.not_single)}. "
        return (
            text
            + "Clear: the whole 95 % interval lies outside the middle half; a hint: the estimate."
        )


def grower_letter(
    season: Season,
    batches: pd.DataFrame,
    profile: Profile | None,
    grower_id: str,
    year: int,
    smallest_group: int = 5,
) -> GrowerLetter:
    """One grower's letter for one harvest.

    `batches`: Season.batches with the derived measures. `profile`: the panel profile, or None.
    Raises `UnknownName` for a grower without a lot in that harvest.
    """
    lots = season.sheets["lots"]
    own_lots = lots[(lots["grower_id"] == grower_id) & (lots["season"] == year)]
    if own_lots.empty:
        raise UnknownName(
            f"Grower {grower_id} has no lot in the harvest of {year}. Choose another harvest."
        )
    of_year = batches[batches["season"] == year]
    single = of_year[of_year["grower_id"].notna()]
    own = single[single["grower_id"] == grower_id]
    in_mixes = season.shares[season.shares["grower_id"] == grower_id]["batch_id"]
    mixed = of_year[of_year["grower_id"].isna() & of_year["batch_id"].isin(in_mixes)]
    group_size = int(single["grower_id"].nunique())
    shown = group_size if group_size >= smallest_group and _no_giant(single) else 0
    return GrowerLetter(
        grower_id=grower_id,
        season=year,
        lots=own_lots,
        batches=own,
        figures=_figures(lots[lots["season"] == year], single, grower_id, shown > 0),
        flavours=_flavours(single, profile, grower_id, shown > 0),
        group_size=shown,
        smallest_group=smallest_group,
        not_single=tuple(mixed["batch_id"].astype(str)),
    )


def _no_giant(single: pd.DataFrame) -> bool:
    """No grower is more than half of the group: its figures could be read off the median."""
    return float(single["grower_id"].value_counts(normalize=True).iloc[0]) <= 0.5


def _group(by_grower: pd.Series, grower_id: str, shown: bool) -> dict[str, float]:
    low, middle, high = by_grower.quantile([0.25, 0.5, 0.75]) if shown else [np.nan] * 3
    return {
        "own": float(by_grower.get(grower_id, np.nan)),
        "group_median": float(middle),
        "group_low": float(low),
        "group_high": float(high),
    }


def _figures(lots: pd.DataFrame, single: pd.DataFrame, grower_id: str, shown: bool) -> pd.DataFrame:
    rows = []
    for frame, names, total in (
        (lots, FIELD_FIGURES, False),
        (single, MADE_FIGURES, True),
    ):
        for name in (name for name in names if name in frame):
            grouped = frame.groupby("grower_id")[name]
            whole = total and name in ("grist_kg", "new_make_l")
            by_grower = (grouped.sum(min_count=1) if whole else grouped.mean()).dropna()
            enough = shown and len(by_grower) >= 5
            rows.append({"figure": words.label(name), **_group(by_grower, grower_id, enough)})
    table = pd.DataFrame(rows, columns=["figure", "own", "group_median", "group_low", "group_high"])
    return table[table["own"].notna()].reset_index(drop=True)


def _flavours(
    single: pd.DataFrame, profile: Profile | None, grower_id: str, shown: bool
) -> pd.DataFrame:
    columns = [
        "attribute", "own", "low", "high", "group_median", "group_low", "group_high",
        "evidence", "side",
    ]  # fmt: skip
    if profile is None:
        return pd.DataFrame(columns=columns)
    tasted = single[single["batch_id"].isin(profile.wide().index)]
    if grower_id not in set(tasted["grower_id"]):
        return pd.DataFrame(columns=columns)
    growers = tasted.set_index("batch_id")["grower_id"]
    rows = []
    for attribute in profile.told:
        score = profile.wide()[attribute].reindex(growers.index)
        error = profile.wide_se(comparing=True)[attribute].reindex(growers.index)
        by_grower = score.groupby(growers).mean()
        group = _group(by_grower, grower_id, shown)
        own = error[growers == grower_id].dropna()
        half = 1.96 * float(np.sqrt((own**2).sum())) / max(len(own), 1)
        low, high = group["own"] - half, group["own"] + half
        evidence, side = _evidence(group, low, high)
        rows.append(
            {"attribute": attribute, **group, "low": low, "high": high}
            | {"evidence": evidence, "side": side}
        )
    return pd.DataFrame(rows, columns=columns)


def _evidence(group: dict[str, float], low: float, high: float) -> tuple[str, str]:
    side = "more" if group["own"] > group["group_median"] else "less"
    if np.isnan(group["group_median"]):
        return NOT_SHOWN, ""
    if low > group["group_high"] or high < group["group_low"]:
        return CLEAR, side
    if group["own"] > group["group_high"] or group["own"] < group["group_low"]:
        return HINT, side
    return NOT_SHOWN, ""
