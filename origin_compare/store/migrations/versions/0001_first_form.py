"""The first form of a store: the sheets as they stood then, and the intakes' books.

The columns are written out, not read from `sheets`: this step must build the same tables for ever.
"""

from __future__ import annotations

from collections.abc import Iterator

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

TEXT, NUMBER, COUNT, MOMENT = "text", "number", "count", "moment"

SHEETS_THEN: dict[str, tuple[tuple[str, str, bool], ...]] = {
    "growers": (
        ("grower_id", TEXT, True),
        ("farm_name", TEXT, False),
        ("region", TEXT, False),
        ("soil", TEXT, False),
        ("grows_since", COUNT, False),
    ),
    "lots": (
        ("lot_id", TEXT, True),
        ("grower_id", TEXT, True),
        ("season", COUNT, True),
        ("field", TEXT, False),
        ("variety", TEXT, False),
        ("soil", TEXT, False),
        ("previous_crop", TEXT, False),
        ("sown_on", TEXT, False),
        ("harvested_on", TEXT, False),
        ("area_ha", NUMBER, False),
        ("yield_t_ha", NUMBER, False),
        ("delivered_t", NUMBER, False),
        ("grain_n_pct_dm", NUMBER, False),
        ("grain_moisture_pct", NUMBER, False),
        ("screenings_pct", NUMBER, False),
        ("thousand_grain_g", NUMBER, False),
        ("germination_pct", NUMBER, False),
        ("rain_mm", NUMBER, False),
        ("mean_temp_c", NUMBER, False),
    ),
    "malts": (
        ("malt_id", TEXT, True),
        ("lot_id", TEXT, True),
        ("grain_t", NUMBER, False),
        ("tonnes", NUMBER, False),
        ("malted_on", TEXT, False),
        ("moisture_pct", NUMBER, False),
        ("extract_pct_dm", NUMBER, False),
        ("soluble_n_ratio_pct", NUMBER, False),
        ("friability_pct", NUMBER, False),
        ("fan_mg_l", NUMBER, False),
        ("diastatic_power", NUMBER, False),
        ("predicted_lpa_t", NUMBER, False),
        ("lab", TEXT, False),
    ),
    "mashes": (
        ("batch_id", TEXT, True),
        ("mash_no", COUNT, False),
        ("malt_id", TEXT, True),
        ("mashed_at", MOMENT, False),
        ("grist_kg", NUMBER, False),
        ("strike_temp_c", NUMBER, False),
        ("wort_l", NUMBER, False),
        ("wort_sg", NUMBER, False),
        ("wort_ph", NUMBER, False),
        ("run_off_h", NUMBER, False),
    ),
    "yeasts": (
        ("delivery_id", TEXT, True),
        ("strain", TEXT, False),
        ("form", TEXT, False),
        ("made_on", TEXT, False),
        ("delivered_on", TEXT, False),
        ("viability_pct", NUMBER, False),
        ("storage_temp_c", NUMBER, False),
    ),
    "fermentations": (
        ("batch_id", TEXT, True),
        ("vessel", TEXT, False),
        ("pitched_at", MOMENT, True),
        ("pitch_temp_c", NUMBER, False),
        ("wort_l", NUMBER, False),
        ("og_sg", NUMBER, False),
        ("yeast_kg", NUMBER, False),
        ("delivery_id", TEXT, False),
        ("ended_at", MOMENT, False),
        ("planned_h", NUMBER, False),
        ("note", TEXT, False),
    ),
    "readings": (
        ("batch_id", TEXT, True),
        ("read_at", MOMENT, False),
        ("hours", NUMBER, False),
        ("sg", NUMBER, False),
        ("ph", NUMBER, False),
        ("temp_c", NUMBER, False),
        ("cooling_pct", NUMBER, False),
        ("instrument", TEXT, False),
        ("note", TEXT, False),
    ),
    "attenuations": (
        ("batch_id", TEXT, True),
        ("tested_on", TEXT, False),
        ("limit_sg", NUMBER, True),
        ("test_h", NUMBER, False),
        ("test_temp_c", NUMBER, False),
    ),
    "spirits": (
        ("batch_id", TEXT, True),
        ("run_no", COUNT, False),
        ("distilled_on", TEXT, False),
        ("still", TEXT, False),
        ("wash_l", NUMBER, False),
        ("wash_abv_pct", NUMBER, False),
        ("new_make_l", NUMBER, False),
        ("new_make_abv_pct", NUMBER, False),
        ("cut_on_abv_pct", NUMBER, False),
        ("cut_off_abv_pct", NUMBER, False),
    ),
    "congeners": (
        ("batch_id", TEXT, True),
        ("compound", TEXT, True),
        ("g_100l_aa", NUMBER, True),
        ("lab", TEXT, False),
    ),
    "scores": (
        ("tasting_id", TEXT, True),
        ("tasted_on", TEXT, False),
        ("assessor_id", TEXT, True),
        ("batch_id", TEXT, True),
        ("replicate", COUNT, False),
        ("position", COUNT, False),
        ("sample_kind", TEXT, False),
        ("served_abv_pct", NUMBER, False),
        ("scale", TEXT, False),
        ("attribute", TEXT, True),
        ("score", NUMBER, False),
    ),
}

TYPES = {TEXT: sa.Text, NUMBER: sa.Float, COUNT: sa.Integer, MOMENT: sa.BigInteger}


def upgrade() -> None:
    _books()
    for name, columns in SHEETS_THEN.items():
        _sheet(name, columns)


def _sheet(name: str, columns: tuple[tuple[str, str, bool], ...]) -> None:
    op.create_table(
        name,
        sa.Column("row_id", sa.Integer),
        sa.Column("intake_id", sa.Integer, nullable=False),
        sa.Column("from_file", sa.Text, nullable=False),
        sa.Column("from_tab", sa.Text, nullable=False),
        sa.Column("from_row", sa.Integer),
        sa.Column("raw_text", sa.Text, nullable=False),
        sa.Column("key_print", sa.BigInteger, nullable=False),
        sa.Column("content_print", sa.BigInteger, nullable=False),
        *(sa.Column(column, TYPES[kind], nullable=not needed) for column, kind, needed in columns),
        sa.PrimaryKeyConstraint("row_id", name=f"pk_{name}"),
        sa.UniqueConstraint("key_print", name=f"uq_{name}_key_print"),
        _to_intakes(name),
        sqlite_autoincrement=True,
    )
    op.create_index(f"ix_{name}_intake_id", name, ["intake_id"])


def _to_intakes(name: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(
        ["intake_id"], ["intakes.intake_id"], name=f"fk_{name}_intake_id_intakes"
    )


def _text(*names: str) -> Iterator[sa.Column[str]]:
    return (sa.Column(name, sa.Text, nullable=False) for name in names)


def _books() -> None:
    op.create_table(
        "intakes",
        sa.Column("intake_id", sa.Integer),
        sa.Column("taken_at", sa.BigInteger, nullable=False),
        *_text("who", "what"),
        sa.PrimaryKeyConstraint("intake_id", name="pk_intakes"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "originals",
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("size", sa.BigInteger, nullable=False),
        sa.Column("packed", sa.LargeBinary),
        sa.PrimaryKeyConstraint("sha256", name="pk_originals"),
    )
    op.create_table(
        "intake_files",
        sa.Column("intake_id", sa.Integer, nullable=False),
        *_text("file"),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.PrimaryKeyConstraint("intake_id", "file", name="pk_intake_files"),
        _to_intakes("intake_files"),
        sa.ForeignKeyConstraint(
            ["sha256"], ["originals.sha256"], name="fk_intake_files_sha256_originals"
        ),
    )
    op.create_index("ix_intake_files_sha256", "intake_files", ["sha256"])
    op.create_table(
        "faults",
        sa.Column("fault_id", sa.Integer),
        sa.Column("intake_id", sa.Integer, nullable=False),
        *_text("file", "sheet"),
        sa.Column("row", sa.Integer),
        *_text("column", "value", "wrong", "mend", "weight"),
        sa.PrimaryKeyConstraint("fault_id", name="pk_faults"),
        _to_intakes("faults"),
    )
    op.create_index("ix_faults_intake_id", "faults", ["intake_id"])
    op.create_table(
        "set_aside",
        sa.Column("intake_id", sa.Integer, nullable=False),
        *_text("name"),
        sa.Column("rows", sa.Integer, nullable=False),
        sa.Column("packed", sa.LargeBinary, nullable=False),
        sa.PrimaryKeyConstraint("intake_id", "name", name="pk_set_aside"),
        _to_intakes("set_aside"),
    )
    op.create_table(
        "header_maps",
        *_text("name", "said"),
        sa.PrimaryKeyConstraint("name", name="pk_header_maps"),
    )
    op.create_table(
        "house_rules",
        sa.Column("version", sa.Integer),
        sa.Column("set_at", sa.BigInteger, nullable=False),
        *_text("who", "said"),
        sa.PrimaryKeyConstraint("version", name="pk_house_rules"),
    )
    op.create_table(
        "corrections",
        sa.Column("correction_id", sa.Integer),
        *_text("sheet"),
        sa.Column("row_id", sa.Integer, nullable=False),
        *_text("row_key", "column", "old", "new", "who", "why"),
        sa.Column("corrected_at", sa.BigInteger, nullable=False),
        sa.PrimaryKeyConstraint("correction_id", name="pk_corrections"),
    )
    op.create_index("ix_corrections_sheet_row_id", "corrections", ["sheet", "row_id"])
    revision_table = op.create_table(
        "revision",
        sa.Column("only", sa.Integer),
        sa.Column("number", sa.Integer, nullable=False),
        sa.PrimaryKeyConstraint("only", name="pk_revision"),
    )
    op.bulk_insert(revision_table, [{"only": 1, "number": 0}])
