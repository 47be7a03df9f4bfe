"""One row per batch: everything known of it, from the field to the spirit and the panel."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pandas as pd

from origin_compare.house import HouseRules, default_rules
from origin_compare.season.lot_shares import NOT_KNOWN, WHOLE, classes, joined_names, origins
from origin_compare.season.season import Season
from origin_compare.season.unmatched import missing_links, unmatched_rows
from origin_compare.sheets.bases import batch_notes, on_dry, on_one_basis
from origin_compare.sheets.faults import Fault
from origin_compare.sheets.frames import Sheets, all_shaped, looked_up
from origin_compare.sheets.gravity_unit import in_sg
from origin_compare.sheets.hour_zero import ALWAYS_THERE, hour_zeros

LOT_NUMBERS = [
    "grain_n_pct_dm",
    "grain_moisture_pct",
    "screenings_pct",
    "thousand_grain_g",
    "germination_pct",
    "rain_mm",
    "mean_temp_c",
    "yield_t_ha",
]
LOT_NAMES = ["field", "variety", "soil"]
MALT_NUMBERS = {
    "moisture_pct": "malt_moisture_pct",
    "extract_pct_dm": "extract_pct_dm",
    "soluble_n_ratio_pct": "soluble_n_ratio_pct",
    "friability_pct": "friability_pct",
    "fan_mg_l": "fan_mg_l",
    "diastatic_power": "diastatic_power",
    "predicted_lpa_t": "predicted_lpa_t",
}
MASH_NUMBERS = {
    "wort_sg": "mash_wort_sg",
    "strike_temp_c": "strike_temp_c",
    "wort_ph": "wort_ph",
    "run_off_h": "run_off_h",
}
FERMENTATION = [
    "vessel",
    "pitched_at",
    "hour_zero_at",
    "hour_zero",
    "pitch_temp_c",
    "wort_l",
    "og_sg",
    "yeast_kg",
    "delivery_id",
    "ended_at",
    "planned_h",
    "note",
]
YEAST = {
    "strain": "yeast_strain",
    "form": "yeast_form",
    "viability_pct": "yeast_viability_pct",
    "storage_temp_c": "yeast_storage_c",
}
BATCH_COLUMNS = [
    *["batch_id", "season", "status", "origin", "grower_id", "lot_id", "growers", "lots"],
    *LOT_NAMES,
    *LOT_NUMBERS,
    "malt_id",
    *MALT_NUMBERS.values(),
    *["grist_kg", "mash_wort_l", *MASH_NUMBERS.values()],
    *FERMENTATION,
    *["yeast_strain", "yeast_form", "yeast_viability_pct", "yeast_age_d", "yeast_storage_c"],
    *["limit_sg", "runs", "distilled_on", "still", "wash_l", "wash_abv_pct"],
    *["new_make_l", "new_make_abv_pct", "cut_on_abv_pct", "cut_off_abv_pct"],
    *["n_readings", "n_tastings", "n_assessors", "missing_links"],
    *["grain_method", "malt_lab", "yield_moisture_pct", "predicted_basis", "basis_notes"],
]


def build_season(
    sheets: Sheets,
    rules: HouseRules | None = None,
    *,
    faults: Iterable[Fault] = (),
    revision: int = 0,
    site: str = "",
) -> Season:
    """The sheets joined to one row per batch (`BATCH_COLUMNS`), with what would not join.

    Means over lots weigh by mass share, over malts by grist, over mashes by wort volume; such a
    mean is missing when one of its parts is. Nitrogen, extract and predicted yield are put on dry
    matter and field yields at the house's one moisture first (see `bases`); `basis_notes` says
    what was converted or left out, `predicted_basis` the basis the certificates name. Amounts are
    sums, missing when one of their parts is. Readings of a frame made by hand may hold gravity as
    SG x 1000 or in degrees: here it is settled to SG, and nothing after asks again.
    """
    rules = rules or default_rules()
    sheets = _settled(all_shaped(sheets), rules)
    shares = origins(sheets)
    batches = _batches(sheets, shares, rules)
    return Season(
        sheets=sheets,
        batches=batches,
        shares=shares,
        unmatched=unmatched_rows(sheets),
        faults=tuple(faults),
        revision=revision,
        site=site,
        rules=rules,
    )


def _settled(sheets: Sheets, rules: HouseRules) -> Sheets:
    """The sheets with every reading's gravity as SG and its hours since the house's hour zero."""
    readings = sheets["readings"].assign(sg=in_sg(sheets["readings"]["sg"]))
    readings = with_hours(readings, sheets["fermentations"], rules.hour_zero)
    return {**sheets, "readings": readings}


def with_hours(
    readings: pd.DataFrame, fermentations: pd.DataFrame, hour_zero: str = ALWAYS_THERE
) -> pd.DataFrame:
    """`readings` with `hours` since hour zero worked out from `read_at` where not given.

    `hour_zero`: the house's choice; a batch without that moment counts from yeast in.
    """
    once = fermentations.drop_duplicates("batch_id").set_index("batch_id")
    zero = hour_zeros(once, hour_zero)["hour_zero_at"]
    since = readings["read_at"] - looked_up(readings["batch_id"], zero)
    return readings.assign(hours=readings["hours"].fillna(since.dt.total_seconds() / 3600))


def _batches(sheets: Sheets, shares: pd.DataFrame, rules: HouseRules) -> pd.DataFrame:
    batches = sheets["fermentations"].set_index("batch_id")
    whole = batches.join(hour_zeros(batches, rules.hour_zero))[FERMENTATION]
    table = whole.join(
        [
            classes(shares),
            _lot_part(sheets, shares, rules),
            _malt_part(sheets),
            _mash_part(sheets["mashes"]),
            _limit_part(sheets["attenuations"]),
            _spirit_part(sheets["spirits"]),
        ]
    )
    table = table.join(_yeast_part(sheets["yeasts"], table, rules))
    table["origin"] = table["origin"].fillna(NOT_KNOWN)
    table["status"] = np.select(
        [table["runs"].notna(), table["ended_at"].notna()], ["distilled", "ended"], "fermenting"
    )
    table = _with_counts(table, sheets)
    table["missing_links"] = missing_links(table, sheets, shares)
    notes = batch_notes(sheets, shares, rules)
    table["basis_notes"] = notes.reindex(table.index).fillna("")
    ordered = table.sort_values("pitched_at", kind="stable").reset_index()
    return ordered[BATCH_COLUMNS]


def _weighted(frame: pd.DataFrame, by: str, weight: pd.Series, columns: list[str]) -> pd.DataFrame:
    """Weighted means per `by`; missing as soon as a value or a weight is."""
    numbers = frame[columns].astype("float64")
    totals = weight.groupby(frame[by]).sum(skipna=False)
    sums = numbers.mul(weight, axis=0).groupby(frame[by]).sum(skipna=False)
    return sums.div(totals.where(totals > 0), axis=0)


def _single(frame: pd.DataFrame, by: str, name: str) -> pd.Series:
    """The value of `name` per `by` where all rows hold the same one, else missing."""
    groups = frame.groupby(by)[name]
    return groups.first().where((groups.nunique() == 1) & (groups.count() == groups.size()))


def _lot_part(sheets: Sheets, shares: pd.DataFrame, rules: HouseRules) -> pd.DataFrame:
    lots = (
        on_one_basis("lots", sheets["lots"], rules)
        .drop(columns=["grower_id", "season"])
        .drop_duplicates("lot_id")
    )
    soils = sheets["growers"].drop_duplicates("grower_id").set_index("grower_id")["soil"]
    rows = shares.merge(lots, on="lot_id", how="left")
    rows["soil"] = rows["soil"].fillna(looked_up(rows["grower_id"], soils))
    table = _weighted(rows, "batch_id", rows["share"], [*LOT_NUMBERS, "yield_moisture_pct"])
    for name in LOT_NAMES:
        table[name] = _single(rows, "batch_id", name)
    in_full = rows.groupby("batch_id")["share"].sum() >= WHOLE
    methods = joined_names(rows, "batch_id", "grain_method").rename("grain_method")
    return table.where(in_full, axis=0).join(methods)


def _malt_part(sheets: Sheets) -> pd.DataFrame:
    # The figures are the whole malting's, whether written beside each of its lots or only once.
    malts = on_dry("malts", sheets["malts"])
    values = malts.groupby("malt_id")[list(MALT_NUMBERS)].mean()
    mashes = sheets["mashes"]
    rows = mashes[["batch_id", "malt_id", "grist_kg"]].merge(values, on="malt_id", how="left")
    weight = _or_equal(rows, "batch_id", "grist_kg")
    table = _weighted(rows, "batch_id", weight, list(MALT_NUMBERS)).rename(columns=MALT_NUMBERS)
    table["malt_id"] = joined_names(rows, "batch_id", "malt_id").str.replace(" + ", "+")
    written = sheets["malts"][["malt_id", "lab", "predicted_basis"]]
    labs = rows[["batch_id", "malt_id"]].merge(written, on="malt_id")
    table["malt_lab"] = joined_names(labs, "batch_id", "lab")
    table["predicted_basis"] = joined_names(labs, "batch_id", "predicted_basis")
    return table


def _or_equal(frame: pd.DataFrame, by: str, weight: str) -> pd.Series:
    """`weight`, or 1 for every row of a group in which a weight is missing or all are 0."""
    total = looked_up(frame[by], frame.groupby(by)[weight].sum(skipna=False))
    return frame[weight].where(total > 0, 1.0).astype("float64")


def _mash_part(mashes: pd.DataFrame) -> pd.DataFrame:
    by_batch = mashes.groupby("batch_id")
    # A mash of two malts stands in two rows, each with the figures of the whole mash.
    columns = ["wort_l", *MASH_NUMBERS]
    single = mashes.groupby(["batch_id", "mash_no"], dropna=False)[columns].mean().reset_index()
    volume = _or_equal(single, "batch_id", "wort_l")
    table = _weighted(single, "batch_id", volume, list(MASH_NUMBERS)).rename(columns=MASH_NUMBERS)
    table["mash_wort_l"] = single.groupby("batch_id")["wort_l"].sum(skipna=False)
    table["grist_kg"] = by_batch["grist_kg"].sum(skipna=False)
    return table


def _limit_part(attenuations: pd.DataFrame) -> pd.Series:
    """The gravity of the latest bench limit test of each batch."""
    latest = attenuations.sort_values("tested_on", kind="stable", na_position="first")
    return latest.groupby("batch_id")["limit_sg"].last()


def _spirit_part(spirits: pd.DataFrame) -> pd.DataFrame:
    by_batch = spirits.groupby("batch_id")
    sums = by_batch[["wash_l", "new_make_l"]].sum(skipna=False)
    made = _or_equal(spirits, "batch_id", "new_make_l")
    charged = _or_equal(spirits, "batch_id", "wash_l")
    strengths = ["new_make_abv_pct", "cut_on_abv_pct", "cut_off_abv_pct"]
    return sums.assign(
        runs=by_batch.size(),
        distilled_on=by_batch["distilled_on"].max(),
        still=joined_names(spirits, "batch_id", "still"),
        **_weighted(spirits, "batch_id", charged, ["wash_abv_pct"]),
        **_weighted(spirits, "batch_id", made, strengths),
    )


def _yeast_part(yeasts: pd.DataFrame, table: pd.DataFrame, rules: HouseRules) -> pd.DataFrame:
    known = yeasts.drop_duplicates("delivery_id").set_index("delivery_id")
    here = known.reindex(table["delivery_id"]).set_index(table.index)
    local = table["pitched_at"].dt.tz_convert(rules.time_zone).dt.tz_localize(None)
    age = (local.dt.normalize() - here["made_on"]).dt.total_seconds() / 86400
    return here[list(YEAST)].rename(columns=YEAST).assign(yeast_age_d=age)


def _with_counts(table: pd.DataFrame, sheets: Sheets) -> pd.DataFrame:
    readings = sheets["readings"].groupby("batch_id").size()
    scores = sheets["scores"]
    tasted = scores[(scores["sample_kind"].fillna("batch") == "batch") & scores["score"].notna()]
    by_batch = tasted.groupby("batch_id")
    numbers = {
        "runs": table["runs"],
        "n_readings": readings,
        "n_tastings": by_batch["tasting_id"].nunique(),
        "n_assessors": by_batch["assessor_id"].nunique(),
    }
    whole = {
        name: number.reindex(table.index).fillna(0).astype("int64")
        for name, number in numbers.items()
    }
    return table.assign(**whole)
