"""The sheets a distillery keeps: the one place where columns, units and links stand.

`possible` is what physics or counting allows: outside it a cell is a fault and its row is set
aside. What is merely unusual belongs to the house rules and only earns a warning.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

Kind = Literal["key", "text", "number", "count", "gravity", "temperature", "date", "moment"]


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its name carries the unit, `also` the other spellings it is known by."""

    name: str
    kind: Kind
    says: str
    needed: bool = False
    possible: tuple[float, float] | None = None
    choices: tuple[str, ...] = ()
    same: tuple[tuple[str, str], ...] = ()
    """Other words for a choice, each with the choice."""
    links_to: str | None = None
    also: tuple[str, ...] = ()
    default: str | None = None
    since: int = 1
    """The store's form (its migration) that first had the column."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """One kind of sheet: what a row is, the columns that name it, and all its columns."""

    name: str
    row_is: str
    key: tuple[str, ...]
    columns: tuple[Column, ...]
    one_of: tuple[tuple[str, ...], ...] = field(default=())
    """Groups of columns of which each row needs at least one."""

    def column(self, name: str) -> Column:
        """The column of that name; `KeyError` if the sheet has none."""
        return _BY_NAME[self.name][name]

    def names(self) -> tuple[str, ...]:
        """Its columns by name, in order."""
        return tuple(column.name for column in self.columns)

    def needed(self) -> tuple[str, ...]:
        """The columns no row may leave empty."""
        return tuple(column.name for column in self.columns if column.needed)


def _key(name: str, says: str, *also: str, links_to: str | None = None) -> Column:
    return Column(name, "key", says, needed=True, links_to=links_to, also=also)


def _link(name: str, says: str, links_to: str, *also: str) -> Column:
    return Column(name, "key", says, links_to=links_to, also=also)


def _text(name: str, says: str, *also: str) -> Column:
    return Column(name, "text", says, also=also)


def _number(name: str, says: str, low: float, high: float, *also: str) -> Column:
    return Column(name, "number", says, possible=(low, high), also=also)


def _gravity(name: str, says: str, *also: str) -> Column:
    return Column(name, "gravity", says, possible=(0.980, 1.140), also=also)


def _temp(name: str, says: str, low: float, high: float, *also: str) -> Column:
    return Column(name, "temperature", says, possible=(low, high), also=also)


def _date(name: str, says: str, *also: str) -> Column:
    return Column(name, "date", says, also=also)


def _moment(name: str, says: str, *also: str) -> Column:
    return Column(name, "moment", says, also=also)


def _count(
    name: str, says: str, low: int, high: int, *also: str, default: str | None = None
) -> Column:
    return Column(name, "count", says, possible=(low, high), also=also, default=default)


AS_IS = "as is"


def _basis(name: str, says: str, *also: str, since: int = 5) -> Column:
    return Column(
        name,
        "text",
        says,
        choices=("dry", AS_IS),
        same=(
            *((word, "dry") for word in ("dm", "db", "dry basis", "dry matter", "d.m.")),
            *((word, AS_IS) for word in ("as-is", "asis", "fresh", "as received", "wet")),
        ),
        also=also,
        since=since,
    )


_BATCH = _key(
    "batch_id",
    "batch number",
    "batch",
    "batch no",
    "wash no",
    "wash",
    "fermentation no",
    links_to="fermentations",
)

GROWERS = Sheet(
    "growers",
    "a grower",
    ("grower_id",),
    (
        _key("grower_id", "grower's code", "grower", "grower code", "grower no", "supplier"),
        _text("farm_name", "farm, as the distillery calls it", "farm", "name", "grower name"),
        _text("region", "district", "area", "district"),
        _text("soil", "main soil", "soil type", "soil texture"),
        _count("grows_since", "first season delivered", 1900, 2100, "since", "first season"),
    ),
)

LOTS = Sheet(
    "lots",
    "one field's harvest",
    ("lot_id",),
    (
        _key("lot_id", "grain lot number", "lot", "lot no", "grain lot"),
        Column(
            "grower_id",
            "key",
            "grower's code",
            needed=True,
            links_to="growers",
            also=("grower", "grower code", "grower no", "supplier"),
        ),
        Column(
            "season",
            "count",
            "harvest year",
            needed=True,
            possible=(1950, 2100),
            also=("harvest", "harvest year", "crop year", "year"),
        ),
        _text("field", "field", "field name"),
        _text("variety", "barley variety", "barley", "barley variety"),
        _text("soil", "soil of the field", "soil type", "soil texture"),
        _text("previous_crop", "crop before", "prev crop", "preceding crop"),
        _date("sown_on", "sowing date", "sown", "sowing date", "drilled", "drilled on"),
        _date("harvested_on", "harvest date", "harvested", "harvest date", "combined on"),
        _number("area_ha", "area, ha", 0.01, 2000, "area", "hectares", "ha"),
        _number("yield_t_ha", "yield, t/ha", 0.1, 20, "yield", "t/ha", "yield t/ha"),
        _number("delivered_t", "delivered, t", 0.01, 20000, "delivered", "tonnes delivered"),
        _number(
            "grain_n_pct_dm",
            "grain nitrogen, % dry",
            0.5,
            4,
            "grain n",
            "nitrogen",
            "n %",
            "grain nitrogen",
            "n dm",
        ),
        _number("grain_moisture_pct", "grain moisture, %", 5, 40, "moisture", "grain moisture"),
        _number("screenings_pct", "screenings, %", 0, 100, "screenings", "screenings %"),
        _number(
            "thousand_grain_g",
            "thousand-grain weight, g",
            15,
            80,
            "tgw",
            "tkw",
            "thousand grain weight",
        ),
        _number("germination_pct", "germination, %", 0, 100, "germination", "germ", "ge", "gc"),
        _number("rain_mm", "rain in grain fill, mm", 0, 2000, "rain", "rainfall"),
        _temp(
            "mean_temp_c",
            "mean temperature in grain fill, °C",
            -5,
            45,
            "mean temp",
            "mean temperature",
        ),
        _basis(
            "grain_n_basis",
            "basis of nitrogen and protein: dry or as is",
            "nitrogen basis",
            "n basis",
            "protein basis",
        ),
        Column(
            "grain_protein_pct",
            "number",
            "grain protein (nitrogen x 6.25), %",
            possible=(3, 25),
            also=("protein", "grain protein", "protein %"),
            since=5,
        ),
        Column(
            "yield_moisture_pct",
            "number",
            "moisture the yield is stated at, %",
            possible=(0, 40),
            also=("yield moisture", "yield at moisture"),
            since=5,
        ),
        Column(
            "grain_method",
            "text",
            "laboratory and method of the grain figures",
            also=("grain lab", "nitrogen method", "protein method"),
            since=5,
        ),
    ),
)

MALTS = Sheet(
    "malts",
    "one lot's part in a malting batch",
    ("malt_id", "lot_id"),
    (
        _key("malt_id", "malting batch number", "malt", "malt no", "malting batch"),
        _key("lot_id", "grain lot malted", "lot", "lot no", "grain lot", links_to="lots"),
        _number(
            "grain_t",
            "grain of this lot steeped, t",
            0.01,
            2000,
            "grain",
            "grain in",
            "tonnes in",
            "steeped t",
        ),
        _number("tonnes", "malt made, t", 0.01, 2000, "malt t", "malt out", "tonnes out"),
        _date("malted_on", "kilned on", "kilned", "kilned on", "malted"),
        _number("moisture_pct", "malt moisture, %", 0.5, 15, "moisture", "malt moisture"),
        _number(
            "extract_pct_dm", "extract, % dry", 50, 95, "extract", "extract dm", "fine extract"
        ),
        _number("soluble_n_ratio_pct", "soluble nitrogen ratio, %", 10, 80, "snr", "kolbach"),
        _number("friability_pct", "friability, %", 0, 100, "friability"),
        _number("fan_mg_l", "free amino nitrogen, mg/L", 10, 600, "fan"),
        _number(
            "diastatic_power",
            "diastatic power, as the laboratory gives it",
            0,
            600,
            "dp",
            "diastatic",
        ),
        _number(
            "predicted_lpa_t",
            "predicted spirit yield, L pure alcohol per t",
            200,
            550,
            "psy",
            "predicted spirit yield",
            "predicted yield",
        ),
        _text("lab", "laboratory and method", "method", "laboratory"),
        _basis("extract_basis", "basis of the extract: dry or as is", "basis of extract"),
        Column(
            "extract_l_deg_kg",
            "number",
            "extract, L°/kg",
            possible=(193, 366),
            also=(
                "extract l deg/kg",
                "extract l°/kg",
                "hwe",
                "hwe l deg/kg",
                "hwe l°/kg",
                "hot water extract",
            ),
            since=5,
        ),
        _basis(
            "predicted_basis",
            "basis of the predicted yield: per t dry or as is",
            "psy basis",
            "basis of predicted yield",
            since=6,
        ),
    ),
)

MASHES = Sheet(
    "mashes",
    "one malt's part in a mash",
    ("batch_id", "mash_no", "malt_id"),
    (
        _BATCH,
        _count("mash_no", "mash of this batch", 1, 50, "mash", "mash number", default="1"),
        _key("malt_id", "malt mashed", "malt", "malt no", "malting batch", links_to="malts"),
        _moment("mashed_at", "mashed in at", "mashed", "mash in", "mash-in"),
        _number("grist_kg", "grist of this malt, kg", 1, 200000, "grist", "malt kg", "kg malt"),
        _temp("strike_temp_c", "strike temperature, °C", 40, 95, "strike", "strike temp"),
        _number("wort_l", "wort of the mash, L", 1, 1e6, "wort", "wort volume", "wort litres"),
        _gravity("wort_sg", "wort gravity", "wort gravity"),
        _number("wort_ph", "wort pH", 3.5, 7.5, "wort ph", "ph"),
        _number("run_off_h", "run-off, h", 0.1, 48, "run off", "run-off", "run off hours"),
        Column(
            "weak_wort_l",
            "number",
            "weak worts of the mash before taken in, L",
            possible=(0, 1e6),
            also=("weak worts", "weak wort", "sparge returned", "weak worts litres"),
            since=7,
        ),
        Column(
            "weak_wort_sg",
            "gravity",
            "gravity of the weak worts taken in",
            possible=(0.980, 1.140),
            also=("weak worts gravity", "weak wort gravity", "sparge gravity"),
            since=7,
        ),
    ),
)

FERMENTATIONS = Sheet(
    "fermentations",
    "one batch",
    ("batch_id",),
    (
        _key("batch_id", "batch number", "batch", "batch no", "wash no", "fermentation no"),
        _text("vessel", "vessel", "washback", "back", "fermenter", "tank"),
        Column(
            "pitched_at",
            "moment",
            "yeast in at",
            needed=True,
            also=("pitched", "yeast in", "pitch time", "pitched on"),
        ),
        Column(
            "first_fill_at",
            "moment",
            "first wort in at",
            also=("first fill", "fill start", "filling began", "first wort"),
            since=2,
        ),
        Column(
            "last_fill_at",
            "moment",
            "last wort in at",
            also=("last fill", "fill end", "filled", "filling ended", "last wort"),
            since=2,
        ),
        _temp(
            "pitch_temp_c",
            "pitch temperature, °C",
            0,
            45,
            "pitch temp",
            "set temp",
            "set temperature",
            "setting temp",
        ),
        _number("wort_l", "wort pitched, L", 1, 1e6, "wort", "volume", "wort litres", "volume l"),
        _gravity("og_sg", "original gravity", "og", "original gravity", "pitch gravity"),
        _number("yeast_kg", "yeast pitched, kg", 0, 20000, "yeast", "yeast kg", "pitched kg"),
        _link("delivery_id", "yeast delivery", "yeasts", "yeast delivery", "yeast lot", "delivery"),
        _moment("ended_at", "ended at", "ended", "end", "to still", "emptied", "pumped to still"),
        _number("planned_h", "planned length, h", 1, 1000, "planned hours", "planned length"),
        _text("note", "note", "notes", "remarks", "comment"),
    ),
)

READINGS = Sheet(
    "readings",
    "one reading of a vessel",
    ("batch_id", "read_at", "hours", "instrument"),
    (
        _BATCH,
        _moment("read_at", "read at", "time", "date time", "timestamp", "read", "when"),
        _number(
            "hours",
            "hours since hour zero (yeast in unless the house says otherwise)",
            -48,
            1000,
            "hour",
            "h",
            "age h",
            "hours since pitch",
        ),
        _gravity(
            "sg", "gravity", "gravity", "sg", "specific gravity", "present gravity", "hydrometer"
        ),
        _number("ph", "pH", 2.5, 7.0, "ph", "ph value"),
        _temp("temp_c", "temperature, °C", -5, 60, "temp", "temperature", "wash temp", "t"),
        _number("cooling_pct", "cooling valve, % open", 0, 100, "cooling", "cooling %", "valve"),
        Column(
            "instrument",
            "text",
            "hand or probe",
            default="hand",
            also=("source", "probe", "instrument"),
        ),
        _text("note", "note", "notes", "remarks", "comment"),
    ),
    one_of=(("read_at", "hours"), ("sg", "ph", "temp_c", "cooling_pct")),
)

YEASTS = Sheet(
    "yeasts",
    "a yeast delivery",
    ("delivery_id",),
    (
        _key("delivery_id", "yeast delivery", "delivery", "yeast lot", "yeast delivery"),
        _text("strain", "strain code", "yeast", "strain"),
        Column(
            "form",
            "text",
            "dried, pressed or cream",
            choices=("dried", "pressed", "cream"),
            also=("format", "yeast form"),
        ),
        _date("made_on", "made on", "made", "produced"),
        _date("delivered_on", "delivered on", "delivered", "received"),
        _number("viability_pct", "viability, %", 0, 100, "viability", "viable %"),
        _temp("storage_temp_c", "kept at, °C", -30, 40, "storage temp", "store temp", "kept at"),
    ),
)

ATTENUATIONS = Sheet(
    "attenuations",
    "a bench limit test",
    ("batch_id", "tested_on"),
    (
        _BATCH,
        _date("tested_on", "tested on", "tested", "test date"),
        Column(
            "limit_sg",
            "gravity",
            "limit gravity",
            needed=True,
            possible=(0.980, 1.140),
            also=("limit", "limit gravity", "attenuation limit", "end gravity"),
        ),
        _number("test_h", "length of the test, h", 1, 400, "test hours", "hours"),
        _temp("test_temp_c", "test temperature, °C", 5, 45, "test temp"),
    ),
)

SPIRITS = Sheet(
    "spirits",
    "one spirit run of a batch",
    ("batch_id", "run_no"),
    (
        _BATCH,
        _count("run_no", "run of this batch", 1, 50, "run", "run number", default="1"),
        _date("distilled_on", "distilled on", "distilled", "still date", "run date", "date"),
        _text("still", "still", "spirit still"),
        _number("wash_l", "wash charged, L", 1, 1e6, "wash", "wash charge", "wash litres"),
        _number("wash_abv_pct", "wash strength, % vol", 0, 20, "wash abv", "wash strength"),
        _number(
            "new_make_l",
            "new make at 20 °C, L",
            0.1,
            1e5,
            "new make",
            "spirit l",
            "new make litres",
        ),
        _number(
            "new_make_abv_pct",
            "new-make strength, % vol",
            20,
            96,
            "new make abv",
            "spirit abv",
            "spirit strength",
        ),
        _number("cut_on_abv_pct", "cut on, % vol", 20, 96, "cut on", "on spirit"),
        _number("cut_off_abv_pct", "cut off, % vol", 20, 96, "cut off", "off spirit"),
        Column(
            "low_wines_l",
            "number",
            "low wines charged, L",
            possible=(0, 1e6),
            also=("low wines", "low wines charged", "low wines litres"),
            since=4,
        ),
        Column(
            "low_wines_abv_pct",
            "number",
            "low-wines strength, % vol",
            possible=(0, 60),
            also=("low wines abv", "low wines strength"),
            since=4,
        ),
        Column(
            "returned_l",
            "number",
            "foreshots and feints charged, L",
            possible=(0, 1e6),
            also=("feints", "feints charged", "foreshots and feints", "feints litres"),
            since=4,
        ),
        Column(
            "returned_abv_pct",
            "number",
            "strength of foreshots and feints, % vol",
            possible=(0, 90),
            also=("feints abv", "feints strength"),
            since=4,
        ),
    ),
)

CONGENERS = Sheet(
    "congeners",
    "one laboratory figure",
    ("batch_id", "compound"),
    (
        _BATCH,
        _key("compound", "compound", "congener", "analyte"),
        Column(
            "g_100l_aa",
            "number",
            "g per 100 L of pure alcohol",
            needed=True,
            possible=(0, 5000),
            also=("g/100l aa", "g/hl aa", "result"),
        ),
        _text("lab", "laboratory and method", "method", "laboratory"),
    ),
)

SCORES = Sheet(
    "scores",
    "one score",
    ("tasting_id", "assessor_id", "batch_id", "replicate", "attribute"),
    (
        _key("tasting_id", "tasting", "session", "tasting no", "tasting"),
        _date("tasted_on", "tasted on", "date", "tasted"),
        _key("assessor_id", "assessor's code", "assessor", "taster", "panellist", "judge"),
        Column(
            "batch_id",
            "key",
            "batch number",
            needed=True,
            links_to="fermentations",
            also=("batch", "batch no", "sample", "product"),
        ),
        _count("replicate", "replicate", 0, 20, "rep", "repeat", default="1"),
        _count("position", "serving position", 1, 60, "order", "serving order", "pos"),
        Column(
            "sample_kind",
            "text",
            "batch, control or warm-up",
            default="batch",
            choices=("batch", "control", "warm-up"),
            also=("kind", "sample kind"),
        ),
        _number("served_abv_pct", "served at, % vol", 5, 80, "served abv", "nosing strength"),
        _text("scale", "scale of the sheet", "scale"),
        _key("attribute", "attribute", "descriptor", "attribute"),
        Column(
            "score",
            "number",
            "score (empty: declined)",
            possible=(0, 100),
            also=("value", "intensity", "rating"),
        ),
    ),
)

SHEETS: Mapping[str, Sheet] = {
    sheet.name: sheet
    for sheet in (
        GROWERS,
        LOTS,
        MALTS,
        MASHES,
        YEASTS,
        FERMENTATIONS,
        READINGS,
        ATTENUATIONS,
        SPIRITS,
        CONGENERS,
        SCORES,
    )
}
"""Every sheet by name, in an order in which each one's links point backwards."""

_BY_NAME: dict[str, dict[str, Column]] = {
    sheet.name: {column.name: column for column in sheet.columns} for sheet in SHEETS.values()
}
