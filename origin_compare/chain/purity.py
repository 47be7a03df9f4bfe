"""How much of a batch's alcohol is one grower's, from least to most, and what speaks against it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from origin_compare.answers import count, listed
from origin_compare.chain import heels, weak_worts
from origin_compare.chain.balance import Balance, batch_balance, batch_flows, lot_balance
from origin_compare.chain.carry_over import (
    Returned,
    over_runs,
    own_by_run,
    returned,
    still_order,
    untold,
)
from origin_compare.chain.single_origin import (
    LEVELS,
    broken,
    carried_too_far,
    gaps,
    mixed,
    too_little,
)
from origin_compare.errors import UnknownName
from origin_compare.season.lot_shares import (
    ANY_OTHER,
    ANYTHING,
    Span,
    spans,
)
from origin_compare.season.season import Season

PART_COLUMNS = ["part", "least_pct", "most_pct", "says"]
PURITY_COLUMNS = ["batch_id", "origin", "of", "least_pct", "most_pct", "single_origin", "why_not"]


@dataclass(frozen=True)
class Purity:
    """What share of a batch's alcohol is of one origin: an `Answer`.

    `of`: the origin with the greatest share, a grower's code or a lot's number as `level` says;
    empty where none is known. `share`: its span; `grain`: its span of the grain alone.
    `parts` (`PART_COLUMNS`): what made the span as wide as it is. `reasons`: why the batch cannot
    be called of one origin, empty where it can. `assumptions`: what the span stands on.
    `taken_as_none`: what the house has not stated, such as heels.
    """

    batch_id: str
    level: str
    of: str
    share: Span
    grain: Span
    parts: pd.DataFrame
    reasons: tuple[str, ...]
    assumptions: tuple[str, ...]
    runs: pd.DataFrame
    distilled: bool = True
    taken_as_none: tuple[str, ...] = ()

    @property
    def single_origin(self) -> bool:
        """Whether it may be called of one origin under the house rules."""
        return not self.reasons

    def sentence(self) -> str:
        """The share from least to most, and whether the batch can be called single-origin."""
        if self.single_origin:
            return f"{self._share()}: it can be called of one {self.level}."
        return (
            f"{self._share()}. It cannot be called of one {self.level}: {'; '.join(self.reasons)}."
        )

    def _share(self) -> str:
        if not self.of:
            return f"Whose grain batch {self.batch_id} is made of is not on record"
        what = "alcohol" if self.distilled else "grain"
        said = (
            f"{self.share.between()} of the {what} of batch {self.batch_id} is of "
            f"{self.level} {self.of}"
        )
        if self.share.words() == self.share.between():
            said += ", least and most alike"
        silent = " and ".join(self.taken_as_none)
        return f"{said}, {silent} not stated and taken as none" if silent else said

    def table(self) -> pd.DataFrame:
        return self.parts

    def rests_on(self) -> str:
        """The assumptions, one after the other."""
        said = "; ".join(self.assumptions)
        return f"{said[:1].upper()}{said[1:]}."


class Reckoning:
    """What the purity of every batch of a season is reckoned from, worked out once.

    `level`: "grower" or "lot". Raises `KeyError` for another.
    """

    def __init__(self, season: Season, level: str = "grower") -> None:
        self.season = season
        self.level = level
        self.key = LEVELS[level]

    def of(self, batch_id: str, origin: str | None = None) -> Purity:
        """One batch, asked after `origin` or whoever has the greatest share of it.

        `UnknownName` if the season has no such batch.
        """
        rows = self.season.batches[self.season.batches["batch_id"] == batch_id]
        if rows.empty:
            there = listed(self.season.batches["batch_id"].tolist()) or "none"
            raise UnknownName(f"There is no batch {batch_id}. Batches on record: {there}.")
        batch = rows.iloc[0]
        name = self._greatest(batch_id) if origin is None else origin
        grain = self._grain(batch_id, name)
        fresh = self._with_heels(batch_id, name)
        runs = self._runs(name)
        mine = runs[runs["batch_id"] == batch_id].reset_index(drop=True)
        share, old = fresh, None
        if len(mine):
            charge, old = over_runs(runs, self.order, batch_id)
            under = [one for one in self.heels.get(batch_id, []) if one.step == "spirit"]
            share = heels.with_heels(charge, under, lambda other: self._grain(other, name))
        return Purity(
            batch_id,
            self.level,
            name,
            share,
            grain,
            self._parts(batch_id, name, fresh, old, share),
            self._reasons(batch, share, old),
            self._assumptions(batch),
            mine,
            bool(len(mine)),
            self._taken_as_none(),
        )

    def _taken_as_none(self) -> tuple[str, ...]:
        silent = ("heels",) if heels.not_stated(self.season) else ()
        return silent if self.mashes["known"].all() else (*silent, "weak worts")

    @cached_property
    def back(self) -> Returned:
        """How foreshots and feints come back, as the house states it."""
        return returned(self.season.rules, self.level)

    @cached_property
    def order(self) -> pd.DataFrame:
        """The spirit runs in the order of their stills (`carry_over.RUN_COLUMNS` and how told)."""
        return still_order(self.season, self.back.apart)

    @cached_property
    def spans(self) -> dict[str, dict[str, Span]]:
        """Per batch and origin its share of the grain (`lot_shares.spans`)."""
        return spans(self.season.sheets, self.key)

    @cached_property
    def heels(self) -> dict[str, list[heels.Heel]]:
        """The stated heels under every batch."""
        return heels.heels(self.season)

    @cached_property
    def mashes(self) -> pd.DataFrame:
        """The mashes in order, with the weak worts each took on (`weak_worts.in_order`)."""
        return weak_worts.in_order(self.season)

    @cached_property
    def flows(self) -> pd.DataFrame:
        """Tonnes, kg of extract and litres of alcohol by batch (`balance.FLOW_COLUMNS`)."""
        return batch_flows(self.season)

    def balances(self, batch_id: str) -> list[Balance]:
        """The accounts of a batch and of each of its lots."""
        shares = self.season.shares
        lots = shares.loc[shares["batch_id"] == batch_id, "lot_id"]
        known = lots[lots.isin(self.season.sheets["lots"]["lot_id"])]
        return [
            batch_balance(self.season, batch_id, self.flows),
            *(self.lot_balance(str(lot)) for lot in known),
        ]

    def lot_balance(self, lot_id: str) -> Balance:
        """The account of one lot, worked out once."""
        if lot_id not in self._lots:
            self._lots[lot_id] = lot_balance(self.season, lot_id, self.flows)
        return self._lots[lot_id]

    @cached_property
    def _lots(self) -> dict[str, Balance]:
        return {}

    @cached_property
    def _worts(self) -> dict[str, dict[str, Span]]:
        return {}

    @cached_property
    def _run_tables(self) -> dict[str, pd.DataFrame]:
        return {}

    def _greatest(self, batch_id: str) -> str:
        named = {name: span for name, span in self.spans.get(batch_id, {}).items() if name}
        if not named:
            return ""
        # Of equals the first by name, so that the same season always names the same one.
        return max(sorted(named), key=lambda name: (named[name].least, named[name].most))

    def _grain(self, batch_id: str, name: str) -> Span:
        known = self.spans.get(batch_id, {ANY_OTHER: ANYTHING})
        return known.get(name, known[ANY_OTHER])

    def _wort(self, batch_id: str, name: str) -> Span:
        """The origin's span of the wort: of the grain, with the weak worts of the mash before."""
        if name not in self._worts:
            self._worts[name] = weak_worts.mixed_in(self.mashes, lambda one: self._grain(one, name))
        return self._worts[name].get(batch_id, self._grain(batch_id, name))

    def _with_heels(self, batch_id: str, name: str) -> Span:
        under = [one for one in self.heels.get(batch_id, []) if one.step != "spirit"]
        wort = self._wort(batch_id, name)
        return heels.with_heels(wort, under, lambda other: self._grain(other, name))

    def _runs(self, name: str) -> pd.DataFrame:
        if name not in self._run_tables:

            def own(batch_id: str) -> Span:
                return self._with_heels(batch_id, name)

            self._run_tables[name] = own_by_run(self.order, own, self.back)
        return self._run_tables[name]

    def _parts(
        self, batch_id: str, name: str, fresh: Span, old: Span | None, share: Span
    ) -> pd.DataFrame:
        under = "; ".join(one.says() for one in self.heels.get(batch_id, []))
        grain = (f"grain of {self.level}", self._grain(batch_id, name), self._grain_words(batch_id))
        lines = [grain, ("the same, heels mixed in", fresh, under or "none stated")]
        if self.mashes["known"].any():
            came = weak_worts.says(self.mashes, batch_id)
            lines.insert(1, ("the same, weak worts mixed in", self._wort(batch_id, name), came))
        if old is not None:
            lines += [
                ("alcohol from earlier runs", old, self.back.says),
                (f"alcohol of {self.level}", share, "all together"),
            ]
        rows = [(part, 100 * span.least, 100 * span.most, says) for part, span, says in lines]
        return pd.DataFrame(rows, columns=PART_COLUMNS)

    def _grain_words(self, batch_id: str) -> str:
        shares = self.season.shares
        mine = shares[shares["batch_id"] == batch_id]
        if mine.empty:
            return "no grain on record"
        if not mine["weighed"].astype(bool).all():
            return "weights missing"
        by_extract = mine["extract_share"].notna().all()
        return "by mass and by extract" if by_extract else "by mass, extract not on record"

    def _reasons(self, batch: pd.Series, share: Span, old: Span | None) -> tuple[str, ...]:
        batch_id, rules = str(batch["batch_id"]), self.season.rules
        shares = self.season.shares[self.season.shares["batch_id"] == batch_id]
        found = [*broken(batch), *mixed(shares, self.level), *gaps(self.balances(batch_id))]
        carried = carried_too_far(rules, old, self.back.apart) if old else []
        if carried or found:
            return (*found, *carried)
        return tuple(too_little(rules, share))

    def _assumptions(self, batch: pd.Series) -> tuple[str, ...]:
        said = [f"grain {self._grain_words(str(batch['batch_id']))}", self.back.says]
        if self.back.share.most > 0:
            said.append("what goes back has the make-up of the charge it came from")
            said.append("before the first run on record anything may have stood in the receiver")
            said += self._recorded(str(batch["batch_id"]))
        lost = untold(self.order)
        silent = heels.not_stated(self.season)
        if silent:
            said.append(f"heels at {listed(silent, 9)} not stated, taken as none")
        said += weak_worts.assumed(self.mashes)
        return (*said, lost) if lost else tuple(said)

    def _recorded(self, batch_id: str) -> list[str]:
        mine = self.order.loc[self.order["batch_id"] == batch_id, "old_share"]
        known = int(mine.notna().sum())
        if not known:
            return []
        return [f"the charge of {known} of its {count(len(mine), 'run')} is as recorded"]


def purity(season: Season, batch_id: str, level: str = "grower") -> Purity:
    """What share of a batch's alcohol is of one grower (or lot), from least to most.

    The grain's share by mass and by extract, then stated heels, then what earlier runs of the
    same still handed on, each as a range under the house rules. `UnknownName` for a batch that
    the season does not hold.
    """
    return Reckoning(season, level).of(batch_id)


@dataclass(frozen=True)
class Purities:
    """Every batch of a season: an `Answer`. `rows` (`PURITY_COLUMNS`), in order of pitching."""

    rows: pd.DataFrame
    level: str
    assumed: str

    def sentence(self) -> str:
        """How many can be called of one origin, and what most often speaks against it."""
        able = int(self.rows["single_origin"].sum())
        return f"{able:,} of {count(len(self.rows), 'batch')} can be called of one {self.level}."

    def table(self) -> pd.DataFrame:
        return self.rows

    def rests_on(self) -> str:
        return f"{self.assumed[:1].upper()}{self.assumed[1:]}."


def purities(season: Season, level: str = "grower") -> Purities:
    """The purity of every batch of a season, one row each."""
    reckoning = Reckoning(season, level)
    found = [reckoning.of(str(batch)) for batch in season.batches["batch_id"]]
    origin = season.batches.set_index("batch_id")["origin"]
    rows = [
        (
            *(one.batch_id, origin[one.batch_id], one.of, 100 * one.share.least),
            *(100 * one.share.most, one.single_origin, "; ".join(one.reasons)),
        )
        for one in found
    ]
    return Purities(pd.DataFrame(rows, columns=PURITY_COLUMNS), level, reckoning.back.says)
