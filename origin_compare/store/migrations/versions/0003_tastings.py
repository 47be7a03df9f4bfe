"""Tastings drawn up, and scores as an assessor enters them, glass by glass, before their intake."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "tastings",
        sa.Column("tasting_id", sa.Text, nullable=False),
        sa.Column("made_at", sa.BigInteger, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("said", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("tasting_id", name="pk_tastings"),
    )
    op.create_table(
        "entered_scores",
        sa.Column("tasting_id", sa.Text, nullable=False),
        sa.Column("assessor_id", sa.Text, nullable=False),
        sa.Column("code", sa.Integer, nullable=False),
        sa.Column("said", sa.Text, nullable=False),
        sa.Column("done", sa.Integer, nullable=False),
        sa.Column("entered_at", sa.BigInteger, nullable=False),
        sa.PrimaryKeyConstraint("tasting_id", "assessor_id", "code", name="pk_entered_scores"),
        sa.ForeignKeyConstraint(
            ["tasting_id"], ["tastings.tasting_id"], name="fk_entered_scores_tasting_id_tastings"
        ),
    )
