"""On what basis, at what moisture and by what method grain and malt figures were given."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

LOTS = (
    ("grain_n_basis", sa.Text),
    ("grain_protein_pct", sa.Float),
    ("yield_moisture_pct", sa.Float),
    ("grain_method", sa.Text),
)
MALTS = (("extract_basis", sa.Text), ("extract_l_deg_kg", sa.Float))


def upgrade() -> None:
    for table, columns in (("lots", LOTS), ("malts", MALTS)):
        with op.batch_alter_table(table) as changed:
            for name, kind in columns:
                changed.add_column(sa.Column(name, kind))
