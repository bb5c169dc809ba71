"""What staff make of a tag: edits, notes, labels, undo, revisions; searches and reels; families of candidates.

``decisions`` becomes ``history``: its lines are copied, each with what stood before it, so that decisions of version 1
can be taken back too.
"""

from typing import Any

import sqlalchemy as sa
from alembic import op

from pipeline.tags.append_only import make_append_only

revision = "v2"
down_revision = "v1"
branch_labels = None
depends_on = None

FAULTS = frozenset(
    {
        "crowded_paint",
        "dead_dribble_early",
        "left_early",
        "overloaded_side",
        "post_up_without_movement",
        "pushed_out_catch",
        "screen_into_traffic",
        "shrunk_spacing",
        "stalled_ball",
        "twins",
        "wasted_cutter",
        "wide_curl",
    }
)
"""Kinds that version 1 shipped as faults. Of the others those that are more than a note are faults too: version 1
gave every set the severity of a note. The next run over the game writes the family anew."""

VERDICTS = ("confirmed", "rejected")


def upgrade() -> None:
    """From version 1 to 2."""
    connection = op.get_bind()
    for column in (
        sa.Column("family", sa.String(20), nullable=False, server_default="fault"),
        sa.Column("possession", sa.Integer),
        sa.Column("team", sa.Integer),
        sa.Column("traits", sa.JSON, nullable=False, server_default="{}"),
        sa.Column("ending", sa.String),
        sa.Column("missing", sa.JSON, nullable=False, server_default="[]"),
        sa.Column("found", sa.Boolean, nullable=False, server_default=sa.true()),
        sa.Column("revision", sa.Integer, nullable=False, server_default="1"),
        sa.Column("edited_start_s", sa.Double),
        sa.Column("edited_end_s", sa.Double),
        sa.Column("edited_actors", sa.JSON),
        sa.Column("note", sa.String, nullable=False, server_default=""),
        sa.Column("decision", sa.Integer),
        sa.Column("decided_by", sa.String),
        sa.Column("decided_at", sa.String(40)),
    ):
        op.add_column("tags", column)
    op.create_index("ix_tags_family", "tags", ["family"])
    op.create_table(
        "history",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("tag", sa.Integer, sa.ForeignKey("tags.id"), nullable=False, index=True),
        sa.Column("at", sa.String(40), nullable=False),
        sa.Column("who", sa.String(200), nullable=False),
        sa.Column("deed", sa.String(30), nullable=False),
        sa.Column("text", sa.String, nullable=False),
        sa.Column("evidence", sa.JSON, nullable=False),
        sa.Column("before", sa.JSON),
        sa.Column("undoes", sa.Integer),
        sqlite_autoincrement=True,
    )
    _copy(connection)
    op.drop_table("decisions")
    op.drop_table("elbowroom_schema")
    make_append_only(connection, "history")
    _make_the_rest(connection)


def _copy(connection: sa.Connection) -> None:
    """The lines of ``decisions``, with what stood before each; the verdicts that stand, into ``tags``."""
    tags = sa.table(
        "tags",
        *(sa.column(n) for n in ("id", "kind", "severity", "family", "state", "found", "revision")),
        *(sa.column(n) for n in ("decision", "decided_by", "decided_at")),
    )
    rows = {row.id: row for row in connection.execute(sa.select(tags.c.id, tags.c.kind, tags.c.severity))}
    families = {tag: "fault" if row.kind in FAULTS or row.severity != "note" else "set" for tag, row in rows.items()}
    names = ("id", "tag", "at", "who", "deed", "text")
    decisions = sa.table("decisions", *map(sa.column, names), sa.column("evidence", sa.JSON))
    history = sa.table(
        "history",
        *map(sa.column, (*names, "undoes")),
        sa.column("evidence", sa.JSON),
        sa.column("before", sa.JSON(none_as_null=True)),
    )
    standing: dict[int, dict[str, Any]] = {}
    found: dict[int, bool] = {}
    lines: dict[int, int] = {}
    for line in connection.execute(sa.select(decisions).order_by(decisions.c.id)).all():
        stood = standing.get(line.tag, {"state": "candidate", "decision": None, "decided_by": None, "decided_at": None})
        evidence = {"kind": rows[line.tag].kind, "family": families[line.tag], **line.evidence, "traits": {}}
        before = None
        if line.deed in VERDICTS:
            before = stood
            standing[line.tag] = {
                "state": line.deed,
                "decision": line.id,
                "decided_by": line.who,
                "decided_at": line.at,
            }
        found[line.tag] = line.deed != "not found again" and (line.deed not in VERDICTS or found.get(line.tag, True))
        lines[line.tag] = lines.get(line.tag, 0) + 1
        connection.execute(
            history.insert().values(
                id=line.id,
                tag=line.tag,
                at=line.at,
                who=line.who,
                deed=line.deed,
                text=line.text,
                evidence=evidence,
                before=before,
                undoes=None,
            )
        )
    for tag, family in families.items():
        stood = {n: v for n, v in standing.get(tag, {}).items() if n != "state"}
        connection.execute(
            tags.update()
            .where(tags.c.id == tag)
            .values(family=family, found=found.get(tag, True), revision=max(lines.get(tag, 1), 1), **stood)
        )
    if connection.dialect.name == "postgresql":
        connection.execute(
            sa.text("SELECT setval('history_id_seq', (SELECT coalesce(max(id), 0) + 1 FROM history), false)")
        )


def _make_the_rest(connection: sa.Connection) -> None:
    """Tables that version 1 had nothing of."""
    op.create_table(
        "labels",
        sa.Column("tag", sa.Integer, sa.ForeignKey("tags.id"), primary_key=True),
        sa.Column("label", sa.String(60), primary_key=True),
    )
    op.create_table(
        "searches",
        sa.Column("name", sa.String(200), primary_key=True),
        sa.Column("text", sa.String, nullable=False),
        sa.Column("who", sa.String(200), nullable=False),
        sa.Column("at", sa.String(40), nullable=False),
    )
    op.create_table(
        "reels",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("title", sa.String(200), nullable=False),
        sa.Column("note", sa.String, nullable=False),
        sa.Column("revision", sa.Integer, nullable=False),
        sa.Column("token", sa.String(100), unique=True, index=True),
        sa.Column("dropped", sa.Boolean, nullable=False),
        sa.Column("made_by", sa.String(200), nullable=False),
        sa.Column("changed_by", sa.String(200), nullable=False),
        sa.Column("changed_at", sa.String(40), nullable=False),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "reel_items",
        sa.Column("reel", sa.Integer, sa.ForeignKey("reels.id"), primary_key=True),
        sa.Column("place", sa.Integer, primary_key=True),
        sa.Column("tag", sa.Integer, sa.ForeignKey("tags.id"), nullable=False, index=True),
        sa.Column("title", sa.String, nullable=False),
        sa.Column("note", sa.String, nullable=False),
        sa.Column("freeze", sa.Boolean, nullable=False),
        sa.Column("slow", sa.Double, nullable=False),
    )
    op.create_table(
        "reel_history",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("reel", sa.Integer, sa.ForeignKey("reels.id"), nullable=False, index=True),
        sa.Column("at", sa.String(40), nullable=False),
        sa.Column("who", sa.String(200), nullable=False),
        sa.Column("deed", sa.String(30), nullable=False),
        sa.Column("content", sa.JSON, nullable=False),
        sqlite_autoincrement=True,
    )
    make_append_only(connection, "reel_history")


def downgrade() -> None:
    """A store does not go back; the copy that was kept before the step is the way back."""
    raise NotImplementedError("A tag store does not go back; take the copy that was kept before the step.")
