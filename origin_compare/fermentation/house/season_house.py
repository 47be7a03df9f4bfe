"""A season held against its own house: the examples settled, the bands drawn, every log judged."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from origin_compare.answers import count
from origin_compare.errors import NotEnoughData, UnknownName
from origin_compare.fermentation.doubtful_readings import SetAside, set_aside, without
from origin_compare.fermentation.house.band import LEVEL, HouseBand, of_model
from origin_compare.fermentation.house.course import HouseModel, learn
from origin_compare.fermentation.house.examples import (
    FEWEST_BATCHES,
    MOST_EXAMPLES,
    NOT_LISTED,
    OUTSIDE,
    Reference,
    propose,
)
from origin_compare.fermentation.house.judging import House, Judgement, judge, settle
from origin_compare.fermentation.house.like_batches import like
from origin_compare.fermentation.logs import Log, logs
from origin_compare.season.season import Season

FEWEST_VALUES = 6


@dataclass(frozen=True)
class Judged:
    """A season held against its house: `found` and `logs` by batch, `aside` readings not used.

    `houses` and `bands` by kind, where batches are split by their like (`split` says by what);
    `kind` of each batch, "" for the house of all. `house` and `band` are those with most examples.
    `ahead` by kind is what forecasts are made from: see `_ahead`.
    """

    houses: Mapping[str, House]
    bands: Mapping[str, HouseBand]
    kind: Mapping[str, str]
    split: str
    logs: Mapping[str, Log]
    found: Mapping[str, Judgement]
    aside: tuple[SetAside, ...]
    ahead: Mapping[str, HouseModel]

    @property
    def house(self) -> House:
        return self.houses[self._largest()]

    @property
    def band(self) -> HouseBand:
        return self.bands[self._largest()]

    def _largest(self) -> str:
        return max(self.houses, key=lambda kind: len(self.houses[kind].reference.names))

    def house_of(self, batch_id: str) -> House:
        return self.houses[self.kind[batch_id]]

    def ahead_of(self, batch_id: str) -> HouseModel:
        """The model a batch's end is foreseen from, without the batch itself."""
        return self.ahead[self.kind[batch_id]].leaving_out(batch_id)

    def band_of(self, batch_id: str) -> HouseBand:
        return self.bands[self.kind[batch_id]]


def house_band(season: Season, in_style: Sequence[str] | None = None) -> HouseBand:
    """The band of `season` for gravity, pH, temperature and cooling.

    `in_style`: batch_ids the house accepts as examples; without it they are proposed (see
    `reference.propose`) and shown in the band's `reference`. Where batches are held against their
    like, the band with most examples. Raises `NotEnoughData` below eight batches in style,
    `UnknownName` for a batch named that there is none of.
    """
    return judge_season(season, in_style).band


def judge_season(season: Season, in_style: Sequence[str] | None = None) -> Judged:
    """Settle the house and judge every log against it; raises `NotEnoughData` if none can be,
    `UnknownName` for a batch in `in_style` that the season does not hold."""
    _check_named(season, in_style)
    readings = season.sheets["readings"]
    aside = set_aside(readings)
    kept = without(readings, aside)
    all_logs = logs(kept, season.batches)
    proposed = propose(all_logs, season.batches, season.rules, in_style)
    if len(proposed.names) < FEWEST_BATCHES:
        have = count(len(proposed.names), "batch")
        raise NotEnoughData(
            f"{have} in style with readings enough; a house band needs {FEWEST_BATCHES}. "
            "Add batches, or name those you accept as in style."
        )
    split, kind = like(all_logs, proposed, season.batches)
    houses = {one: _settled(one, kind, all_logs, proposed) for one in sorted(set(kind.values()))}
    bands = {
        one: of_model(house.model, house.examples, house.reference, kept, LEVEL)
        for one, house in houses.items()
    }
    found = {
        name: judge(houses[kind[name]], log)
        for name, log in all_logs.items()
        if len(log) >= FEWEST_VALUES
    }
    ended = set(
        season.batches.loc[season.batches["status"] != "fermenting", "batch_id"].astype(str)
    )
    ahead = {one: _ahead(house, found, ended) for one, house in houses.items()}
    return Judged(houses, bands, kind, split, all_logs, found, tuple(aside), ahead)


def _ahead(house: House, found: Mapping[str, Judgement], ended: set[str]) -> HouseModel:
    """The house learned again with the batches that ran in style but ended outside a window.

    Examples are chosen by how they ended, too. A forecast learned from those alone would think
    every batch ends inside the windows.
    """
    also = [
        found[name].log
        for name, why in house.reference.left_out.items()
        if (why == NOT_LISTED or why.endswith(OUTSIDE))
        and name in ended
        and name in found
        and not found[name].left
    ]
    also = also[-MOST_EXAMPLES:]
    return learn([*house.examples, *also]) if also else house.model


def _settled(
    one: str, kind: Mapping[str, str], all_logs: Mapping[str, Log], proposed: Reference
) -> House:
    """The house of one kind, or of all batches for kind ""."""
    if not one:
        return settle(all_logs, proposed)
    mine = {name: log for name, log in all_logs.items() if kind[name] == one}
    left_out = {name: why for name, why in proposed.left_out.items() if name in mine}
    names = tuple(name for name in proposed.names if name in mine)
    return settle(mine, Reference(names, left_out, proposed.given))


def _check_named(season: Season, in_style: Sequence[str] | None) -> None:
    known = set(season.batches["batch_id"].astype(str))
    strange = [str(name) for name in in_style or () if str(name) not in known]
    if strange:
        raise UnknownName(
            f"{strange[0]} is named as in style, but the season holds no such batch. "
            "Choose from its batches."
        )
