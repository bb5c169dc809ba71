"""Bringing a run's candidates into the store, inside its transaction: nothing that staff made of a tag is lost."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from types import MappingProxyType

from sqlalchemy import select, text
from sqlalchemy.orm import Session

from pipeline.tags.changes import changes
from pipeline.tags.lines import TRACKS, remember
from pipeline.tags.matching import FAVOUR, match_candidates
from pipeline.tags.records import VERDICTS, Candidate, Deed, Merge, State
from pipeline.tags.schema import LabelRow, ReelItemRow, ReelRow, TagRow, candidate_of, fill


def merge(session: Session, game: str, candidates: Sequence[Candidate], who: str, when: datetime) -> Merge:
    """See ``TagStore.merge``."""
    if session.get_bind().dialect.name == "postgresql":  # two runs over one game: one after the other
        session.execute(text("SELECT pg_advisory_xact_lock(hashtext(:game))"), {"game": f"elbowroom merge {game}"})
    wanted = select(TagRow).where(TagRow.game == game).order_by(TagRow.id).with_for_update(key_share=True)
    rows = list(session.scalars(wanted))
    pairs = match_candidates([candidate_of(row) for row in rows], candidates, [_favour(row) for row in rows])
    new: list[TagRow] = []
    kept: list[int] = []
    missing: list[int] = []
    changed: dict[int, str] = {}
    for index, candidate in enumerate(candidates):
        if index in pairs:
            row = rows[pairs[index]]
            told = _find_again(session, row, candidate, who, when)
            if told:
                changed[row.id] = told
            kept.append(row.id)
        else:
            new.append(_new_row(game, candidate))
    session.add_all(new)
    session.flush()
    for row in new:
        remember(session, row, who, when, Deed.FOUND)
    touched = _touched(session, game)
    matched = set(pairs.values())
    for row in (row for index, row in enumerate(rows) if index not in matched):
        why, was_found = _why_kept(row, row.id in touched), row.found
        row.found = False
        if why and was_found:
            changed[row.id] = f"not found any more; kept, {why}"
            row.revision += 1
            remember(session, row, who, when, Deed.NOT_FOUND_AGAIN, changed[row.id])
        elif not why and row.state != State.WITHDRAWN:
            row.state = State.WITHDRAWN.value
            row.revision += 1
            missing.append(row.id)
            remember(session, row, who, when, Deed.NOT_FOUND_AGAIN)
    session.flush()
    return Merge(tuple(row.id for row in new), tuple(kept), tuple(missing), MappingProxyType(changed))


def _favour(row: TagRow) -> float:
    return FAVOUR if row.state in VERDICTS else -FAVOUR if row.state == State.WITHDRAWN else 0.0


def _new_row(game: str, candidate: Candidate) -> TagRow:
    row = TagRow(game=game, state=State.CANDIDATE.value, found=True, revision=1, note="")
    fill(row, candidate)
    return row


def _find_again(session: Session, row: TagRow, candidate: Candidate, who: str, when: datetime) -> str:
    """Take the new evidence into a tag; what changed, in words, empty where nothing is to be told."""
    told = [] if row.found else ["found again"]
    if row.state == State.WITHDRAWN:
        row.state = State.CANDIDATE.value
    earlier, numbers = candidate_of(row), _renumbered(row, candidate)
    row.found = True
    fill(row, candidate)
    told.append(changes(earlier, candidate_of(row)))
    if row.edited_actors is not None and numbers:
        lost = [f"{role.replace('_', ' ')} {track}" for role, track in row.edited_actors if track not in numbers]
        if lost:
            told.append(f"players have other numbers: look whether {', '.join(lost)}, as edited, is still right")
        row.edited_actors = [[role, numbers.get(track, track)] for role, track in row.edited_actors]
    words = "; ".join(part for part in told if part)
    row.revision += bool(words)
    if words or candidate_of(row) != earlier:
        tracks = {TRACKS: [list(pair) for pair in numbers.items()]} if numbers else None
        remember(session, row, who, when, Deed.FOUND_AGAIN, words, before=tracks)
    return words


def _renumbered(row: TagRow, candidate: Candidate) -> dict[int, int]:
    """New number of each player that the run before named, where all have other numbers; else nothing.

    Where some players keep their numbers, the run has found others in their roles, and numbers mean what they meant.
    """
    earlier, later = [tuple(a) for a in row.actors], list(candidate.actors)
    if [role for role, _ in earlier] != [role for role, _ in later]:
        return {}
    pairs = [(old, new) for (_, old), (_, new) in zip(earlier, later, strict=True)]
    numbers = dict(pairs)
    one_to_one = len(set(numbers.values())) == len(numbers) and all(numbers[old] == new for old, new in pairs)
    return numbers if one_to_one and all(old != new for old, new in pairs) else {}


def _touched(session: Session, game: str) -> set[int]:
    """Tags of a game that carry a label or stand in a reel."""
    labelled = select(LabelRow.tag).join(TagRow, TagRow.id == LabelRow.tag).where(TagRow.game == game)
    shown = (
        select(ReelItemRow.tag)
        .join(TagRow, TagRow.id == ReelItemRow.tag)
        .join(ReelRow, ReelRow.id == ReelItemRow.reel)
        .where(TagRow.game == game, ReelRow.dropped.is_(False))
    )
    return {*session.scalars(labelled), *session.scalars(shown)}


def _why_kept(row: TagRow, touched: bool) -> str:  # noqa: FBT001 - private
    """Why a tag stays that was not found again; empty where nobody has touched it."""
    if row.state in VERDICTS:
        return f"{row.state} by {row.decided_by}"
    edited = row.edited_start_s is not None or row.edited_actors is not None
    return "somebody has worked on it" if touched or edited or row.note else ""
