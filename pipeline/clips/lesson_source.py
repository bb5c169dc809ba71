"""A tag's lesson out of its game's tables."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from pipeline.actions.events import Event, events_from_table
from pipeline.actions.tables import ACTIONS
from pipeline.ball.tables import BALL
from pipeline.clips.lesson import SCREENS, THROWN, Lesson, Step, Told
from pipeline.clips.paint_clip import attacked_end
from pipeline.clips.playback import Playback
from pipeline.clips.titles import title_of
from pipeline.conditions import names_in
from pipeline.court.rule_books import RULE_BOOKS, RuleBook
from pipeline.court.tables import CAMERAS
from pipeline.errors import LibraryError
from pipeline.library.games import Game
from pipeline.library.rosters import jersey_of
from pipeline.players.tables import TRACKS
from pipeline.sets.tables import SET_CANDIDATES
from pipeline.settings import Settings
from pipeline.spacing.rules import PLACEHOLDER
from pipeline.spacing.tables import SPACING
from pipeline.tags import Family, Tag

SAME_S = 0.3
"""A set's row is a tag's when its moment lies this near; an earlier run's tables may have moved it a little."""


def lesson_of(tag: Tag, game: Game, settings: Settings) -> Lesson:
    """Read what a tag teaches.

    Raises
    ------
    LibraryError
        If a table is missing or has nothing of the tag's shot, or no court is known there.
    """
    tracks = TRACKS.read(game.tables)
    shot = tag.candidate.shot
    cameras = CAMERAS.read(game.tables) if CAMERAS.path(game.tables).is_file() else CAMERAS.empty()
    ball = BALL.read(game.tables) if BALL.path(game.tables).is_file() else None
    playback = Playback(cameras, tracks, shot, settings.clips.longest_bridge_s, ball)
    end = attacked_end(SPACING.read(game.tables), tag.candidate)
    book = book_of(playback, game)
    rows = ACTIONS.read(game.tables) if ACTIONS.path(game.tables).is_file() else ACTIONS.empty()
    events, numbers = _during(rows, tag)
    steps: tuple[Step, ...] = ()
    if tag.candidate.family is Family.SET and SET_CANDIDATES.path(game.tables).is_file():
        row = _set_row(SET_CANDIDATES.read(game.tables), tag)
        if row is not None:
            found = [phase for phase in row["phases"] if phase["found"] and phase["start_s"] is not None]
            moments = {number: event.t_s for event, number in zip(events, numbers, strict=True)}
            steps = tuple(
                Step(p["name"].replace("_", " "), p["start_s"], p["end_s"], moments.get(p["event"], p["end_s"]))
                for p in found
            )
            of_phases = {phase["event"] for phase in found}
            if steps:
                phases = zip(events, numbers, strict=True)
                events = tuple(event for event, n in phases if event.kind in THROWN or n in of_phases)
    if not steps:
        events = tuple(event for event in events if _belongs(event, tag))
    title = title_of(tag.candidate.kind, settings)
    said = tag.candidate.sentence.removeprefix(f"{title}. ").strip()
    said = said.removeprefix(f"{title}, ")
    lengths = _lengths(tag.candidate.kind, settings)
    told = Told(title, said[:1].upper() + said[1:], events, steps, _names(tracks, game), lengths)
    return Lesson(tag, told, playback, book, end, settings.clips)


def book_of(playback: Playback, game: Game) -> RuleBook:
    """The court's rule book: as the picture showed it, or as ``game.toml`` says."""
    name = playback.rule_book or game.file().rule_book
    if not name:
        raise LibraryError(f"Game '{game.name}' has no floor there and no rule book; write one into its game.toml.")
    return RULE_BOOKS[name]


def _lengths(kind: str, settings: Settings) -> frozenset[str] | None:
    """Measures that a fault speaks of, in its rule or in its sentence; None for what is no fault."""
    rule = next((rule for rule in settings.faults.library if rule.name == kind), None)
    return None if rule is None else frozenset((*names_in(rule.where), *PLACEHOLDER.findall(rule.tell)))


def _during(actions: pa.Table, tag: Tag) -> tuple[tuple[Event, ...], list[int]]:
    """Actions of the tag's shot that share its time, with their numbers."""
    rows = actions.filter(
        (pc.field("shot") == tag.candidate.shot)
        & (pc.field("start_s") <= max(tag.end_s, tag.candidate.t_s))
        & (pc.field("end_s") >= min(tag.start_s, tag.candidate.t_s))
    ).sort_by([("t_s", "ascending"), ("event", "ascending")])
    return events_from_table(rows), rows["event"].to_pylist()


def _belongs(event: Event, tag: Tag) -> bool:
    """Whether an action is part of what a tag shows: itself, a screen by two of its actors, a pass by one of them."""
    actors = {track for _, track in tag.actors}
    both = [track for _, track in event.actors[:2]]
    if event.kind in THROWN:
        return bool(actors & set(both))
    return event.kind in SCREENS and len(both) == 2 and set(both) <= actors


def _set_row(sets: pa.Table, tag: Tag) -> dict[str, Any] | None:
    wanted = tag.candidate
    rows: Sequence[dict[str, Any]] = sets.filter(
        (pc.field("kind") == wanted.kind) & (pc.field("shot") == wanted.shot)
    ).to_pylist()
    near = [row for row in rows if abs(row["t_s"] - wanted.t_s) <= SAME_S]
    same = [row for row in near if [(a["role"], a["track"]) for a in row["actors"]] == list(wanted.actors)]
    return min(same or near, key=lambda row: abs(row["t_s"] - wanted.t_s), default=None)


def _names(tracks: pa.Table, game: Game) -> dict[int, str]:
    """Numbers, with the last name where the roster has one."""
    file = game.file()
    rosters = {0: file.team_0.roster, 1: file.team_1.roster}
    names = {}
    for track, (team, number) in jersey_of(tracks).items():
        name = rosters.get(team, {}).get(number, "").split()
        names[track] = " ".join([number, *name[-1:]])
    return names
