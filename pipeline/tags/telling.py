"""What the store is told to say: lines for people and objects for programs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from pipeline.tags.backup import Contents
from pipeline.tags.records import VERDICTS, Merge, Note, Tag

SHOWN = 20
"""Changes that a run tells at most, one a line; the history has them all."""


def merge_lines(merge: Merge, tags: Sequence[Tag]) -> Iterator[str]:
    """What a run changed in a game that had tags before it; decided tags first."""
    if not merge.kept and not merge.missing and not merge.changed:
        return
    yield f"{_count(len(merge.new), 'new tag')}, {len(merge.kept)} found again, {len(merge.changed)} of all changed."
    known = {tag.tag: tag for tag in tags}
    order = sorted(merge.changed, key=lambda number: (not _decided(known.get(number)), number))
    for number in order[:SHOWN]:
        yield f"Tag {number}{_standing(known.get(number))}: {merge.changed[number]}."
    if len(order) > SHOWN:
        yield f"... and {_count(len(order) - SHOWN, 'further changed tag')}; 'elbowroom history TAG' tells them."
    if merge.missing:
        yield f"No longer found: tags {', '.join(str(number) for number in merge.missing)}."


def tag_line(tag: Tag) -> str:
    """Where a tag stands, in a line."""
    return f"Tag {tag.tag}, {tag.candidate.kind.replace('_', ' ')} in {tag.game}: {tag.state.value}{_by(tag)}."


def history_lines(tag: Tag, notes: Sequence[Note]) -> Iterator[str]:
    """A tag and everything that happened to it, oldest first."""
    yield tag_line(tag)
    seen = tag.candidate
    if (tag.start_s, tag.end_s) != (seen.start_s, seen.end_s):
        found = f"found from {seen.start_s:.2f} s to {seen.end_s:.2f} s"
        yield f"From {tag.start_s:.2f} s to {tag.end_s:.2f} s as edited; {found}."
    if not tag.found:
        yield "The latest run over the game does not find it any more."
    if tag.labels:
        yield f"Labels: {', '.join(tag.labels)}."
    if tag.note:
        yield f"Note: {tag.note}"
    for note in notes:
        said = f": {note.text}" if note.text else ""
        yield f"{note.when:%Y-%m-%d %H:%M:%S} UTC  {note.who}  {note.deed.value}{said}"


def history_as_json(tag: Tag, notes: Sequence[Note]) -> dict[str, Any]:
    """The same for programs."""
    return {
        "tag": tag.tag,
        "game": tag.game,
        "kind": tag.candidate.kind,
        "state": tag.state.value,
        "revision": tag.revision,
        "start_s": tag.start_s,
        "end_s": tag.end_s,
        "actors": [{"role": role, "track": track} for role, track in tag.actors],
        "labels": list(tag.labels),
        "note": tag.note,
        "found": tag.found,
        "decided_by": tag.decided_by,
        "decided_at": None if tag.decided_at is None else tag.decided_at.isoformat(),
        "history": [{"when": n.when.isoformat(), "who": n.who, "deed": n.deed.value, "text": n.text} for n in notes],
    }


def contents_line(contents: Contents) -> str:
    """What is in a backup, in a line."""
    return (
        f"{_count(contents.tags, 'tag')} with {_count(contents.lines, 'line')} of history, "
        f"{_count(contents.reels, 'reel')}, {_count(contents.searches, 'saved search', 'saved searches')}"
    )


def _decided(tag: Tag | None) -> bool:
    return tag is not None and tag.state in VERDICTS


def _standing(tag: Tag | None) -> str:
    return f" ({tag.state.value}{_by(tag)})" if tag is not None and _decided(tag) else ""


def _by(tag: Tag) -> str:
    return f" by {tag.decided_by}" if tag.decided_by else ""


def _count(number: int, one: str, several: str | None = None) -> str:
    return f"{number} {one if number == 1 else several or f'{one}s'}"
