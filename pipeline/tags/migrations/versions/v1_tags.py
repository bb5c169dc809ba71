"""Candidates with a state, and an append-only list of decisions.

Stores of this version were made without Alembic; they are recognised by their table ``elbowroom_schema``.
"""

import sqlalchemy as sa
from alembic import op

from pipeline.tags.append_only import make_append_only

revision = "v1"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables of version 1."""
    op.create_table("elbowroom_schema", sa.Column("version", sa.Integer, primary_key=True))
    op.create_table(
        "tags",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("game", sa.String(200), nullable=False, index=True),
        sa.Column("kind", sa.String(100), nullable=False, index=True),
        sa.Column("state", sa.String(20), nullable=False, index=True),
        sa.Column("shot", sa.Integer, nullable=False),
        sa.Column("start_s", sa.Double, nullable=False),
        sa.Column("end_s", sa.Double, nullable=False),
        sa.Column("t_s", sa.Double, nullable=False),
        sa.Column("score", sa.Double, nullable=False),
        sa.Column("severity", sa.String(20), nullable=False),
        sa.Column("sentence", sa.String, nullable=False),
        sa.Column("actors", sa.JSON, nullable=False),
        sa.Column("measures", sa.JSON, nullable=False),
        sa.CheckConstraint("end_s >= start_s"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "decisions",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("tag", sa.Integer, sa.ForeignKey("tags.id"), nullable=False, index=True),
        sa.Column("at", sa.String(40), nullable=False),
        sa.Column("who", sa.String(200), nullable=False),
        sa.Column("deed", sa.String(30), nullable=False),
        sa.Column("text", sa.String, nullable=False),
        sa.Column("evidence", sa.JSON, nullable=False),
    )
    make_append_only(op.get_bind(), "decisions")


def downgrade() -> None:
    """There is nothing before version 1."""
    raise NotImplementedError("There is nothing before version 1.")
