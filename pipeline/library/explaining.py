"""Explanations of a library's tags: the rows that a tag was made from, put into sentences."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.actions.events import Event, events_from_table
from pipeline.actions.tables import ACTIONS
from pipeline.actions.vocabulary import KIND
from pipeline.errors import LibraryError
from pipeline.library.games import Game, Library
from pipeline.library.rosters import called, jersey_of
from pipeline.players.tables import TRACKS
from pipeline.sets.definition import SetDefinition
from pipeline.sets.explaining import explain_set
from pipeline.sets.tables import SET_CANDIDATES
from pipeline.settings import Settings
from pipeline.spacing.rules import FaultRule
from pipeline.spacing.tables import FAULTS
from pipeline.tags import Candidate, Tag
from pipeline.tags.explaining import Called, explain_action, explain_fault

SAME_S = 0.5
"""A row this near to a tag's moment, of its kind and main actor, is the tag's."""


def explain_tag(library: Library, tag: Tag, settings: Settings) -> list[str]:
    """What made a tag, in sentences; lines of the actions that it rests on follow, a blank line before each.

    Raises
    ------
    LibraryError
        If the game's tables no longer hold what the tag was made from, or nothing describes its kind.
    """
    game = library.game(tag.game)
    names = _names(game)
    head = f"Tag {tag.tag}, {_title(tag.candidate.kind, settings)}, game {tag.game} at {_clock(tag.candidate.t_s)}."
    rule = next((one for one in settings.faults.library if one.name == tag.candidate.kind), None)
    if rule is not None:
        event = _row(events_from_table(FAULTS.read(game.tables)), tag)
        lines = [head, *explain_fault(event, rule, tag.candidate.sentence)]
        for action in _under(event, rule, events_from_table(ACTIONS.read(game.tables))):
            lines += ["", f"It rests on {_clock(action.t_s)}:", *explain_action(action, settings.actions, names)]
        return lines
    definition = next((one for one in settings.set_library.definitions if one.name == tag.candidate.kind), None)
    if definition is not None:
        return [head, *_set_lines(game, tag, definition, settings, names)]
    if tag.candidate.kind in KIND:
        event = _row(events_from_table(ACTIONS.read(game.tables)), tag)
        return [head, *explain_action(event, settings.actions, names)]
    raise LibraryError(
        f"Tag {tag.tag} is a '{tag.candidate.kind}', which no fault file, set file or action describes any more; "
        "put its file back, or run the film again."
    )


def _set_lines(game: Game, tag: Tag, definition: SetDefinition, settings: Settings, names: Called) -> list[str]:
    """What made a set, and every action that it used."""
    rows = SET_CANDIDATES.read(game.tables)
    row = rows.to_pylist()[_place(events_from_table(rows.select(ACTIONS.schema.names)), tag)]
    table = ACTIONS.read(game.tables)
    actions = dict(zip(table["event"].to_pylist(), events_from_table(table), strict=True))
    lines = explain_set(row, definition, actions, settings.sets, names)
    used = [actions[phase["event"]] for phase in row["phases"] if phase["event"] in actions]
    for action in used:
        lines += ["", f"It rests on {_clock(action.t_s)}:", *explain_action(action, settings.actions, names)]
    return lines


def explain_event(game: Game, number: int, settings: Settings) -> list[str]:
    """What made an action of a game, by its number in the ``actions`` table.

    Raises
    ------
    LibraryError
        If the game has no such action.
    """
    table = ACTIONS.read(game.tables)
    rows = table.filter(table["event"].to_numpy() == number)
    if not rows.num_rows:
        raise LibraryError(
            f"Game '{game.name}' has no action {number}; its actions are numbered from 0 to {table.num_rows - 1}."
        )
    (event,) = events_from_table(rows)
    return [
        f"Action {number} of {game.name} at {_clock(event.t_s)}.",
        *explain_action(event, settings.actions, _names(game)),
    ]


def _row(events: Sequence[Event], tag: Tag) -> Event:
    """The event that a tag was made from."""
    return events[_place(events, tag)]


def _place(events: Sequence[Event], tag: Tag) -> int:
    """Which of the events a tag was made from."""
    wanted = tag.candidate
    near = [
        n
        for n, e in enumerate(events)
        if e.kind == wanted.kind and e.shot == wanted.shot and abs(e.t_s - wanted.t_s) <= SAME_S and _same(e, wanted)
    ]
    if not near:
        raise LibraryError(
            f"The tables of game '{tag.game}' no longer hold what tag {tag.tag} was made from; run the film again."
        )
    return min(near, key=lambda n: abs(events[n].t_s - wanted.t_s))


def _same(event: Event, candidate: Candidate) -> bool:
    return event.actors[:1] == candidate.actors[:1]


def _under(event: Event, rule: FaultRule, actions: Sequence[Event]) -> list[Event]:
    """Actions that a fault rests on: of its situation's kinds, its main actor in them, sharing its time."""
    who = {track for _, track in event.actors[:1]}
    return [
        a
        for a in actions
        if a.kind in rule.about.actions
        and a.shot == event.shot
        and a.start_s <= event.end_s
        and a.end_s >= event.start_s
        and who & {track for _, track in a.actors[:2]}
    ]


def _names(game: Game) -> Called:
    told = game.file()
    rosters = {0: told.team_0.roster, 1: told.team_1.roster}
    jerseys = jersey_of(TRACKS.read(game.tables, ("track", "team", "jersey")))
    return lambda track: called(track, jerseys, rosters)


def _title(kind: str, settings: Settings) -> str:
    rule = next((one for one in settings.faults.library if one.name == kind), None)
    return rule.title.lower() if rule is not None else KIND[kind].title if kind in KIND else kind.replace("_", " ")


def _clock(t_s: float) -> str:
    minutes, seconds = divmod(round(t_s, 1), 60)
    return f"{int(minutes)}:{seconds:04.1f}"
