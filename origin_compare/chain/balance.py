"""Mass and alcohol from grain to new make, of a batch or of a lot, each gap held to its limit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from origin_compare.answers import count, listed
from origin_compare.chain.weak_worts import carried_kg, in_order
from origin_compare.errors import UnknownName
from origin_compare.house import Flag, HouseRules
from origin_compare.measures import extract_kg, litres_of_alcohol, wash_abv
from origin_compare.season.lot_shares import extract_of_malt, predicted_of_malt
from origin_compare.season.season import Season
from origin_compare.sheets.frames import looked_up

ACCOUNT_COLUMNS = [
    *["step", "amount", "unit", "of_before_pct", "limit", "verdict", "source", "says"],
]
FLOW_COLUMNS = [
    *["grain_t", "malt_t", "laboratory_kg", "extract_kg"],
    *["gravity_lpa", "wash_lpa", "new_make_lpa", "predicted_lpa"],
]
_LPA = "L pure alcohol"


@dataclass(frozen=True)
class _Step:
    """One line of the account: its column, and the window its share of the step before keeps to."""

    name: str
    column: str
    unit: str
    window: str = ""
    before: str = ""
    nothing: str = "not on record"
    says: str = ""


_OF_LOT = (
    _Step("grain delivered", "delivered_t", "t", says="over the weigh-bridge"),
    _Step(
        "grain steeped",
        "steeped_t",
        "t",
        "grain_steeped_pct",
        "delivered_t",
        says="of the grain delivered",
    ),
    _Step(
        "malt made", "made_t", "t", "malt_per_grain_pct", "steeped_t", says="of the grain steeped"
    ),
    _Step(
        "malt mashed",
        "malt_t",
        "t",
        "malt_mashed_pct",
        "made_t",
        "not mashed, or no weight",
        "of the malt made",
    ),
)
_OF_BATCH = (
    _Step(
        "grain steeped",
        "grain_t",
        "t",
        nothing="no weights of grain and malt",
        says="for this batch's malt",
    ),
    _Step(
        "malt mashed",
        "malt_t",
        "t",
        "malt_per_grain_pct",
        "grain_t",
        "no weight of grist",
        "of the grain steeped",
    ),
)
_ONWARD = (
    _Step(
        "extract in the malt",
        "laboratory_kg",
        "kg",
        nothing="no extract or moisture of malt",
        says="by the certificate",
    ),
    _Step(
        "extract in the wort",
        "extract_kg",
        "kg",
        "brewhouse_yield_pct",
        "laboratory_kg",
        "no volume or gravity of wort",
        "of the extract in the malt",
    ),
    _Step("alcohol by gravity", "gravity_lpa", _LPA, nothing="no original or last gravity"),
    _Step(
        "alcohol in the wash",
        "wash_lpa",
        _LPA,
        "wash_over_gravity_pct",
        "gravity_lpa",
        "no wash charge",
        "of the alcohol by gravity",
    ),
    _Step(
        "alcohol in new make",
        "new_make_lpa",
        _LPA,
        "new_make_over_wash_pct",
        "wash_lpa",
        "not distilled, or no volume",
        "of the wash",
    ),
)


@dataclass(frozen=True)
class Balance:
    """One account from grain to new make: an `Answer`.

    `rows` (`ACCOUNT_COLUMNS`): one per step; `of_before_pct` is the step as per cent of the one
    it is held against, `verdict` "within", "below", "above", "not known", or empty where nothing
    is held against it. `flags`: the gaps outside their limits.
    """

    of: str
    rows: pd.DataFrame
    flags: tuple[Flag, ...]
    left_out: str = ""

    def sentence(self) -> str:
        """What is outside its limit, what could not be checked."""
        held = int(self.rows["verdict"].isin(["within", "below", "above"]).sum())
        unknown = self.rows.loc[self.rows["verdict"] == "not known", "step"].tolist()
        if self.flags:
            said = f"{self.of}: {'; '.join(flag.says for flag in self.flags)}"
        elif held:
            said = f"{self.of}: {count(held, 'gap')} checked, all within the house limits"
        else:
            said = f"{self.of}: no gap can be checked"
        return f"{said}; not checked: {listed(unknown)}." if unknown else f"{said}."

    def table(self) -> pd.DataFrame:
        return self.rows

    def rests_on(self) -> str:
        """What was weighed or measured, and what was left out of the ratios."""
        there = self.rows.loc[self.rows["amount"].notna(), "step"].tolist()
        said = f"{len(there)} of {len(self.rows)} steps on record"
        return f"{said}; {self.left_out}." if self.left_out else f"{said}."


def batch_flows(season: Season) -> pd.DataFrame:
    """One row per batch, indexed by `batch_id`: `FLOW_COLUMNS`, missing where a figure is."""
    batches = season.batches.set_index("batch_id")
    table = pd.DataFrame(index=batches.index)
    table["malt_t"] = batches["grist_kg"] / 1000
    mashes = season.sheets["mashes"]
    per_malt = grain_per_malt(season.sheets["malts"])
    table["grain_t"] = _by_batch(mashes, per_malt, table.index) / 1000
    in_kg = extract_of_malt(season.sheets["malts"])
    table["laboratory_kg"] = _by_batch(mashes, in_kg, table.index)
    carried = carried_kg(in_order(season)).reindex(table.index)
    # What the malt gave: less what weak worts brought in, with what they took on.
    table["extract_kg"] = _extract(mashes).reindex(table.index) + carried.fillna(0.0)
    strength = _strength_from_gravity(season, batches)
    table["gravity_lpa"] = litres_of_alcohol(batches["wort_l"], strength)
    spirits = season.sheets["spirits"]
    for name, litres, abv in (
        ("wash_lpa", "wash_l", "wash_abv_pct"),
        ("new_make_lpa", "new_make_l", "new_make_abv_pct"),
    ):
        alcohol = litres_of_alcohol(spirits[litres], spirits[abv])
        table[name] = alcohol.groupby(spirits["batch_id"]).sum(skipna=False).reindex(table.index)
    promised = predicted_of_malt(season.sheets["malts"])
    table["predicted_lpa"] = _by_batch(mashes, promised, table.index) / 1000
    return table[FLOW_COLUMNS].astype("float64")


def grain_per_malt(malts: pd.DataFrame) -> pd.Series:
    """Tonnes of grain behind one tonne of each malt; missing where a weight is."""
    by_malt = malts.groupby("malt_id")
    return by_malt["grain_t"].sum(skipna=False) / malt_made(malts)


def malt_made(malts: pd.DataFrame) -> pd.Series:
    """Tonnes made of each malting, whether told by lot or whole beside each of its lots."""
    by_malt = malts.groupby("malt_id")
    grain = by_malt["grain_t"].sum(skipna=False)
    whole, parts = by_malt["tonnes"].max(), by_malt["tonnes"].sum(skipna=False)
    # Malt loses weight in the making: parts heavier than their grain are the whole, told twice.
    return parts.where(parts <= grain, whole)


def _by_batch(mashes: pd.DataFrame, per_kg: pd.Series, batches: pd.Index) -> pd.Series:
    amounts = mashes["grist_kg"] * looked_up(mashes["malt_id"], per_kg)
    return amounts.groupby(mashes["batch_id"]).sum(skipna=False).reindex(batches)


def _extract(mashes: pd.DataFrame) -> pd.Series:
    # A mash of two malts stands in two rows, each with the figures of the whole mash.
    single = mashes.groupby(["batch_id", "mash_no"], dropna=False)[["wort_l", "wort_sg"]].mean()
    kg = extract_kg(single["wort_l"], single["wort_sg"])
    return kg.groupby(level="batch_id").sum(skipna=False)


def _strength_from_gravity(season: Season, batches: pd.DataFrame) -> pd.Series:
    """% vol by original and last gravity; missing while fermenting or where gravity rose."""
    readings = season.sheets["readings"].dropna(subset="sg").sort_values("hours", kind="stable")
    last = readings.groupby("batch_id")["sg"].last().reindex(batches.index)
    ended = batches["status"] != "fermenting"
    known = ended & (last <= batches["og_sg"])
    strengths = [
        _strength(og, sg) for og, sg in zip(batches["og_sg"][known], last[known], strict=True)
    ]
    return pd.Series(strengths, index=batches.index[known], dtype="float64").reindex(batches.index)


def _strength(og: float, last: float) -> float:
    try:
        return float(wash_abv(og, last))
    except ValueError:
        return float("nan")


def batch_balance(season: Season, batch_id: str, all_flows: pd.DataFrame | None = None) -> Balance:
    """The account of one batch; `UnknownName` if there is none of that name."""
    table = batch_flows(season) if all_flows is None else all_flows
    if batch_id not in table.index:
        raise UnknownName(f"There is no batch {batch_id}.")
    return _account(f"Batch {batch_id}", table.loc[[batch_id]], _OF_BATCH + _ONWARD, season.rules)


def lot_balance(season: Season, lot_id: str, all_flows: pd.DataFrame | None = None) -> Balance:
    """The account of one lot over all its batches; `UnknownName` if there is none of that name.

    Malt counts by the lot's share of mass, extract and alcohol by its share of extract where that
    is known, else of mass. A step is held against the one before over the batches that have both.
    """
    lots = season.sheets["lots"]
    if lot_id not in set(lots["lot_id"]):
        raise UnknownName(f"There is no lot {lot_id}.")
    table = batch_flows(season) if all_flows is None else all_flows
    shares = season.shares[season.shares["lot_id"] == lot_id].set_index("batch_id")
    mine = table.reindex(shares.index)
    by_extract = shares["extract_share"].fillna(shares["share"])
    for column in FLOW_COLUMNS:
        mine[column] *= shares["share"] if column in ("grain_t", "malt_t") else by_extract
    whole = _of_whole_lot(season, lot_id)
    return _account(f"Lot {lot_id}", mine, _OF_LOT + _ONWARD, season.rules, whole)


def _of_whole_lot(season: Season, lot_id: str) -> dict[str, float]:
    malts = season.sheets["malts"]
    mine = malts[malts["lot_id"] == lot_id]
    per_grain = looked_up(mine["malt_id"], 1 / grain_per_malt(malts))
    lot = season.sheets["lots"].loc[season.sheets["lots"]["lot_id"] == lot_id].iloc[0]
    steeped = float("nan") if mine.empty else mine["grain_t"].sum(skipna=False)
    made = float("nan") if mine.empty else (mine["grain_t"] * per_grain).sum(skipna=False)
    return {"delivered_t": lot["delivered_t"], "steeped_t": steeped, "made_t": made}


def _account(
    of: str,
    flows: pd.DataFrame,
    steps: Sequence[_Step],
    rules: HouseRules,
    whole: dict[str, float] | None = None,
) -> Balance:
    whole = whole or {}
    rows: list[tuple[object, ...]] = []
    flags: list[Flag] = []
    left_out: list[str] = []
    for step in steps:
        amount = whole.get(step.column, _sum(flows.get(step.column)))
        ratio, without = _ratio(step, flows, whole)
        left_out += without
        limit = rules.windows.get(step.window)
        # To one decimal, which is more than weights and volumes bear.
        raised = rules.flags(step.window, round(ratio, 1)) if limit else ()
        flags += raised
        verdict = _verdict(ratio, raised) if limit else ""
        says = step.nothing if np.isnan(amount) else _says(step, flows)
        words, source = (limit.words(), limit.source) if limit else ("", "")
        rows.append((step.name, amount, step.unit, ratio, words, verdict, source, says))
    named = listed(sorted(set(left_out)))
    told = f"{named} left out of the ratios where a figure is missing" if named else ""
    return Balance(of, pd.DataFrame(rows, columns=ACCOUNT_COLUMNS), tuple(flags), told)


def _sum(column: pd.Series | None) -> float:
    """What is known of it, missing only where nothing is."""
    return float("nan") if column is None else float(column.sum(min_count=1))


def _ratio(step: _Step, flows: pd.DataFrame, whole: dict[str, float]) -> tuple[float, list[str]]:
    """Per cent of the step before, over the batches that have both; which have only one."""
    nan = float("nan")
    if not step.before:
        return nan, []
    if step.before in whole:
        amount = whole.get(step.column, _sum(flows.get(step.column)))
        return (100 * amount / whole[step.before] if whole[step.before] else nan), []
    now, then = flows[step.column], flows[step.before]
    both, either = now.notna() & then.notna(), now.notna() | then.notna()
    total = float(then[both].sum())
    only_one = [str(batch) for batch in flows.index[either & ~both]] if both.any() else []
    return (100 * float(now[both].sum()) / total if total else nan), only_one


def _verdict(ratio: float, raised: tuple[Flag, ...]) -> str:
    if np.isnan(ratio):
        return "not known"
    if not raised:
        return "within"
    return "below" if " is below " in raised[0].says else "above"


def _says(step: _Step, flows: pd.DataFrame) -> str:
    if step.column == "gravity_lpa":
        both = flows["gravity_lpa"].notna() & flows["extract_kg"].notna()
        if both.any():
            litres, kg = flows.loc[both, ["gravity_lpa", "extract_kg"]].sum()
            return f"{litres / kg:.3f} L per kg of extract"
    if step.column == "new_make_lpa":
        both = flows["new_make_lpa"].notna() & flows["malt_t"].notna()
        litres, malt, promised = flows.loc[both, ["new_make_lpa", "malt_t", "predicted_lpa"]].sum(
            skipna=False
        )
        told = f"{step.says}; {litres / malt:.0f} L per t of malt" if malt else step.says
        return f"{told}, {litres / promised:.0%} of the predicted" if promised > 0 else told
    return step.says
