"""Keys kept unique by an index of their own, which a large intake may build after its rows.

A table's own constraint cannot be dropped, so each table is made anew without it and its rows are
copied. The counter of row numbers goes on where it stood: it may be past the last row, and a
number once given must never be given again.
"""

from __future__ import annotations

from alembic import op

revision = "0008"
down_revision = "0007"
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
    run = op.get_bind().exec_driver_sql
    for name in SHEETS:
        said = run(f"SELECT sql FROM sqlite_master WHERE name = '{name}'").scalar_one()
        counted = run(f"SELECT seq FROM sqlite_sequence WHERE name = '{name}'").scalar()
        run(f"ALTER TABLE {name} RENAME TO {name}_before")
        run(said.replace(f"CONSTRAINT uq_{name}_key_print UNIQUE (key_print),", ""))
        run(f"INSERT INTO {name} SELECT * FROM {name}_before")
        run(f"DROP TABLE {name}_before")
        run(f"CREATE INDEX ix_{name}_intake_id ON {name} (intake_id)")
        run(f"CREATE UNIQUE INDEX ix_{name}_key_print ON {name} (key_print)")
        if counted is not None:
            run(f"UPDATE sqlite_sequence SET seq = {counted} WHERE name = '{name}'")
