"""The invented place: who grows what, what was planned, and every effect and fault that is planted.

Every name here is made up. Figures are common practice with no source unless said otherwise.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

SITE = "Quernhallow, Isle of Vellisay (both invented)"
TIME_ZONE = "Europe/Dublin"
SEASONS = (2024, 2025)

ATTRIBUTES = (
    "cereal",
    "fruity estery",
    "floral",
    "green grassy",
    "sweet",
    "oily",
    "spicy",
    "sulphury",
    "feinty",
    "nutty",
    "sour",
    "soapy",
    "buttery",
    "pungent",
)

DRIVER_UNITS = {
    "length_h": 10.0,
    "final_ph": 0.1,
    "peak_temp_c": 1.0,
    "grain_n_pct_dm": 0.1,
    "cut_off_abv_pct": 1.0,
}
"""A planted slope is the change in score for this much of the driver."""

DRIVER_CENTRES = {
    "length_h": 118.0,
    "final_ph": 3.5,
    "peak_temp_c": 29.0,
    "grain_n_pct_dm": 1.5,
    "cut_off_abv_pct": 63.0,
}
"""Where a driver adds nothing."""


@dataclass(frozen=True)
class Grower:
    """A grower: main soil, what is sown, and up to two fields."""

    grower_id: str
    farm: str
    region: str
    soil: str
    variety: str
    fields: tuple[str, str]
    since: int


@dataclass(frozen=True)
class Fault:
    """Something that goes wrong with one batch.

    kind: stuck | hot | probe_drift | early_lactic | old_yeast | wrong_reading | still_fermenting.
    from_h: hours since yeast in; None where the curve itself decides (truth then says the hour).
    """

    batch_id: str
    kind: str
    from_h: float | None = None


@dataclass(frozen=True)
class Effects:
    """All that moves a score, on a 0-10 scale. `slopes` are per unit of `DRIVER_UNITS`."""

    level: Mapping[str, float]
    slopes: Mapping[str, Mapping[str, float]]
    grower_sd: Mapping[str, float]
    batch_sd: Mapping[str, float]
    variety: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    second_season: Mapping[str, float] = field(default_factory=dict)
    fault: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    assessor_sd: float = 0.6
    spread_sd: float = 0.15
    assessor_batch_sd: float = 0.4
    sitting_sd: float = 0.15
    residual_sd: float = 0.7
    poor_assessor: str | None = "A07"


@dataclass(frozen=True)
class Noise:
    """Standard deviations of reading an instrument."""

    sg: float = 0.0004
    ph: float = 0.03
    temp_c: float = 0.12


_TOLD = tuple(name for name in ATTRIBUTES if name not in ("soapy", "buttery"))

EFFECTS = Effects(
    level={
        "cereal": 5.0,
        "fruity estery": 4.6,
        "floral": 3.4,
        "green grassy": 3.6,
        "sweet": 4.4,
        "oily": 4.0,
        "spicy": 3.2,
        "sulphury": 3.4,
        "feinty": 3.4,
        "nutty": 3.8,
        "sour": 3.4,
        "soapy": 3.0,
        "buttery": 3.0,
        "pungent": 4.4,
    },
    slopes={
        "fruity estery": {"length_h": 0.35, "final_ph": -0.10},
        "floral": {"length_h": 0.22},
        "sour": {"final_ph": -0.30},
        "pungent": {"peak_temp_c": 0.45},
        "sulphury": {"peak_temp_c": 0.30},
        "cereal": {"grain_n_pct_dm": 0.30},
        "feinty": {"cut_off_abv_pct": -0.40},
    },
    grower_sd={"cereal": 0.60, "nutty": 0.55, "oily": 0.45},
    batch_sd=dict.fromkeys(_TOLD, 0.35),
    variety={"Tarrowhite": {"spicy": 0.8}},
    second_season={"green grassy": 0.5},
    fault={
        "stuck": {"sweet": 0.8, "fruity estery": -0.8},
        "early_lactic": {"sour": 0.6},
        "old_yeast": {"sulphury": 0.8},
    },
)

NO_NOISE = Noise(sg=0.0, ph=0.0, temp_c=0.0)

FAULTS = (
    Fault("Q24-12", "stuck"),
    Fault("Q24-18", "wrong_reading"),
    Fault("Q24-23", "probe_drift", 56.0),
    Fault("Q25-06", "hot", 21.0),
    Fault("Q25-14", "early_lactic", 12.0),
    Fault("Q25-21", "old_yeast", 0.0),
    Fault("Q25-30", "still_fermenting"),
)

GROWERS = tuple(
    Grower(f"G{number:02d}", farm, region, soil, variety, fields, since)
    for number, (farm, region, soil, variety, fields, since) in enumerate(
        [
            ("Ulvarrow", "Northmark", "sandy loam", "Ostrel", ("Long Hesk", "Gull Acre"), 2016),
            ("Pellstow", "Northmark", "clay loam", "Ostrel", ("Mill Fallan", "Wetherow"), 2015),
            ("Kellrick Ho", "Northmark", "sandy loam", "Corvane", ("Tarn Brae", "Low Sill"), 2019),
            ("Dunsharrel", "Midvale", "clay loam", "Corvane", ("Kiln Close", "Oxlow"), 2015),
            ("Mosselby Toft", "Midvale", "silt loam", "Ostrel", ("Bellrow", "Far Mossel"), 2018),
            ("Farravoe", "Southshore", "sandy loam", "Corvane", ("Sand Riggan", "Voe End"), 2017),
            ("Trindlemoor", "Midvale", "peaty loam", "Ostrel", ("Peat Hasp", "Trindle"), 2020),
            ("Oskerholm", "Southshore", "clay loam", "Ostrel", ("Osk Field", "Drove"), 2016),
            ("Wendrakeld", "Northmark", "silt loam", "Corvane", ("Keld Top", "Hagg"), 2021),
            ("Bryndloch", "Midvale", "sandy loam", "Corvane", ("Bryn Lea", "Lochend"), 2018),
            ("Sarrowgarth", "Southshore", "peaty loam", "Tarrowhite", ("Garth", "Sarrow"), 2022),
            ("Hollinveck", "Midvale", "clay loam", "Ostrel", ("Veck Nook", "Hollin"), 2015),
            ("Quoyfallow", "Northmark", "sandy loam", "Corvane", ("Fallow A", "Fallow B"), 2019),
            ("Ellerskaith", "Southshore", "silt loam", "Ostrel", ("Skaith", "Eller Bank"), 2017),
            ("Gannethorpe", "Southshore", "sandy loam", "Corvane", ("Gannet", "Thorpe"), 2020),
            ("Mirkadale Yon", "Midvale", "clay loam", "Ostrel", ("Mirk", "Yon Dale"), 2016),
            ("Lathrisay", "Northmark", "peaty loam", "Corvane", ("Lath", "Risay"), 2024),
            ("Corrowend", "Southshore", "clay loam", "Ostrel", ("Corrow", "End Piece"), 2018),
            ("Stennifer", "Midvale", "silt loam", "Corvane", ("Stenni", "Hill Fer"), 2021),
            ("Vathergill", "Northmark", "sandy loam", "Ostrel", ("Gill", "Vather"), 2019),
        ],
        start=1,
    )
)

SINGLE_BATCH_GROWER = "G17"
FOUR_BATCH_GROWER = "G04"
MIXED = ("G09", "G12")
"""Two growers whose lots were malted together once, 60 to 40 by weight of grain."""
MINUTE_LOG_BATCH = "Q25-06"
