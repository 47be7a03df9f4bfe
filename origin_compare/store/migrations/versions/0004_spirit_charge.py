"""What a spirit charge was made of: low wines, and the foreshots and feints that went back."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

NAMES = ("low_wines_l", "low_wines_abv_pct", "returned_l", "returned_abv_pct")


def upgrade() -> None:
    with op.batch_alter_table("spirits") as spirits:
        for name in NAMES:
            spirits.add_column(sa.Column(name, sa.Float))
