"""Reading plans in place of header maps, and the cells a row was put together from."""

from __future__ import annotations

import json
from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None

SHEETS = (
    "growers",
    "lots",
    "malts",
    "mashes",
    "yeasts",
    "fermentations",
    "readings",
    "attenuations",
    "spirits",
    "congeners",
    "scores",
)


def upgrade() -> None:
    plans = op.create_table(
        "reading_plans",
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("said", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("name", name="pk_reading_plans"),
    )
    link = op.get_bind()
    for name, said in link.exec_driver_sql("SELECT name, said FROM header_maps").all():
        told = {"name": name, "said": _as_toml(json.loads(said))}
        link.execute(plans.insert().values(**told))
    op.drop_table("header_maps")
    for sheet in SHEETS:
        op.add_column(sheet, sa.Column("from_cells", sa.Text))


def _as_toml(told: dict[str, Any]) -> str:
    """A header map as the reading plan it was; written out here, since this step never changes."""
    lines = ["[[plan]]", f"sheet = {_text(told['sheet'])}"]
    for name in ("columns", "constants"):
        inside = ", ".join(f"{_text(k)} = {_text(v)}" for k, v in told.get(name, {}).items())
        if inside:
            lines.append(f"{name} = {{ {inside} }}")
    if told.get("date_order"):
        lines.append(f"date_order = {_text(told['date_order'])}")
    if told.get("decimal_comma") is not None:
        lines.append(f"decimal_comma = {str(told['decimal_comma']).lower()}")
    return "\n".join(lines) + "\n"


def _text(value: str) -> str:
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
