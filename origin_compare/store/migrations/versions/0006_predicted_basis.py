"""On what basis the spirit yield was predicted: per tonne of dry malt, or as it is."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("malts") as changed:
        changed.add_column(sa.Column("predicted_basis", sa.Text))
