"""The clean sheets as the files a distillery really has: three clocks, two pens, four hands."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from .drafts import Draft, Form, as_number, clock, date_cell, day, fixed, plain, whole
from .settings import HEADERS, HOUSE_RULES
from .world import ATTRIBUTES

MINUTE_LOG = "vessel_log_minutes.csv"


def write(sheets: dict[str, pd.DataFrame], folder: Path) -> list[dict[str, Any]]:
    """Write clean sheets as messy files into `folder` (created); returns every faulty row planted.

    Each fault: file, row (as a spreadsheet numbers it), sheet, column, header, value, wrong, and
    `lost`: the key of the clean row it spoils, None where the row is one too many.
    """
    folder.mkdir(parents=True, exist_ok=True)
    faults = _growers(sheets, folder)
    faults += _lots(sheets, folder)
    faults += _malts_and_mashes(sheets, folder)
    faults += _vessels(sheets, folder)
    faults += _readings(sheets, folder)
    faults += _bench(sheets, folder)
    faults += _spirits(sheets, folder)
    faults += _scores(sheets, folder)
    (folder / "headers.toml").write_text(HEADERS, encoding="utf-8")
    (folder / "house_rules.toml").write_text(HOUSE_RULES, encoding="utf-8")
    return faults


def _growers(sheets: dict[str, pd.DataFrame], folder: Path) -> list[dict[str, Any]]:
    growers = Draft(
        "growers.csv",
        "growers",
        {
            "grower_id": ("Grower code", plain),
            "farm_name": ("Farm", plain),
            "region": ("District", plain),
            "soil": ("Soil type", plain),
            "grows_since": ("First season", whole),
        },
        title=["Growers under contract"],
    ).fill(sheets["growers"], ["grower_id"])
    growers.leave_blank(10)
    return growers.save_csv(folder)


def _lots(sheets: dict[str, pd.DataFrame], folder: Path) -> list[dict[str, Any]]:
    lots = sheets["lots"]
    comma = {digits: fixed(digits, comma=True) for digits in (0, 1, 2)}
    older = Draft(
        "lots_2024.csv", "lots", _lot_columns(day("%d.%m.%Y"), comma[0], comma[1], comma[2])
    ).fill(_harvest(lots, 2024), ["lot_id"])
    older.leave_blank(7, 19)
    newer = Draft(
        "lots_2025.xlsx",
        "lots",
        _lot_columns(date_cell, as_number(0), as_number(1), as_number(2)),
        title=["Intake, harvest 2025", ""],
    ).fill(_harvest(lots, 2025), ["lot_id"])
    newer.insert(
        11,
        "harvested_on",
        "a date the calendar does not have",
        like=10,
        lot_id="L25-17A",
        grower_id="G17",
        harvested_on="31.09.2025",
    )
    return older.save_csv(folder, separator=";") + newer.save_xlsx(folder, "Intake")


def _lot_columns(date: Form, f0: Form, f1: Form, f2: Form) -> dict[str, tuple[str, Form]]:
    return {
        "lot_id": ("Lot no", plain),
        "grower_id": ("Grower code", plain),
        "season": ("Harvest year", whole),
        "field": ("Field name", plain),
        "variety": ("Barley variety", plain),
        "soil": ("Soil type", plain),
        "previous_crop": ("Prev crop", plain),
        "sown_on": ("Drilled", date),
        "harvested_on": ("Combined on", date),
        "area_ha": ("Hectares", f1),
        "yield_t_ha": ("Yield t/ha", f2),
        "delivered_t": ("Tonnes delivered", f1),
        "grain_n_pct_dm": ("Grain N", f2),
        "grain_moisture_pct": ("Moisture", f1),
        "screenings_pct": ("Screenings %", f1),
        "thousand_grain_g": ("TGW", f1),
        "germination_pct": ("Germination", f1),
        "rain_mm": ("Rainfall", f0),
        "mean_temp_c": ("Mean temp", f1),
    }


def _malts_and_mashes(sheets: dict[str, pd.DataFrame], folder: Path) -> list[dict[str, Any]]:
    malts = Draft(
        "malts.csv",
        "malts",
        {
            "malt_id": ("Malt no", plain),
            "lot_id": ("Grain lot", plain),
            "grain_t": ("Grain in", fixed(2)),
            "tonnes": ("Malt out", fixed(2)),
            "malted_on": ("Kilned", day("%Y-%m-%d")),
            "moisture_pct": ("Malt moisture", fixed(1)),
            "extract_pct_dm": ("Fine extract", fixed(1)),
            "soluble_n_ratio_pct": ("SNR", fixed(1)),
            "friability_pct": ("Friability", fixed(1)),
            "fan_mg_l": ("FAN", fixed(0)),
            "diastatic_power": ("DP", fixed(0)),
            "predicted_lpa_t": ("PSY", fixed(0)),
            "lab": ("Laboratory", plain),
        },
    ).fill(sheets["malts"], ["malt_id", "lot_id"])
    mashes = Draft(
        "mashes.csv",
        "mashes",
        {
            "batch_id": ("Wash no", plain),
            "mash_no": ("Mash", whole),
            "malt_id": ("Malting batch", plain),
            "mashed_at": ("Mash in", clock("%d/%m/%Y %H:%M")),
            "grist_kg": ("Grist", fixed(0)),
            "strike_temp_c": ("Strike (°F)", lambda value: f"{value * 1.8 + 32:.2f}"),
            "wort_l": ("Wort volume", fixed(0)),
            "wort_sg": ("Wort gravity (°P)", _plato),
            "wort_ph": ("Wort pH", fixed(2)),
            "run_off_h": ("Run-off", fixed(1)),
        },
        title=["Mash house, both harvests"],
    ).fill(sheets["mashes"], ["batch_id", "mash_no", "malt_id"])
    mashes.leave_blank(31)
    return malts.save_csv(folder) + mashes.save_csv(folder)


def _plato(sg: float) -> str:
    """Degrees Plato by the ASBC cubic."""
    return f"{-616.868 + 1111.14 * sg - 630.272 * sg**2 + 135.997 * sg**3:.2f}"


def _vessels(sheets: dict[str, pd.DataFrame], folder: Path) -> list[dict[str, Any]]:
    cards = sheets["fermentations"]
    older = Draft(
        "fermentations_2024.csv",
        "fermentations",
        _card_columns(clock("%d/%m/%Y %H:%M"), fixed(1, times=1000)),
    ).fill(cards[cards["batch_id"].str.startswith("Q24")], ["batch_id"])
    newer = Draft(
        "fermentations_2025.csv",
        "fermentations",
        _card_columns(clock("%Y-%m-%d %H:%M"), fixed(4)),
        title=["Vessel cards 2025/26"],
    ).fill(cards[~cards["batch_id"].str.startswith("Q24")], ["batch_id"])
    newer.leave_blank(12)
    yeasts = Draft(
        "yeasts.csv",
        "yeasts",
        {
            "delivery_id": ("Yeast lot", plain),
            "strain": ("Strain", plain),
            "form": ("Format", plain),
            "made_on": ("Produced", day("%Y-%m-%d")),
            "delivered_on": ("Received", day("%Y-%m-%d")),
            "viability_pct": ("Viability", fixed(1)),
            "storage_temp_c": ("Kept at", fixed(1)),
        },
    ).fill(sheets["yeasts"], ["delivery_id"])
    yeasts.insert(
        33,
        "form",
        "not one of the forms yeast comes in",
        like=32,
        delivery_id="Y900",
        form="powder",
    )
    return older.save_csv(folder) + newer.save_csv(folder) + yeasts.save_csv(folder)


def _card_columns(moment: Form, gravity: Form) -> dict[str, tuple[str, Form]]:
    return {
        "batch_id": ("Wash no", plain),
        "vessel": ("Washback", plain),
        "pitched_at": ("Yeast in", moment),
        "pitch_temp_c": ("Set temp", fixed(1)),
        "wort_l": ("Wort litres", fixed(0)),
        "og_sg": ("OG", gravity),
        "yeast_kg": ("Yeast kg", fixed(0)),
        "delivery_id": ("Yeast lot", plain),
        "ended_at": ("To still", moment),
        "planned_h": ("Planned hours", fixed(0)),
        "note": ("Remarks", plain),
    }


def _readings(sheets: dict[str, pd.DataFrame], folder: Path) -> list[dict[str, Any]]:
    readings = sheets["readings"]
    key = ["batch_id", "read_at", "instrument"]
    probe = readings["instrument"] == "probe"
    first = readings["batch_id"].str.startswith("Q24")
    older = Draft(
        "readings_2024.csv",
        "readings",
        {
            "batch_id": ("Batch", plain),
            "read_at": ("Read", clock("%Y-%m-%d %H:%M")),
            "sg": ("Gravity", fixed(4)),
            "ph": ("pH", fixed(2)),
            "temp_c": ("Temp °C", fixed(1)),
            "cooling_pct": ("Cooling %", fixed(0)),
        },
    ).fill(readings[first & ~probe].reset_index(drop=True), key)
    older.spoil(_nth(older, "Q24-07", 6), "ph", "44", "a decimal point lost: 4.4")
    older.spoil(_nth(older, "Q24-21", 9), "temp_c", "77.4", "degrees Fahrenheit in a °C column")
    older.repeat(_nth(older, "Q24-16", 5), "the same row twice")
    older.leave_blank(100, 101, 260)
    newer = Draft(
        "readings_2025.csv",
        "readings",
        {
            "batch_id": ("Wash no", plain),
            "read_at": ("Timestamp", clock("%d.%m.%Y %H:%M")),
            "sg": ("Present gravity", fixed(1, comma=True, times=1000)),
            "ph": ("pH value", fixed(2, comma=True)),
            "temp_c": ("Wash temp (°C)", fixed(1, comma=True)),
            "cooling_pct": ("Valve", fixed(0)),
            "note": ("Remarks", plain),
        },
        title=["Vessel readings 2025/26 – night and day shift"],
    ).fill(readings[~first & ~probe].reset_index(drop=True), key)
    at = _nth(newer, "Q25-11", 4)
    newer.spoil(at, "ph", str(newer.typed[at].cells[2]), "gravity in the pH column", sg="")
    like = _nth(newer, "Q25-17", 3)
    newer.insert(like + 1, "batch_id", "a batch nobody knows", like=like, batch_id="Q25-77")
    faults = older.save_csv(folder)
    faults += newer.save_csv(folder, separator=";", encoding="cp1252", end="\r\n")
    return faults + _minute_log(readings[probe].reset_index(drop=True), folder)


def _minute_log(log: pd.DataFrame, folder: Path) -> list[dict[str, Any]]:
    return (
        Draft(
            MINUTE_LOG,
            "readings",
            {
                "batch_id": ("WB_RUN", plain),
                "read_at": ("TS_LOCAL", clock("%Y-%m-%d %H:%M")),
                "sg": ("DT204.PV", fixed(4)),
                "temp_c": ("TT204.PV", fixed(2)),
                "cooling_pct": ("CV204.OUT", fixed(0)),
                "instrument": ("SRC", plain),
            },
            title=["historian export"],
        )
        .fill(log, ["batch_id", "read_at", "instrument"])
        .save_csv(folder)
    )


def _bench(sheets: dict[str, pd.DataFrame], folder: Path) -> list[dict[str, Any]]:
    limits = Draft(
        "bench_limits.csv",
        "attenuations",
        {
            "batch_id": ("Wash no", plain),
            "tested_on": ("Test date", day("%d %b %Y")),
            "limit_sg": ("Limit gravity", fixed(4)),
            "test_h": ("Test hours", fixed(0)),
            "test_temp_c": ("Test temp", fixed(0)),
        },
    ).fill(sheets["attenuations"], ["batch_id", "tested_on"])
    congeners = Draft(
        "congeners.csv",
        "congeners",
        {
            "batch_id": ("Batch", plain),
            "compound": ("Congener", plain),
            "g_100l_aa": ("Result", fixed(2)),
            "lab": ("Method", plain),
        },
        title=["g per 100 L of pure alcohol"],
    ).fill(sheets["congeners"], ["batch_id", "compound"])
    congeners.insert(
        5,
        "g_100l_aa",
        "below what the laboratory can find",
        like=4,
        compound="furfural",
        g_100l_aa="<0.5",
    )
    return limits.save_csv(folder) + congeners.save_csv(folder)


def _spirits(sheets: dict[str, pd.DataFrame], folder: Path) -> list[dict[str, Any]]:
    return (
        Draft(
            "spirits.xlsx",
            "spirits",
            {
                "batch_id": ("Wash no", plain),
                "run_no": ("Run", whole),
                "distilled_on": ("Distilled", date_cell),
                "still": ("Spirit still", plain),
                "wash_l": ("Wash charge", as_number(0)),
                "wash_abv_pct": ("Wash ABV", as_number(2)),
                "new_make_l": ("New make litres", as_number(0)),
                "new_make_abv_pct": ("Spirit strength", as_number(1)),
                "cut_on_abv_pct": ("Cut on", as_number(1)),
                "cut_off_abv_pct": ("Cut off", as_number(1)),
            },
            title=["Still house", "both harvests, litres at 20 °C", ""],
        )
        .fill(sheets["spirits"], ["batch_id", "run_no"])
        .save_xlsx(folder, "Runs")
    )


def _scores(sheets: dict[str, pd.DataFrame], folder: Path) -> list[dict[str, Any]]:
    scores = sheets["scores"]
    first = scores["tasting_id"].str.startswith("T24")
    facts = {
        "tasting_id": ("Session", plain),
        "tasted_on": ("Date", day("%d/%m/%Y")),
        "assessor_id": ("Taster", plain),
        "batch_id": ("Sample", plain),
        "replicate": ("Rep", whole),
        "position": ("Order", whole),
        "sample_kind": ("Kind", plain),
        "served_abv_pct": ("Served ABV", fixed(1)),
        "scale": ("Scale", plain),
    }
    across = scores[first].pivot(index=list(facts), columns="attribute", values="score")
    across = across.reset_index().sort_values(["tasting_id", "assessor_id", "position"])
    across = across.reset_index(drop=True)
    key = ["tasting_id", "assessor_id", "batch_id", "replicate"]
    wide = Draft(
        "scores_2024.csv",
        "scores",
        facts | {name: (name.capitalize(), fixed(1)) for name in ATTRIBUTES},
    ).fill(across, key)
    wide.spoil(217, "floral", "3..5", "two points in a number")
    long = Draft(
        "scores_2025.xlsx",
        "scores",
        {
            "tasting_id": ("Tasting no", plain),
            "tasted_on": ("Tasted", date_cell),
            "assessor_id": ("Assessor", plain),
            "batch_id": ("Product", plain),
            "replicate": ("Repeat", whole),
            "position": ("Serving order", whole),
            "sample_kind": ("Sample kind", plain),
            "served_abv_pct": ("Nosing strength", as_number(1)),
            "scale": ("Scale", plain),
            "attribute": ("Descriptor", plain),
            "score": ("Intensity", as_number(1)),
        },
    ).fill(scores[~first].reset_index(drop=True), [*key, "attribute"])
    long.spoil(4321, "score", 410, "beyond any scale: the point of 4.10 lost")
    return wide.save_csv(folder) + long.save_xlsx(folder, "Panel")


def _harvest(lots: pd.DataFrame, season: int) -> pd.DataFrame:
    return lots[lots["season"] == season].reset_index(drop=True)


def _nth(draft: Draft, batch_id: str, place: int) -> int:
    """Position of a batch's reading, counted from 0."""
    own: Sequence[int] = [at for at, key in enumerate(draft.keys) if key["batch_id"] == batch_id]
    return own[place]
