"""Reels and saved searches in the store; every function works inside the store's transaction."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from pipeline.errors import ConflictError, LibraryError
from pipeline.tags.records import Reel, ReelConflict, SavedSearch
from pipeline.tags.schema import ReelHistoryRow, ReelItemRow, ReelRow, SearchRow, TagRow, reel_of, search_of, stamp
from pipeline.tags.wording import LONGEST_TEXT, line, person, text_of

TOKEN_BYTES = 24
"""Of chance in a shared link: nobody guesses it."""

LARGEST_NUMBER = 2**31 - 1


def make_reel(session: Session, title: str, who: str, when: datetime) -> Reel:
    """A new reel without clips."""
    row = ReelRow(
        title=line(title, "The title of a reel"),
        note="",
        revision=1,
        token=None,
        dropped=False,
        made_by=person(who),
        changed_by=person(who),
        changed_at=stamp(when),
    )
    session.add(row)
    session.flush()
    _remember(session, row, [], "made")
    return reel_of(row, [])


def reel(session: Session, number: int) -> Reel:
    """One reel; LibraryError when there is none."""
    row = _row(session, number)
    return reel_of(row, _items(session, [row])[row.id])


def reels(session: Session) -> tuple[Reel, ...]:
    """Every reel that was not dropped, by number."""
    rows = list(session.scalars(select(ReelRow).where(ReelRow.dropped.is_(False)).order_by(ReelRow.id)))
    items = _items(session, rows)
    return tuple(reel_of(row, items[row.id]) for row in rows)


def reel_of_token(session: Session, token: str) -> Reel | None:
    """The reel that is shared under a token, None when there is none."""
    if not token or "\x00" in token or not token.isascii():
        return None
    row = session.scalar(select(ReelRow).where(ReelRow.token == token, ReelRow.dropped.is_(False)))
    return None if row is None else reel_of(row, _items(session, [row])[row.id])


def save_reel(session: Session, wanted: Reel, who: str, when: datetime) -> Reel:
    """Write a reel's title, note and clips; its revision must be the current one."""
    row = _row(session, wanted.reel, for_change=True)
    if wanted.revision != row.revision:
        raise ReelConflict(
            f"Reel {row.id} was changed by {row.changed_by} since you opened it; look at it again, then change it.",
            reel_of(row, _items(session, [row])[row.id]),
        )
    row.title = line(wanted.title, "The title of a reel")
    row.note = text_of(wanted.note, "The note of a reel")
    _check_tags(session, {item.tag for item in wanted.items})
    session.execute(delete(ReelItemRow).where(ReelItemRow.reel == row.id))
    session.expunge_all()  # rows of the clips that are gone; the reel's own row is added again
    session.add(row)
    rows = []
    for place, item in enumerate(wanted.items):
        if not 0.1 <= item.slow <= 1:
            raise LibraryError(f"Clip {place + 1} of the reel has speed {item.slow:g}; 0.1 to 1 can be shown.")
        rows.append(
            ReelItemRow(
                reel=row.id,
                place=place,
                tag=item.tag,
                title=text_of(item.title, "The title of a clip"),
                note=text_of(item.note, "The note of a clip"),
                freeze=bool(item.freeze),
                slow=float(item.slow),
            )
        )
    session.add_all(rows)
    _changed(session, row, rows, who, when, "saved")
    return reel_of(row, rows)


def drop_reel(session: Session, number: int, who: str, when: datetime) -> None:
    """Take a reel off the list; its lines stay in ``reel_history``."""
    row = _row(session, number, for_change=True)
    row.dropped, row.token = True, None
    _changed(session, row, _items(session, [row])[row.id], who, when, "dropped")


def share_reel(session: Session, number: int, who: str, when: datetime) -> Reel:
    """Give a reel a link; one that has one keeps it."""
    row = _row(session, number, for_change=True)
    items = _items(session, [row])[row.id]
    if row.token is None:
        row.token = secrets.token_urlsafe(TOKEN_BYTES)
        _changed(session, row, items, who, when, "shared")
    return reel_of(row, items)


def unshare_reel(session: Session, number: int, who: str, when: datetime) -> Reel:
    """Take a reel's link away: it leads nowhere any more."""
    row = _row(session, number, for_change=True)
    items = _items(session, [row])[row.id]
    if row.token is not None:
        row.token = None
        _changed(session, row, items, who, when, "no longer shared")
    return reel_of(row, items)


def save_search(session: Session, name: str, text: str, who: str, when: datetime) -> SavedSearch:
    """Keep a search under a name; another person's is not written over."""
    told = line(name, "The name of a search")
    row = session.get(SearchRow, told, with_for_update={"key_share": True})
    if row is not None and row.who != person(who):
        raise ConflictError(f"There is a search '{told}' of {row.who} already; take another name.")
    if row is None:
        row = SearchRow(name=told)
        session.add(row)
    row.text, row.who, row.at = line(text, "A search", LONGEST_TEXT), person(who), stamp(when)
    return search_of(row)


def searches(session: Session) -> tuple[SavedSearch, ...]:
    """Saved searches by name."""
    return tuple(search_of(row) for row in session.scalars(select(SearchRow).order_by(SearchRow.name)))


def drop_search(session: Session, name: str) -> None:
    """Forget a search; LibraryError when there is none of that name."""
    row = session.get(SearchRow, " ".join(name.split()))
    if row is None:
        raise LibraryError(f"There is no saved search '{name}'.")
    session.delete(row)


def _row(session: Session, number: int, *, for_change: bool = False) -> ReelRow:
    row = None
    if 0 < number <= LARGEST_NUMBER:
        row = session.get(ReelRow, number, with_for_update={"key_share": True} if for_change else None)
    if row is None or row.dropped:
        raise LibraryError(f"There is no reel {number}; the page of reels shows those there are.")
    return row


def _items(session: Session, rows: Sequence[ReelRow]) -> dict[int, list[ReelItemRow]]:
    found: dict[int, list[ReelItemRow]] = {row.id: [] for row in rows}
    wanted = select(ReelItemRow).order_by(ReelItemRow.reel, ReelItemRow.place)
    if len(rows) == 1:
        wanted = wanted.where(ReelItemRow.reel == rows[0].id)
    for item in session.scalars(wanted):
        if item.reel in found:
            found[item.reel].append(item)
    return found


def _check_tags(session: Session, tags: set[int]) -> None:
    known = {tag for tag in tags if 0 < tag <= LARGEST_NUMBER and session.get(TagRow, tag) is not None}
    if known != tags:
        raise LibraryError(
            f"There is no tag {min(tags - known)} to put into a reel; 'elbowroom list' shows the numbers."
        )


def _changed(session: Session, row: ReelRow, items: Sequence[ReelItemRow], who: str, when: datetime, deed: str) -> None:
    row.revision += 1
    row.changed_by, row.changed_at = person(who), stamp(when)
    _remember(session, row, items, deed)


def _remember(session: Session, row: ReelRow, items: Sequence[ReelItemRow], deed: str) -> None:
    content: dict[str, Any] = {
        "title": row.title,
        "note": row.note,
        "revision": row.revision,
        "items": [{"tag": i.tag, "title": i.title, "note": i.note, "freeze": i.freeze, "slow": i.slow} for i in items],
    }
    session.add(ReelHistoryRow(reel=row.id, at=row.changed_at, who=row.changed_by, deed=deed, content=content))
    session.flush()
