"""The chain of one batch, from grower to panel: each step, what is missing, what came of what."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from origin_compare.answers import count, listed
from origin_compare.errors import UnknownName
from origin_compare.measures import litres_of_alcohol, wash_abv
from origin_compare.records.season import Season
from origin_compare.records.shares import (
    MIXED,
    NOT_KNOWN,
    ONE_FIELD,
    ONE_GROWER,
    WHOLE,
    origins,
)
from origin_compare.records.sheets import SHEETS, Column

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

STEP_COLUMNS = ["step", "name", "share", "there", "says"]
BALANCE_COLUMNS = ["step", "amount", "unit", "of_step_before", "says"]


@dataclass(frozen=True)
class ChainView:
    """One batch from grower to panel.

    `steps` (`STEP_COLUMNS`): one row per grower, lot, malt, mash, ...; `there` is False where the
    chain is broken; `share` the mass share in the batch where one is known. `balance`
    (`BALANCE_COLUMNS`): mass and pure alcohol along the way, `of_step_before` as a fraction,
    missing where a figure is.
    """

    batch_id: str
    origin: str
    steps: pd.DataFrame
    balance: pd.DataFrame
    missing: str
    weighed: bool

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
    steps = pd.DataFrame(rows, columns=STEP_COLUMNS).astype({"share": "float64", "there": "bool"})
    return ChainView(
        batch_id,
        str(batch["origin"]),
        steps,
        _balance(season, batch),
        str(batch["missing_links"]),
        bool(shares["weighed"].astype(bool).all()),
    )


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


def _balance(season: Season, batch: pd.Series) -> pd.DataFrame:
    """Mass and alcohol step by step; a step of which a figure is missing says so."""
    malt_t = batch["grist_kg"] / 1000
    grain_t = malt_t * _grain_per_malt(season, str(batch["batch_id"]))
    wash = litres_of_alcohol(batch["wash_l"], batch["wash_abv_pct"])
    worked_out = pd.isna(wash)
    if worked_out:
        wash = litres_of_alcohol(batch["wort_l"], _strength_from_gravity(season, batch))
    made = litres_of_alcohol(batch["new_make_l"], batch["new_make_abv_pct"])
    said = "from gravity, no wash charge on record" if worked_out else "as charged"
    rows = [
        ("grain", grain_t, "t", float("nan"), "grain steeped for this batch's malt"),
        ("malt", malt_t, "t", malt_t / grain_t, "grist mashed"),
        ("predicted", malt_t * batch["predicted_lpa_t"], "L pure alcohol", float("nan"),
         "by the malt certificate"),
        ("wash", wash, "L pure alcohol", float("nan"), said),
        ("new make", made, "L pure alcohol", made / wash, f"{made / malt_t:.0f} L per t of malt"),
    ]  # fmt: skip
    frame = pd.DataFrame(rows, columns=BALANCE_COLUMNS)
    frame["says"] = frame["says"].where(frame["amount"].notna(), "not on record")
    more = frame["of_step_before"] > 1
    frame["says"] = frame["says"].where(~more, "more than came in: feints, or a figure to check")
    return frame


def _grain_per_malt(season: Season, batch_id: str) -> float:
    """Tonnes of grain behind one tonne of this batch's malt; NaN where a weight is missing."""
    mashes = season.sheets["mashes"]
    mine = mashes[mashes["batch_id"] == batch_id]
    malts = season.sheets["malts"].groupby("malt_id")
    grain = malts["grain_t"].sum(skipna=False)
    whole, parts = malts["tonnes"].max(), malts["tonnes"].sum(skipna=False)
    # Malt loses weight in the making: parts heavier than their grain are the whole, told twice.
    made = parts.where(parts <= grain, whole)
    ratio = (grain / made).reindex(mine["malt_id"]).to_numpy()
    weights = mine["grist_kg"].to_numpy()
    return float((ratio * weights).sum() / weights.sum()) if len(mine) else float("nan")


def _strength_from_gravity(season: Season, batch: pd.Series) -> float:
    readings = season.sheets["readings"]
    mine = readings[(readings["batch_id"] == batch["batch_id"]) & readings["sg"].notna()]
    if mine.empty or pd.isna(batch["og_sg"]) or batch["status"] == "fermenting":
        return float("nan")
    last = mine.sort_values("hours")["sg"].iloc[-1]
    try:
        return float(wash_abv(batch["og_sg"], last))
    except ValueError:
        return float("nan")


@dataclass(frozen=True)
class GrowerChain:
    """What became of one grower's barley: `rows`, one per lot and batch it went into.

    Columns: season, lot_id, field, variety, delivered_t, batch_id, origin, share, malt_kg
    and new_make_lpa (both by mass share), missing_links; a lot not mashed has no batch.
    """

    grower_id: str
    rows: pd.DataFrame

    def sentence(self) -> str:
        """How many lots and batches, and the pure alcohol by mass share."""
        batches = self.rows.dropna(subset="batch_id").groupby("batch_id")["share"].sum()
        whole = int((batches >= WHOLE).sum())
        lots = self.rows["lot_id"].nunique()
        said = f"Grower {self.grower_id}: {count(lots, 'lot')}, {count(whole, 'whole batch')}"
        if len(batches) > whole:
            said += f" and a part of {count(len(batches) - whole, 'other')}"
        lpa = self.rows["new_make_lpa"]
        if lpa.notna().any():
            said += f", {lpa.sum():,.0f} L of pure alcohol by mass share"
        return f"{said}."

    def table(self) -> pd.DataFrame:
        return self.rows

    def rests_on(self) -> str:
        """How many of the batches are distilled."""
        batches = self.rows.dropna(subset="batch_id").drop_duplicates("batch_id")
        done = int(batches["new_make_lpa"].notna().sum())
        return f"{count(done, 'distilled batch')} of {len(batches):,}."


def grower_chain(season: Season, grower_id: str) -> GrowerChain:
    """Every lot of a grower and what was made of it; `UnknownName` if there is no such grower."""
    lots = season.sheets["lots"]
    mine = lots[lots["grower_id"] == grower_id]
    known = set(season.sheets["growers"]["grower_id"]) | set(lots["grower_id"].dropna())
    if grower_id not in known:
        there = listed(sorted(known)) or "none"
        raise UnknownName(f"There is no grower {grower_id}. Growers on record: {there}.")
    made = season.batches[
        ["batch_id", "origin", "grist_kg", "new_make_l", "new_make_abv_pct", "missing_links"]
    ]
    shares = season.shares[["batch_id", "lot_id", "share"]]
    rows = mine.merge(shares, on="lot_id", how="left").merge(made, on="batch_id", how="left")
    rows["malt_kg"] = rows["grist_kg"] * rows["share"]
    rows["new_make_lpa"] = (
        litres_of_alcohol(rows["new_make_l"], rows["new_make_abv_pct"]) * rows["share"]
    )
    order = rows.sort_values(["season", "lot_id", "batch_id"], ignore_index=True)
    return GrowerChain(grower_id, order[_GROWER_COLUMNS])


_GROWER_COLUMNS = [
    *["season", "lot_id", "field", "variety", "delivered_t", "batch_id", "origin", "share"],
    *["malt_kg", "new_make_lpa", "missing_links"],
]
