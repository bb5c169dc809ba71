"""Lines of the history: writing one, reading the last one that can be taken back."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from pipeline.tags.records import Deed
from pipeline.tags.schema import HistoryRow, TagRow, evidence_of, stamp
from pipeline.tags.wording import person

TAKEN_BACK = (Deed.CONFIRMED, Deed.REJECTED, Deed.UNSURE, Deed.EDITED)
"""Deeds that an undo takes back."""

STAFFS = ("state", "decision", "decided_by", "decided_at", "edited_start_s", "edited_end_s", "edited_actors")
"""Columns of a tag that a decision or an edit changes, and an undo puts back."""

TRACKS = "tracks"
"""Under this name the line of a run that numbered the players anew keeps old and new numbers in pairs."""


def standing(row: TagRow) -> dict[str, Any]:
    """What staff have made of a tag so far, to be put back by an undo."""
    return {name: getattr(row, name) for name in STAFFS}


def remember(
    session: Session,
    row: TagRow,
    who: str,
    when: datetime,
    deed: Deed,
    text: str = "",
    *,
    before: Mapping[str, Any] | None = None,
    undoes: int | None = None,
) -> HistoryRow:
    """Add a line to the history of a tag; the evidence is the candidate's as the row has it now.

    The line gets its number with the session's next flush.
    """
    line = HistoryRow(
        tag=row.id,
        at=stamp(when),
        who=person(who),
        deed=deed.value,
        text=text,
        evidence=evidence_of(row),
        before=None if before is None else dict(before),
        undoes=undoes,
    )
    session.add(line)
    return line


def last_to_undo(session: Session, tag: int) -> HistoryRow | None:
    """The last decision or edit of a tag that was not taken back yet."""
    undone = select(HistoryRow.undoes).where(HistoryRow.tag == tag, HistoryRow.undoes.is_not(None))
    return session.scalar(
        select(HistoryRow)
        .where(HistoryRow.tag == tag, HistoryRow.deed.in_([d.value for d in TAKEN_BACK]), HistoryRow.id.not_in(undone))
        .order_by(HistoryRow.id.desc())
        .limit(1)
    )


def before_of(session: Session, line: HistoryRow) -> dict[str, Any]:
    """What stood before a line, with the numbers that players have now."""
    before = dict(line.before or {})
    if before.get("edited_actors"):
        runs = select(HistoryRow).where(HistoryRow.tag == line.tag, HistoryRow.id > line.id).order_by(HistoryRow.id)
        for run in session.scalars(runs.where(HistoryRow.deed == Deed.FOUND_AGAIN.value)):
            numbers = dict((run.before or {}).get(TRACKS, ()))
            before["edited_actors"] = [[role, numbers.get(track, track)] for role, track in before["edited_actors"]]
    return before
