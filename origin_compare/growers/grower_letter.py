"""What can honestly be told to one grower: own figures and spirit, the group as a middle half.

No other grower is named or can be worked out (see `privacy`), and nobody is put in an order.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from origin_compare import words
from origin_compare.answers import count, listed
from origin_compare.errors import UnknownName
from origin_compare.fermentation import Departures
from origin_compare.fermentation.departures.causes import INSTRUMENT
from origin_compare.growers import privacy
from origin_compare.growers.flavours import CLEAR, HINT, NOT_SHOWN, flavours
from origin_compare.growers.flavours import COLUMNS as FLAVOUR_COLUMNS
from origin_compare.growers.levers import levers
from origin_compare.review import laboratories
from origin_compare.season.season import Season
from origin_compare.sheets.bases import on_one_basis
from origin_compare.sheets.frames import shaped

if TYPE_CHECKING:
    from origin_compare.panel import Profile

__all__ = ["CLEAR", "HINT", "NOT_SHOWN", "GrowerLetter", "grower_letter"]

FIELD_FIGURES = (
    "yield_t_ha",
    "grain_n_pct_dm",
    "grain_moisture_pct",
    "screenings_pct",
    "thousand_grain_g",
    "germination_pct",
)
MADE_FIGURES = ("extract_pct_dm", "spirit_yield_lpa_t")
OWN_AMOUNTS = ("grist_kg", "new_make_l")
"""Shown to their owner only: what others delivered is their own business."""

LOT_COLUMNS = (
    "lot_id",
    "season",
    "field",
    "variety",
    "soil",
    "previous_crop",
    "sown_on",
    "harvested_on",
    "area_ha",
    "yield_t_ha",
    "delivered_t",
    "grain_n_pct_dm",
    "grain_moisture_pct",
    "screenings_pct",
    "thousand_grain_g",
    "germination_pct",
    "rain_mm",
    "mean_temp_c",
)
BATCH_COLUMNS = (
    "batch_id",
    "season",
    "status",
    "lots",
    "field",
    "variety",
    "pitched_at",
    "length_h",
    "peak_temp_c",
    "final_ph",
    "extract_pct_dm",
    "grist_kg",
    "new_make_l",
    "new_make_abv_pct",
    "lpa",
    "spirit_yield_lpa_t",
    "n_tastings",
)
"""No free text: a cellar note may name another grower."""

PAST_COLUMNS = [
    "season",
    "lots",
    "yield_t_ha",
    "grain_n_pct_dm",
    "screenings_pct",
    "batches",
    "extract_pct_dm",
    "spirit_yield_lpa_t",
]


@dataclass(frozen=True)
class GrowerLetter:
    """One grower's season.

    `lots`: own lots of the season. `batches`: own batches (single-origin ones only).
    `figures`: figure, own, group_median, group_low, group_high (quartiles).
    `flavours`: attribute, own, low, high (95 %), low_all, high_all (95 % over all attributes
        together), group_median, group_low, group_high, evidence, side, n_batches, df.
    `past`: own figures by harvest, this one last; empty without an earlier harvest.
    `levers`: what in a grower's hands went with grain or yield over the season's growers.
    `group_size`: growers whose spirit is compared, the tasted ones if any was tasted; 0 when they
        may not be shown together. Each figure is held to the same rule by itself.
    `bases`: how own figures were brought to one basis, in sentences.
    `handling`: what the distillery's own handling did to the figures, in sentences.
    `tasted`: own batches the panel scored. `not_single`: batches that hold own grain with others'.
    """

    grower_id: str
    farm: str
    season: int
    lots: pd.DataFrame
    batches: pd.DataFrame
    figures: pd.DataFrame
    flavours: pd.DataFrame
    past: pd.DataFrame
    levers: pd.DataFrame
    group_size: int
    smallest_group: int
    tasted: int
    not_single: tuple[str, ...]
    bases: tuple[str, ...] = ()
    handling: tuple[str, ...] = ()

    def sentence(self) -> str:
        if self.batches.empty:
            return self._no_batch()
        if not self.tasted:
            return f"{self._made()}; it has not been tasted yet."
        if self.flavours.empty:
            return f"{self._made()}; the panel could not tell this season's batches apart."
        if not self._grouped():
            return (
                f"{self._made()}. The other growers' figures cannot be shown without giving "
                "somebody away, so only your own are here."
            )
        what = "it" if self.tasted > 1 else "your one tasted batch"
        stand_out = self.flavours[self.flavours["evidence"] == CLEAR]
        if stand_out.empty:
            return (
                f"{self._made()}; on no flavour did {what} clearly stand apart from the middle "
                "half of the season's growers."
            )
        said = [f"{row.side} {words.flavour(str(row.attribute))}" for row in stand_out.itertuples()]
        return (
            f"{self._made()}; the panel found {what} clearly {listed(said, 20)} than the middle "
            "half of the season's growers."
        )

    def table(self) -> pd.DataFrame:
        """One row per flavour the panel can tell; see the class for the columns."""
        return self.flavours

    def rests_on(self) -> str:
        parts = [
            f"{count(len(self.lots), 'lot')} and {count(len(self.batches), 'batch')} of this "
            f"grower alone, {self.tasted} tasted; {self._group_said()}."
        ]
        if self.tasted == 1:
            parts.append(
                "With one batch, field and batch are one thing: the lines carry the panel's "
                "doubt only."
            )
        elif self.tasted > 1:
            parts.append(
                "The lines carry the panel's doubt and what differs between batches of one grower."
            )
        if self.not_single:
            parts.append(
                f"Not used, made of several growers' grain: {listed(self.not_single, 12)}."
            )
        if not self.flavours.empty and self._grouped():
            parts.append(
                "Clear: outside the middle half at 95 % over "
                f"{_all_of(len(self.flavours))}; a hint: at 95 % for that flavour alone."
            )
        return " ".join(parts)

    def _grouped(self) -> bool:
        return bool(self.flavours["group_median"].notna().any())

    def _group_said(self) -> str:
        if self.group_size:
            return f"the group is {self.group_size} growers, this one among them"
        return (
            f"no group of spirits is shown (it takes {self.smallest_group} growers, none of them "
            "with more than half)"
        )

    def _no_batch(self) -> str:
        lots = count(len(self.lots), "lot")
        if not self.not_single:
            return f"Your {lots} of {self.season} {_have(self.lots)} not been made into spirit yet."
        return (
            f"Your {lots} of {self.season} went into {listed(self.not_single, 12)} together with "
            "other growers' grain, so nothing can be said of your barley's own spirit."
        )

    def _made(self) -> str:
        litres = self.batches["new_make_l"].dropna()
        if litres.empty:
            return (
                f"Your barley of {self.season} is in {count(len(self.batches), 'batch')}, "
                "not yet distilled"
            )
        became = "became" if len(litres) == len(self.batches) else "has so far become"
        return f"Your barley of {self.season} {became} {litres.sum():,.0f} L of new make"


def grower_letter(
    season: Season,
    batches: pd.DataFrame,
    profile: Profile | None,
    grower_id: str,
    year: int,
    departures: Departures | None = None,
) -> GrowerLetter:
    """One grower's letter for one harvest.

    `batches`: Season.batches with the derived measures. `profile`: the panel profile, or None.
    `departures`: how each batch fermented, so that what the house did stands beside the yield.
    Earlier harvests in `season` and `batches` give the grower's own past; the group is always of
    the one harvest, and of as many growers as the season's house rules ask. Raises `UnknownName`
    for a grower without a lot in that harvest.
    """
    lots = on_one_basis("lots", season.sheets["lots"], season.rules)
    own_lots = lots[lots["grower_id"] == grower_id]
    if not (own_lots["season"] == year).any():
        raise UnknownName(_no_lot(grower_id, year, own_lots))
    of_year = batches[batches["season"] == year]
    single = of_year[of_year["grower_id"].notna()]
    own = single[single["grower_id"] == grower_id]
    group = _group(single, profile)
    size = int(group["grower_id"].nunique())
    smallest_group = season.rules.smallest_group
    shown = privacy.may_show(group, smallest_group, "grist_kg")
    smallest = smallest_group if shown else size + 1
    return GrowerLetter(
        grower_id=grower_id,
        farm=_farm(season.sheets["growers"], grower_id),
        season=year,
        lots=_only(own_lots[own_lots["season"] == year], LOT_COLUMNS),
        batches=_only(own, BATCH_COLUMNS),
        figures=_figures(lots[lots["season"] == year], single, grower_id, smallest_group),
        flavours=_flavours(single, profile, grower_id, smallest),
        past=_past(own_lots, batches[batches["grower_id"] == grower_id], year),
        levers=levers(lots[lots["season"] == year], single, smallest_group),
        group_size=size if shown else 0,
        smallest_group=smallest_group,
        tasted=0 if profile is None else int((group["grower_id"] == grower_id).sum()),
        not_single=_mixed(season, own, grower_id, year),
        bases=_bases(season, lots[lots["season"] == year], own, grower_id),
        handling=() if departures is None else _handling(own, departures),
    )


def _handling(own: pd.DataFrame, departures: Departures) -> tuple[str, ...]:
    """Own batches with a yield that fermented amiss; a fault of reading moves no yield."""
    if "spirit_yield_lpa_t" not in own:
        return ()
    yielded = set(own.loc[own["spirit_yield_lpa_t"].notna(), "batch_id"].astype(str))
    amiss = [
        one
        for one in departures
        if one.batch_id in yielded and one.status == "left" and not INSTRUMENT.get(one.named, False)
    ]
    if not amiss:
        return ()
    told = [
        f"{one.batch_id} ({'cause not known' if one.named == 'cannot tell' else one.named})"
        for one in amiss
    ]
    return (
        f"In our vessels {listed(told)} did not ferment as our batches usually do: what that "
        "did to the spirit yield is our handling, not your barley.",
    )


def _bases(
    season: Season, compared: pd.DataFrame, own: pd.DataFrame, grower_id: str
) -> tuple[str, ...]:
    """How the figures told to this grower came to one basis; malts are those of own batches."""
    lots, malts, mashes = (
        shaped(name, season.sheets.get(name)) for name in ("lots", "malts", "mashes")
    )
    mine = lots["lot_id"].isin(compared.loc[compared["grower_id"] == grower_id, "lot_id"])
    mashed = mashes.loc[mashes["batch_id"].isin(own["batch_id"]), "malt_id"]
    return laboratories.for_grower(
        lots[mine], malts[malts["malt_id"].isin(mashed)], compared, season.rules
    )


def _no_lot(grower_id: str, year: int, own_lots: pd.DataFrame) -> str:
    years = [str(one) for one in sorted(own_lots["season"].dropna().unique())]
    if not years:
        return f"Grower {grower_id} has no lot on record. Check the code on the lots sheet."
    return (
        f"Grower {grower_id} has no lot in the harvest of {year}. "
        f"Harvests with a lot of this grower: {listed(years, 20)}."
    )


def _group(single: pd.DataFrame, profile: Profile | None) -> pd.DataFrame:
    """The batches compared: the tasted ones, or all where nothing was tasted."""
    if profile is None:
        return single
    return single[single["batch_id"].isin(profile.wide().dropna(how="all").index)]


def _farm(growers: pd.DataFrame, grower_id: str) -> str:
    names = growers.loc[growers["grower_id"] == grower_id, "farm_name"].dropna()
    return str(names.iloc[0]) if len(names) else ""


def _mixed(season: Season, own: pd.DataFrame, grower_id: str, year: int) -> tuple[str, ...]:
    """Batches with this grower's grain of the harvest that are not of this grower alone."""
    shares = season.shares
    mine = shares[(shares["grower_id"] == grower_id) & (shares["season"] == year)]["batch_id"]
    return tuple(sorted(set(mine.astype(str)) - set(own["batch_id"].astype(str))))


def _flavours(
    single: pd.DataFrame, profile: Profile | None, grower_id: str, smallest: int
) -> pd.DataFrame:
    if profile is None:
        return pd.DataFrame(columns=FLAVOUR_COLUMNS)
    return flavours(single, profile, grower_id, smallest)


def _figures(
    lots: pd.DataFrame, single: pd.DataFrame, grower_id: str, smallest: int
) -> pd.DataFrame:
    rows = [
        _compared(frame, name, amount, grower_id, smallest)
        for frame, names, amount in (
            (lots, FIELD_FIGURES, "delivered_t"),
            (single, MADE_FIGURES, "grist_kg"),
        )
        for name in names
        if name in frame
    ]
    own = single[single["grower_id"] == grower_id]
    rows += [
        {"figure": words.label(name), "own": own[name].sum(min_count=1)}
        for name in OWN_AMOUNTS
        if name in own
    ]
    columns = ["figure", "own", "group_median", "group_low", "group_high"]
    table = pd.DataFrame(rows, columns=columns)
    return table[table["own"].notna()].reset_index(drop=True)


def _compared(
    frame: pd.DataFrame, name: str, amount: str, grower_id: str, smallest: int
) -> dict[str, object]:
    known = frame[frame[name].notna() & frame["grower_id"].notna()]
    by_grower = known.groupby("grower_id")[name].mean()
    low, middle, high = privacy.HIDDEN
    if privacy.may_show(known, smallest, amount):
        low, middle, high = privacy.middle_half(by_grower, privacy.STEPS[name])
    return {
        "figure": words.label(name),
        "own": by_grower.get(grower_id, np.nan),
        "group_median": middle,
        "group_low": low,
        "group_high": high,
    }


def _past(own_lots: pd.DataFrame, own: pd.DataFrame, year: int) -> pd.DataFrame:
    until = own_lots[own_lots["season"] <= year]
    if until["season"].nunique() < 2:
        return pd.DataFrame(columns=PAST_COLUMNS)
    by_year = until.groupby("season")
    table = by_year[["yield_t_ha", "grain_n_pct_dm", "screenings_pct"]].mean()
    made = own.reindex(columns=["season", *MADE_FIGURES]).groupby("season")
    table = table.join(made[list(MADE_FIGURES)].mean()).assign(lots=by_year.size())
    table["batches"] = made.size().reindex(table.index).fillna(0).astype("int64")
    return table.reset_index()[PAST_COLUMNS]


def _only(frame: pd.DataFrame, columns: tuple[str, ...]) -> pd.DataFrame:
    return frame[[name for name in columns if name in frame]].reset_index(drop=True)


def _have(rows: pd.DataFrame) -> str:
    return "has" if len(rows) == 1 else "have"


def _all_of(flavours_shown: int) -> str:
    if flavours_shown == 1:
        return "the one flavour shown"
    return f"all {flavours_shown} flavours together"
