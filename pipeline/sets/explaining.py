"""Why a set was found: which action met each phase, what missed for the others and by how much."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from pipeline.actions.events import Event
from pipeline.actions.vocabulary import KIND, UNKNOWN
from pipeline.ball.tables import BALL
from pipeline.conditions import as_text, clauses
from pipeline.court.places import PLACES, places
from pipeline.court.rule_books import NBA, RuleBook
from pipeline.players.tables import TRACKS
from pipeline.sets.definition import (
    SOMEONE,
    Action,
    During,
    Edge,
    Need,
    Phase,
    Range,
    SetDefinition,
    Side,
    Window,
    Zone,
)
from pipeline.sets.emphasis import Grade, Point, spoken, unit
from pipeline.sets.floor import END, HERE, START, Floor, points_uv
from pipeline.sets.phrases import roles_by_word
from pipeline.sets.play import Play, side_share
from pipeline.sets.settings import SetSettings
from pipeline.sets.telling import player_words, points_of, unseen_in, why_unseen
from pipeline.sets.ways import lines

STEP_FT = 0.5
FARTHEST_FT = 30.0
"""How far off a place is told in these steps, and up to this."""


@dataclass(frozen=True, slots=True)
class _Case:
    """A row of ``set_candidates`` with what it takes to talk about it."""

    row: Mapping[str, Any]
    definition: SetDefinition
    events: Mapping[int, Event]
    settings: SetSettings
    words: Mapping[str, str]
    called: Callable[[int], str | None]
    mirror: int
    book: RuleBook

    @property
    def tracks(self) -> dict[str, int]:
        """Tracks by player."""
        return {actor["role"]: actor["track"] for actor in self.row["actors"] or []}

    @property
    def met(self) -> dict[str, Event]:
        """Actions by the phase that they met."""
        return {
            phase["name"]: self.events[phase["event"]]
            for phase in self.row["phases"] or []
            if phase["found"] and phase["event"] in self.events
        }


def explain_set(
    row: Mapping[str, Any],
    definition: SetDefinition,
    events: Mapping[int, Event],
    settings: SetSettings,
    called: Callable[[int], str | None],
    book: RuleBook = NBA,
) -> list[str]:
    """A row of ``set_candidates`` in sentences.

    Parameters
    ----------
    row : mapping
    definition : SetDefinition
        Of its kind.
    events : mapping of int to Event
        The actions of its possession by their numbers in the ``actions`` table; others do no harm.
    settings : SetSettings
    called : callable
        What to call a track, None where it is not known.
    book : RuleBook
        Court of the game.

    Returns
    -------
    list of str
        What was found of it, phase by phase, what is missing with the nearest action and by how much that missed, then
        the points of emphasis with their ranges.
    """
    traits = dict(row["traits"] or [])
    case = _Case(
        row=row,
        definition=definition,
        events={n: e for n, e in events.items() if (e.shot, e.possession) == _possession(row)},
        settings=settings,
        words=player_words(row, definition, called),
        called=called,
        mirror=-1 if traits.get("side") == "mirrored" else 1,
        book=book,
    )
    return [*_head(case, traits), *_phase_lines(case, traits), *_point_lines(case)]


def _possession(row: Mapping[str, Any]) -> tuple[int, int]:
    return row["shot"], -1 if row["possession"] is None else row["possession"]


def _head(case: _Case, traits: Mapping[str, str]) -> Iterator[str]:
    row = case.row
    way = "" if traits.get("counter", "none") == "none" else f" through its counter '{_spaced(traits['counter'])}'"
    end = f", ending '{_spaced(row['ending'])}'" if row["ending"] else ""
    side = "on the other side than it is drawn" if case.mirror < 0 else "on the side on which it is drawn"
    whole = "whole" if row["complete"] else "in part"
    yield f"{case.definition.title} was played {whole}{way}{end}, {side}; score {row['score']:.2f}."
    players = [f"{_spaced(name)} is {case.called(track) or f'track {track}'}" for name, track in case.tracks.items()]
    if players:
        yield f"The {', the '.join(players)}."


def _phase_lines(case: _Case, traits: Mapping[str, str]) -> Iterator[str]:
    counter = None if traits.get("counter", "none") == "none" else traits["counter"]
    line = next((one for one in lines(case.definition) if one.counter == counter), None)
    ending = next((one for one in case.definition.endings if one.name == case.row["ending"]), None)
    phases = [*(line.phases if line else ()), *(ending.phases if ending else ())]
    for phase in phases:
        if phase.need is Need.FORBIDDEN:
            continue
        event = case.met.get(phase.name)
        if event is not None:
            yield f"{_name(phase)} at {_clock(event.t_s)}: {_told(event, case)}."
        elif phase.name in unseen_in(case.row):
            yield (
                f"{_name(phase)} was not seen, {why_unseen(phase)} when it was due; all the rest was there, so it is "
                f"taken on trust."
            )
        elif phase.need is Need.REQUIRED:
            yield f"{_name(phase)} is missing: {_wanted(phase, case)}. {_nearest(phase, case)}"
        elif phase.need is Need.USUAL:
            yield f"{_name(phase)}, which is usual, was not seen: {_wanted(phase, case)}. {_nearest(phase, case)}"
        else:
            yield f"{_name(phase)}, which is optional, was not seen."
    if "ending" in (case.row["missing"] or []):
        yield "None of its endings was played."


def _point_lines(case: _Case) -> Iterator[str]:
    for point in points_of(case.row, case.definition):
        if point.grade is Grade.UNKNOWN:
            yield f"{point.emphasis.title}: not known."
        else:
            value = spoken(point.value, unit(point.emphasis))
            yield f"{point.emphasis.title}: {value}, which is {point.grade} ({_ranges(point)})."


def _ranges(point: Point) -> str:
    told = []
    for word, ranges in (("good", point.emphasis.good), ("poor", point.emphasis.poor)):
        texts = [
            _range(one, unit(point.emphasis)) if isinstance(one, Range) else " or ".join(_spaced(w) for w in one.words)
            for one in ranges
        ]
        if texts:
            told.append(f"{word}: {' or '.join(texts)}")
    return "; ".join(told)


def _range(one: Range, ending: str) -> str:
    if math.isinf(one.low):
        return f"{'up to' if one.high_included else 'below'} {spoken(one.high, ending)}"
    if math.isinf(one.high):
        return f"{'from' if one.low_included else 'above'} {spoken(one.low, ending)}"
    return f"{spoken(one.low, ending)} to {spoken(one.high, ending)}"


# ---- what missed ---------------------------------------------------------------------------------


def _nearest(phase: Phase, case: _Case) -> str:
    """The action that came nearest to a phase, and all that was wrong with it."""
    best: tuple[float, str] | None = None
    play = _play(case)
    middle_s = (case.row["start_s"] + case.row["end_s"]) / 2
    used = set(map(id, case.met.values()))
    for index, event in enumerate(play.events):
        for action in phase.actions:
            if event.kind != action.kind or id(event) in used:
                continue
            wrong = list(_wrong(phase, action, index, play, case))
            rank = len(wrong) + 0.01 * abs(event.t_s - middle_s)
            if best is None or rank < best[0]:
                told = "; ".join(wrong) if wrong else "it fits by itself, but not together with the others"
                best = (rank, f"The nearest is the {KIND[event.kind].title} at {_clock(event.t_s)}: {told}.")
    kinds = " or ".join(dict.fromkeys(KIND[action.kind].title for action in phase.actions))
    return best[1] if best is not None else f"There was no other {kinds} in the possession."


def _wrong(phase: Phase, action: Action, index: int, play: Play, case: _Case) -> Iterator[str]:
    """Everything in which an action is not what a phase asks for."""
    event = play.events[index]
    yield from _wrong_players(action, event, case)
    for name, wanted in action.traits:
        value = event.traits.get(name, UNKNOWN)
        if value not in (wanted, UNKNOWN):
            yield f"its {_spaced(name)} is {_spaced(value)}, not {_spaced(wanted)}"
    values = play.values(index, case.mirror)
    for condition in (action.where, phase.where):
        for clause in clauses(condition, values) if condition is not None else ():
            if clause.holds is False:
                by = "" if math.isnan(clause.missed_by) else f", missed by {clause.missed_by:.1f}"
                seen = clause.value if isinstance(clause.value, str) else f"{clause.value:.1f}"
                yield f"'{as_text(clause.condition)}' does not hold: it was {_spaced(str(seen))}{by}"
    for what, zone, point in (("lies", phase.here, HERE), ("starts", phase.starts, START), ("ends", phase.ends, END)):
        if zone is not None:
            yield from _wrong_place(what, zone, play.points[index][point], case)
    yield from _wrong_time(phase, event, case)


def _wrong_players(action: Action, event: Event, case: _Case) -> Iterator[str]:
    words = {role: word for word, role in roles_by_word(action.kind).items()}
    for role, player in action.roles:
        track, mine = event.actor(role), case.tracks.get(player)
        if player == SOMEONE or track is None:
            continue
        if mine is None:
            if track in case.tracks.values():
                yield f"it is '{words[role]}' {case.called(track) or f'track {track}'}, who plays another part"
        elif track != mine:
            yield f"it is '{words[role]}' {case.called(track) or f'track {track}'}, not {case.words[player]}"


def _wrong_place(what: str, zone: Zone, uv: Sequence[float], case: _Case) -> Iterator[str]:
    if not np.isfinite(uv).all():
        return
    if zone.places:
        off_ft = _off_ft(zone.places, uv, case.book)
        if off_ft > case.settings.place_reach_ft:
            yield f"it {what} {off_ft:.1f} ft away from the {' or '.join(_spaced(place) for place in zone.places)}"
    if zone.side in (Side.RIGHT, Side.LEFT, Side.MIDDLE):
        v_ft = uv[1] * case.mirror
        if side_share(zone.side, v_ft, case.settings) == 0.0:
            yield f"it {what} {abs(v_ft):.1f} ft {'right' if v_ft > 0 else 'left'} of the middle, not {zone.side.value}"


def _wrong_time(phase: Phase, event: Event, case: _Case) -> Iterator[str]:
    slack = case.settings.order_slack_s
    for time in phase.times:
        name = time.anchor.phase if isinstance(time, Window) else time.phase
        anchor = case.met.get(name)
        if anchor is None:
            continue
        if isinstance(time, During):
            gap_s = max(event.start_s - anchor.end_s, anchor.start_s - event.end_s)
            if gap_s > slack:
                yield f"it is {gap_s:.1f} s apart from the {_spaced(name)}"
            continue
        edge = time.anchor.edge
        since_s = event.t_s - {Edge.MOMENT: anchor.t_s, Edge.START: anchor.start_s, Edge.END: anchor.end_s}[edge]
        if since_s < time.low_s - slack:
            yield f"it comes {time.low_s - since_s:.1f} s too early after the {_spaced(name)}"
        elif since_s > time.high_s + slack:
            yield f"it comes {since_s - time.high_s:.1f} s too late after the {_spaced(name)}"


def _off_ft(names: Sequence[str], uv: Sequence[float], book: RuleBook) -> float:
    """How far a point is from the nearest of some places, in steps."""
    turns = np.arange(24) * np.pi / 12
    radii = np.arange(0.0, FARTHEST_FT + STEP_FT, STEP_FT)
    around = np.array([[uv[0] + r * np.cos(t), uv[1] + r * np.sin(t)] for r in radii for t in turns])
    held = places(around, book)
    inside = np.any([held[name] for name in names], axis=0).reshape(len(radii), len(turns)).any(axis=1)
    return float(radii[int(np.argmax(inside))]) if inside.any() else FARTHEST_FT


def _play(case: _Case) -> Play:
    events = sorted(case.events.values(), key=lambda e: (e.t_s, e.kind, e.actors))
    floor = Floor(TRACKS.empty(), BALL.empty(), case.book, case.settings)
    points = points_uv(events, floor)
    grades = floor.grades(points.reshape(-1, 2)).reshape(len(events), 3, len(PLACES))
    return Play(events, range(len(events)), points, grades, floor, case.settings)


# ---- words -----------------------------------------------------------------------------------------


def _told(event: Event, case: _Case) -> str:
    """An action with its players, as a coach says it."""
    by_track = {track: name for name, track in case.tracks.items()}
    parts = [KIND[event.kind].title]
    for word, role in roles_by_word(event.kind).items():
        track = event.actor(role)
        if track is not None:
            name = by_track.get(track)
            parts.append(f"{word} {case.words[name] if name else case.called(track) or f'track {track}'}")
    return " ".join(parts) + (f" (score {event.score:.2f})" if event.score < 1 else "")


def _wanted(phase: Phase, case: _Case) -> str:
    """What a phase asks for."""
    told = []
    for action in phase.actions:
        words = {role: word for word, role in roles_by_word(action.kind).items()}
        who = "".join(f" {words[role]} {case.words.get(player, player)}" for role, player in action.roles)
        told.append(f"{action.phrase}{who}")
    return "wanted is a " + " or a ".join(told)


def _name(phase: Phase) -> str:
    return _spaced(phase.name).capitalize()


def _clock(t_s: float) -> str:
    minutes, seconds = divmod(round(t_s, 1), 60)
    return f"{int(minutes)}:{seconds:04.1f}"


def _spaced(name: str) -> str:
    return name.replace("_", " ")
