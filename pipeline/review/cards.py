"""What a page says of a tag: where it stands, what it rests on in sentences, and what happened to it."""

from __future__ import annotations

from datetime import UTC, datetime
from itertools import groupby
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from pipeline.clips.titles import title_of
from pipeline.errors import ElbowroomError
from pipeline.library.explaining import explain_tag
from pipeline.library.game_time import game_times
from pipeline.library.games import Library
from pipeline.library.rosters import called, jersey_of
from pipeline.players.tables import TRACKS
from pipeline.review.game_tables import table_of
from pipeline.review.play import attack_of, badges_of, side_of
from pipeline.settings import Settings
from pipeline.tags import Deed, Note, Tag, TagStore

DEED_WORDS = {
    Deed.FOUND: "found it",
    Deed.FOUND_AGAIN: "found it again, a little different",
    Deed.NOT_FOUND_AGAIN: "no longer found it",
    Deed.CONFIRMED: "confirmed it",
    Deed.REJECTED: "rejected it",
    Deed.UNSURE: "was unsure",
    Deed.EDITED: "changed it",
    Deed.UNDONE: "took a step back",
    Deed.NOTED: "wrote a note",
    Deed.LABELLED: "changed its labels",
}


def card_of(library: Library, store: TagStore, tag: Tag, settings: Settings) -> dict[str, Any]:
    """A tag with its evidence and history, ready for JSON."""
    return standing_of(tag) | {
        "title": title_of(tag.candidate.kind, settings),
        "when": _when(library, tag),
        "actors": _actors(library, tag),
        "evidence": evidence_of(library, tag, settings),
        "history": [line_of(note) for note in store.history(tag.tag)],
        "known_labels": list(store.all_labels()),
    }


def standing_of(tag: Tag) -> dict[str, Any]:
    """Where a tag stands, without what has to be read from tables."""
    found = tag.candidate
    return {
        "tag": tag.tag,
        "game": tag.game,
        "kind": found.kind,
        "family": str(found.family),
        "state": str(tag.state),
        "found": tag.found,
        "revision": tag.revision,
        "from_s": tag.start_s,
        "to_s": tag.end_s,
        "found_from_s": found.start_s,
        "found_to_s": found.end_s,
        "t_s": found.t_s,
        "sentence": found.sentence,
        "severity": found.severity,
        "score": round(found.score, 3),
        "missing": list(found.missing),
        "tracks": [track for _, track in tag.actors],
        "labels": list(tag.labels),
        "note": tag.note,
        "decided_by": tag.decided_by,
        "decided_at": None if tag.decided_at is None else tag.decided_at.isoformat(),
    }


def line_of(note: Note) -> dict[str, str]:
    """A line of a history."""
    return {
        "when": note.when.isoformat(),
        "at": at_of(note.when),
        "who": note.who,
        "deed": str(note.deed),
        "did": DEED_WORDS[note.deed],
        "text": note.text,
    }


def at_of(when: datetime) -> str:
    """A time as people read it, UTC; pages put it into the reader's own zone."""
    return f"{when.astimezone(UTC):%d %b %Y, %H:%M} UTC"


def evidence_of(library: Library, tag: Tag, settings: Settings) -> list[list[str]]:
    """What made a tag, in blocks of sentences; the reason where it can no longer be told."""
    try:
        lines = explain_tag(library, tag, settings)[1:]
    except ElbowroomError as error:
        return [[tag.candidate.sentence], [str(error)]]
    blocks = [list(block) for some, block in groupby(lines, key=bool) if some]
    if blocks and blocks[0][:1] == [tag.candidate.sentence]:
        blocks[0] = blocks[0][1:]  # the sentence stands above them
    return [block for block in blocks if block]


def clock(t_s: float) -> str:
    """Film time as minutes and seconds."""
    minutes, seconds = divmod(round(t_s, 1), 60)
    return f"{int(minutes)}:{seconds:04.1f}"


def _when(library: Library, tag: Tag) -> dict[str, Any]:
    """Film time and, where it is known, game time."""
    try:
        game_time = game_times(library, [tag]).get(tag.tag)
    except ElbowroomError:
        game_time = None  # a damaged clock table; the film's own time still stands
    return {"film": clock(tag.candidate.t_s), "game": "" if game_time is None else str(game_time)}


def _actors(library: Library, tag: Tag) -> list[dict[str, Any]]:
    """Who takes part, as the tag says, with what they are called and how the player marks them."""
    try:
        game = library.game(tag.game)
        told, tracks = game.file(), table_of(game, TRACKS)
    except ElbowroomError:
        return [{"role": role.replace("_", " "), "track": n, "name": f"track {n}", **_BARE} for role, n in tag.actors]
    rosters = {0: told.team_0.roster, 1: told.team_1.roster}
    jerseys = jersey_of(tracks)
    roles = {track: (role, team) for track, role, team in _bodies(tracks, [track for _, track in tag.actors])}
    badges, attack = badges_of(tag), attack_of(tag, {track: team for track, (_, team) in roles.items()})
    return [
        {
            "role": role.replace("_", " "),
            "track": track,
            "name": called(track, jerseys, rosters) or f"track {track}",
            "badge": badges.get(track),
            "side": side_of(*roles[track], attack) if track in roles else "unknown",
            "main": place == 0,
        }
        for place, (role, track) in enumerate(tag.actors)
    ]


_BARE: dict[str, Any] = {"badge": None, "side": "unknown", "main": False}


def _bodies(tracks: pa.Table, wanted: list[int]) -> list[tuple[int, str, int]]:
    """Track, role and team of some tracks."""
    mine = tracks.filter(pc.is_in(tracks["track"], pa.array(wanted, pa.int32())))
    told = zip(mine["track"].to_pylist(), mine["role"].to_pylist(), mine["team"].to_pylist(), strict=True)
    return sorted(set(told))
