"""When the vessel was first and last filled: a house may count its hours from either."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    for name in ("first_fill_at", "last_fill_at"):
        op.add_column("fermentations", sa.Column(name, sa.BigInteger))
