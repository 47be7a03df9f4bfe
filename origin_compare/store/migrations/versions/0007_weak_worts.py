"""How much weak wort of the mash before a mash took in, and of what gravity."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("mashes") as changed:
        changed.add_column(sa.Column("weak_wort_l", sa.Float))
        changed.add_column(sa.Column("weak_wort_sg", sa.Float))
