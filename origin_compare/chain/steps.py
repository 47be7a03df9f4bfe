"""The chain of one batch, from grower to panel: each step, what is missing, what came of what."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from origin_compare.answers import count, listed
from origin_compare.chain.balance import Balance
from origin_compare.chain.carry_over import AfterAChange, after_a_change
from origin_compare.chain.grower_chain import GrowerChain, grower_chain
from origin_compare.chain.purity import Purity, Reckoning
from origin_compare.errors import UnknownName
from origin_compare.season.lot_shares import (
    MIXED,
    NOT_KNOWN,
    ONE_FIELD,
    ONE_GROWER,
    WHOLE,
    malt_shares,
    origins,
)
from origin_compare.season.season import Season
from origin_compare.sheets.bases import BASED, on_one_basis
from origin_compare.sheets.catalogue import SHEETS, Column

__all__ = [
    "MIXED",
    "NOT_KNOWN",
    "ONE_FIELD",
    "ONE_GROWER",
    "ChainView",
    "GrowerChain",
    "chain_of",
    "grower_chain",
    "origins",
]

STEP_COLUMNS = ["step", "name", "share", "extract_share", "there", "says"]
_TOLD = [name for name in STEP_COLUMNS if name != "extract_share"]
BALANCE_COLUMNS = ["step", "amount", "unit", "of_step_before", "says"]


@dataclass(frozen=True)
class ChainView:
    """One batch from grower to panel.

    `steps` (`STEP_COLUMNS`): one row per grower, lot, malt, mash, ...; `there` is False where the
    chain is broken; `share` the mass share in the batch where one is known, `extract_share` the
    share by extract of growers, lots and malts. `balance` (`BALANCE_COLUMNS`): mass and pure
    alcohol along the way, `of_step_before` as a fraction, missing where a figure is. `account`:
    the same step by step, each gap held to the house's limits, and `lot_accounts` those of its
    lots over all their batches. `purity`: how much of its alcohol is of one grower. `after`: what
    a change of lot leaves in the runs that follow it.
    """

    batch_id: str
    origin: str
    steps: pd.DataFrame
    balance: pd.DataFrame
    missing: str
    weighed: bool
    account: Balance
    lot_accounts: tuple[Balance, ...]
    purity: Purity
    after: AfterAChange

    def sentence(self) -> str:
        """What the batch is made of, and what is missing."""
        said = f"Batch {self.batch_id} is {_ORIGIN_WORDS[self.origin]}{self._lots()}"
        return f"{said}; missing: {self.missing}." if self.missing else f"{said}, complete."

    def _lots(self) -> str:
        lots = self.steps[self.steps["step"] == "lot"]
        if lots.empty:
            return ""
        parts = [
            f"{name} ({share:.0%})" if len(lots) > 1 else str(name)
            for name, share in zip(lots["name"], lots["share"], strict=True)
        ]
        return f": {listed(parts)}"

    def table(self) -> pd.DataFrame:
        return self.steps

    def rests_on(self) -> str:
        """How the shares were found."""
        there = self.steps[self.steps["there"]]
        parts = [
            count(int((there["step"] == step).sum()), step) for step in ("lot", "malt", "mash")
        ]
        if "lot" not in set(there["step"]):
            return f"{listed(parts)}."
        how = "by weight" if self.weighed else "taken as equal, since weights are missing"
        return f"{listed(parts)}; shares {how}."


_ORIGIN_WORDS = {
    ONE_FIELD: "of one field",
    ONE_GROWER: "of one grower",
    MIXED: "mixed from several growers",
    NOT_KNOWN: "of an origin not known in full",
}


def chain_of(season: Season, batch_id: str) -> ChainView:
    """The chain of one batch; `UnknownName` if the season has no such batch."""
    batch = _batch(season, batch_id)
    rows = [
        *_origin_steps(season, batch_id),
        *_mash_steps(season, batch),
        *_later_steps(season, batch),
    ]
    shares = season.shares[season.shares["batch_id"] == batch_id]
    steps = pd.DataFrame(rows, columns=_TOLD).astype({"share": "float64", "there": "bool"})
    steps["extract_share"] = _extract_shares(season, batch_id, steps)
    reckoning = Reckoning(season)
    account, *lot_accounts = reckoning.balances(batch_id)
    return ChainView(
        batch_id,
        str(batch["origin"]),
        steps[STEP_COLUMNS],
        _balance(reckoning.flows.loc[[batch_id]].iloc[0]),
        str(batch["missing_links"]),
        bool(shares["weighed"].astype(bool).all()),
        account,
        tuple(lot_accounts),
        reckoning.of(batch_id),
        after_a_change(season.rules),
    )


def _extract_shares(season: Season, batch_id: str, steps: pd.DataFrame) -> pd.Series:
    """The share by extract beside every grower, lot and malt; missing elsewhere."""
    shares = season.shares[season.shares["batch_id"] == batch_id]
    of = {
        "grower": shares.groupby("grower_id")["extract_share"].sum(skipna=False),
        "lot": shares.set_index("lot_id")["extract_share"],
        "malt": malt_shares(season.sheets, batch_id)["part_extract"],
    }
    found = [
        of[step].get(name, _NO_SHARE) if step in of else _NO_SHARE
        for step, name in zip(steps["step"], steps["name"], strict=True)
    ]
    return pd.Series(found, index=steps.index, dtype="float64")


def _batch(season: Season, batch_id: str) -> pd.Series:
    rows = season.batches[season.batches["batch_id"] == batch_id]
    if len(rows):
        return rows.iloc[0]
    there = listed(season.batches["batch_id"].tolist()) or "none"
    raise UnknownName(f"There is no batch {batch_id}. Batches on record: {there}.")


Step = tuple[str, str, float, bool, str]
_NO_SHARE = float("nan")


def _step(season: Season, sheet: str, step: str, name: str, share: float, *facts: str) -> Step:
    """One link by name: there with its facts, or named but not on record."""
    key = SHEETS[sheet].key[0]
    rows = season.sheets[sheet][season.sheets[sheet][key] == name]
    rows = on_one_basis(sheet, rows, season.rules) if sheet in BASED else rows
    if rows.empty:
        return step, name, share, False, f"not in the {sheet} sheet"
    return step, name, share, True, _facts(sheet, rows.iloc[0], *facts)


def _facts(sheet: str, row: pd.Series, *names: str) -> str:
    told = [_fact(SHEETS[sheet].column(name), row[name]) for name in names if pd.notna(row[name])]
    return ", ".join(told)


def _fact(column: Column, value: object) -> str:
    if isinstance(value, pd.Timestamp):
        return f"{value:%Y-%m-%d %H:%M} UTC"
    if isinstance(value, float):
        label, _, unit = column.says.partition(", ")
        return f"{label} {value:g} {unit}".rstrip()
    return str(value)


def _origin_steps(season: Season, batch_id: str) -> list[Step]:
    shares = season.shares[season.shares["batch_id"] == batch_id]
    by_grower = shares.groupby("grower_id")["share"].sum()
    steps = [
        _step(season, "growers", "grower", str(grower), float(share), "region", "soil")
        for grower, share in by_grower.items()
    ]
    steps += [
        _step(season, "lots", "lot", str(lot), float(share), "field", "variety", "season")
        for lot, share in zip(shares["lot_id"], shares["share"], strict=True)
    ]
    lost = 1 - float(shares["share"].sum())
    if lost > 1 - WHOLE:
        steps.append(("lot", "not known", lost, False, "no lot is named for this part"))
    return steps


def _mash_steps(season: Season, batch: pd.Series) -> list[Step]:
    mashes = season.sheets["mashes"]
    mine = mashes[mashes["batch_id"] == batch["batch_id"]]
    if mine.empty:
        return [("malt", "", _NO_SHARE, False, "not known"), ("mash", "", 1.0, False, "no mash")]
    grist = mine.groupby("malt_id", sort=True)["grist_kg"].sum(skipna=False)
    steps = [
        _step(season, "malts", "malt", str(malt), float(kg / grist.sum(skipna=False)), *_OF_MALT)
        for malt, kg in grist.items()
    ]
    for number, rows in mine.groupby("mash_no", dropna=False):
        says = _facts("mashes", rows.iloc[0], "mashed_at", "wort_l")
        steps.append(("mash", str(number), _NO_SHARE, True, says))
    return steps


_OF_MALT = ("extract_pct_dm", "moisture_pct", "predicted_lpa_t")


def _later_steps(season: Season, batch: pd.Series) -> list[Step]:
    name, delivery = str(batch["batch_id"]), batch["delivery_id"]
    fermenting = batch["status"] == "fermenting"
    yeast: Step = ("yeast", "", _NO_SHARE, False, "no delivery named")
    if pd.notna(delivery):
        yeast = _step(season, "yeasts", "yeast", delivery, _NO_SHARE, "strain", "form")
    readings, runs, tastings = batch["n_readings"], batch["runs"], batch["n_tastings"]
    spirit = f"{batch['new_make_l']:,.0f} L at {batch['new_make_abv_pct']:.1f} % vol"
    tasted = f"{count(tastings, 'tasting')}, {count(batch['n_assessors'], 'assessor')}"
    vessel = f"{_facts('fermentations', batch, 'vessel')} {batch['status']}".strip()
    none_yet = "still fermenting" if fermenting else "none"
    return [
        yeast,
        ("fermentation", name, 1.0, True, vessel),
        ("readings", "", _NO_SHARE, readings > 0, count(readings, "reading")),
        ("spirit", "", 1.0, runs > 0, spirit if runs else none_yet),
        ("panel", "", _NO_SHARE, tastings > 0, tasted if tastings else none_yet),
    ]


def _balance(flow: pd.Series) -> pd.DataFrame:
    """Mass and alcohol step by step; a step of which a figure is missing says so."""
    malt_t, grain_t, made = flow["malt_t"], flow["grain_t"], flow["new_make_lpa"]
    worked_out = pd.isna(flow["wash_lpa"])
    wash = flow["gravity_lpa"] if worked_out else flow["wash_lpa"]
    said = "from gravity, no wash charge on record" if worked_out else "as charged"
    nan = float("nan")
    rows = [
        ("grain", grain_t, "t", nan, "grain steeped for this batch's malt"),
        ("malt", malt_t, "t", malt_t / grain_t, "grist mashed"),
        (
            "predicted",
            flow["predicted_lpa"],
            _LPA,
            nan,
            "by the certificate, of the malt as mashed",
        ),
        ("wash", wash, _LPA, nan, said),
        ("new make", made, _LPA, made / wash, f"{made / malt_t:.0f} L per t of malt"),
    ]
    frame = pd.DataFrame(rows, columns=BALANCE_COLUMNS)
    frame["says"] = frame["says"].where(frame["amount"].notna(), "not on record")
    more = frame["of_step_before"] > 1
    frame["says"] = frame["says"].where(~more, "more than came in: feints, or a figure to check")
    return frame


_LPA = "L pure alcohol"
