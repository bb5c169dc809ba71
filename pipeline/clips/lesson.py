"""What a tag teaches, moment by moment: who takes part, their ways, passes, screens, and the lengths measured.

Nothing here knows a picture; see :mod:`pipeline.clips.film_marks` and :mod:`pipeline.clips.half_court` for that.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipeline.actions.events import Event
from pipeline.clips.distances import Figure, figures, line_extended_u
from pipeline.clips.fault_marks import Now, fault_marks
from pipeline.clips.marks import (
    Badge,
    FloorArea,
    FloorLabel,
    FloorLine,
    FloorRing,
    FloorSpot,
    Look,
    Marks,
    Place,
    Sort,
    between,
)
from pipeline.clips.playback import Body, Playback
from pipeline.clips.settings import ClipSettings, Colour
from pipeline.court.attack_frame import End, to_court
from pipeline.court.rule_books import RuleBook
from pipeline.tags import Family, Tag

WHITE: Colour = (245, 245, 245)
CROWD = ("attacker_in_paint", "defender_in_paint", "in_paint", "on_way")
"""Roles of bodies that are counted, not followed."""

DEFENDERS = ("on_ball_defender", "cutter_defender", "receiver_defender", "shooter_defender", "post_defender")
"""Defenders whose way is drawn too: the one who guards the main actor."""

NOBODY = -1
"""No track."""

SCREENS = ("on_ball_screen", "off_ball_screen")
THROWN = ("pass", "handoff")
LEAST_WAY_FT = 3.0
"""A way that is shorter is not drawn."""

WORDS = {
    "on_ball_defender": "defender",
    "cutter_defender": "defender",
    "receiver_defender": "denies",
    "denier": "denies",
    "denied": "denied",
    "screener_defender": "screener's man",
    "post_defender": "defender",
    "shooter_defender": "defender",
    "giver_defender": "giver's man",
    "player": "",
    "other": "",
    "on_way": "",
}
"""Roles that are said otherwise than they are written."""


@dataclass(frozen=True, slots=True, eq=False)
class Step:
    """A phase of something that has several: its interval and its moment, film time."""

    name: str
    start_s: float
    end_s: float
    t_s: float


@dataclass(frozen=True, slots=True, eq=False)
class Told:
    """What is known of a tag besides itself.

    Attributes
    ----------
    title : str
    said : str
        A sentence.
    events : tuple of Event
        The actions under it, itself among them where it is one.
    steps : tuple of Step
        Its phases that were found, in order; empty for anything but a set.
    lengths : frozenset of str, or None
        Measures of the tag that may be drawn; None for all.
    names : mapping of track to str
        What players are called, e.g. ``"12"`` for a number; those that are not known are left out.
    """

    title: str
    said: str
    events: tuple[Event, ...]
    steps: tuple[Step, ...]
    names: Mapping[int, str]
    lengths: frozenset[str] | None = None


class Lesson:
    """What is drawn of a tag at any time of its film.

    Parameters
    ----------
    tag : Tag
    told : Told
    playback : Playback
    book, end : the court, and the end that is attacked
    settings : ClipSettings
    """

    def __init__(
        self, tag: Tag, told: Told, playback: Playback, book: RuleBook, end: End, settings: ClipSettings
    ) -> None:
        self.tag, self.told, self.playback, self.book, self.end = tag, told, playback, book, end
        self.settings = settings
        self.roles: dict[int, str] = {}
        for role, track in tag.actors:
            self.roles.setdefault(track, role)
        self.main = tag.actors[0][1] if tag.actors else NOBODY
        bodies = {body.track: body for body in playback.bodies(tag.candidate.t_s)}
        own = bodies[self.main].team if self.main in bodies else -1
        self.team = tag.candidate.team if tag.candidate.team is not None else own
        moment_s = tag.candidate.t_s
        self.start_s, self.end_s = min(tag.start_s, moment_s), max(tag.end_s, moment_s)
        self._ways = self._actors_ways()

    def marks(self, t_s: float, *, held: bool = False) -> Marks:
        """What is drawn at a film time; ``held`` when it stands still, so that there is time to read more."""
        bodies = {body.track: body for body in self.playback.bodies(t_s)}
        near = self.start_s - 0.6 <= t_s <= self.end_s + 0.6
        lines: list[FloorLine] = []
        labels: list[FloorLabel] = []
        spots: list[FloorSpot] = []
        areas: list[FloorArea] = []
        if near:
            lines += self._walked(t_s)
            lines += self._ahead(t_s, held=held)
            lines += self._thrown(t_s, held=held)
            lines += self._screens(t_s)
        rings = self._rings(bodies, t_s, held=held)
        for catch in self._far_catches(t_s):
            lines.append(self._line_extended())
            spots.append(FloorSpot(self._caught_at(catch), self.settings.handler))
            if held:
                labels.append(self._line_word(self._caught_at(catch)))
        if near:
            more = fault_marks(self, Now(t_s, bodies, held))
            areas += more.areas
            lines += more.lines
            labels += more.labels
            rings = _with_badges(rings, more.rings)
            for figure in self._figures(bodies, t_s, held=held):
                line = np.array([figure.start_ft, figure.end_ft])
                lines.append(FloorLine(line, Sort.MEASURED, WHITE, 1.6))
                labels.append(FloorLabel(between(figure.start_ft, figure.end_ft), figure.text, WHITE))
        step = self._step(t_s) if self.told.steps else ""
        return Marks(
            tuple(areas), tuple(lines), tuple(rings), tuple(spots), tuple(labels), self.told.title, self.told.said, step
        )

    @property
    def in_paint(self) -> bool:
        """Whether bodies in the paint are what it is about."""
        return any(role in CROWD[:3] for role, _ in self.tag.actors)

    def colour(self, body: Body) -> Colour:
        """Colour of a body by its side."""
        if body.track == self.main:
            return self.settings.handler
        if body.team < 0 or self.team < 0:
            return self.settings.unknown
        return self.settings.attack if body.team == self.team else self.settings.defence

    def place(self, track: int | None, t_s: float) -> Place | None:
        """Where a track is at a time, or None."""
        return next((body.place_ft for body in self.playback.bodies(t_s) if body.track == track), None)

    # ---- ways --------------------------------------------------------------------------------------

    def _actors_ways(self) -> dict[int, tuple[float, np.ndarray]]:
        """By track: time of the first point and the way, every tenth of a second, calmed."""
        ways = {}
        for track, role in self.roles.items():
            attacks = role not in CROWD and not role.endswith("_defender") and role not in ("denier", "denied")
            if attacks or role in DEFENDERS:
                way = _calmed(self.playback.way(track, self.start_s, self.end_s))
                if len(way):
                    ways[track] = (self.start_s, way)
        return ways

    def _walked(self, t_s: float) -> list[FloorLine]:
        since_s = max(self.start_s, t_s - self.settings.path_s)
        return [
            FloorLine(way, Sort.WALKED, self._way_colour(track), self._way_width(track), Look.FADING, 0.85)
            for track, way in self._parts(since_s, t_s)
        ]

    def _ahead(self, t_s: float, *, held: bool) -> list[FloorLine]:
        until_s = min(self.end_s, t_s + self.settings.path_ahead_s)
        strength = 0.8 if held else 0.5
        return [
            FloorLine(
                way, Sort.AHEAD, self._way_colour(track), self._way_width(track), Look.DOTTED, strength, arrow=held
            )
            for track, way in self._parts(t_s, until_s)
        ]

    def _parts(self, from_s: float, to_s: float) -> list[tuple[int, np.ndarray]]:
        found = []
        for track, (first_s, way) in self._ways.items():
            at = first_s + 0.1 * np.arange(len(way))
            part = way[(at >= from_s - 0.05) & (at <= to_s + 0.05)]
            part = part[np.isfinite(part).all(axis=1)]
            if len(part) > 2 and np.hypot(*np.diff(part, axis=0).T).sum() >= LEAST_WAY_FT:
                found.append((track, part))
        return found

    def _way_colour(self, track: int) -> Colour:
        role = self.roles[track]
        if track == self.main:
            return self.settings.handler
        return self.settings.defence if role.endswith("_defender") else self.settings.attack

    def _way_width(self, track: int) -> float:
        return 1.6 if self.roles[track].endswith("_defender") else 2.8

    # ---- what happens ------------------------------------------------------------------------------

    def _thrown(self, t_s: float, *, held: bool) -> list[FloorLine]:
        """Passes and handoffs as they fly and shortly after; all so far where time stands still."""
        lines = []
        for event in self.told.events:
            if event.kind not in THROWN or event.start_s > t_s + 0.05:
                continue
            age_s = t_s - event.end_s
            fade = 1.0 if held else float(np.clip((self.settings.pass_shown_s - age_s) / 0.5, 0, 1))
            giver, taker = event.actors[0][1], event.actor("receiver")
            start, end = self.place(giver, event.start_s), self.place(taker, event.end_s)
            if fade > 0 and start is not None and end is not None:
                lines.append(FloorLine(np.array([start, end]), Sort.PASS, WHITE, 2.4, Look.DASHED, fade, arrow=True))
        return lines

    def _screens(self, t_s: float) -> list[FloorLine]:
        """A bar where a screener stands, across the way to whom he screens."""
        lines = []
        for event in self.told.events:
            if event.kind not in SCREENS or not event.start_s - 0.1 <= t_s <= max(event.end_s, event.t_s) + 0.4:
                continue
            against = event.actor("cutter_defender") or event.actor("on_ball_defender")
            at = self.place(event.actor("screener"), t_s)
            stood = self.place(event.actor("screener"), event.t_s)
            faced = self.place(against, event.t_s) or self.place(event.actor("cutter"), event.t_s)
            faced = faced or self.place(event.actor("handler"), event.t_s)
            if at is None or stood is None or faced is None or math.dist(faced, stood) < 0.1:
                continue
            along = (np.array(faced) - np.array(stood)) / math.dist(faced, stood)
            across = self.settings.screen_half_ft * np.array([-along[1], along[0]])
            middle = np.array(at) + 1.0 * along
            lines.append(FloorLine(np.array([middle - across, middle + across]), Sort.SCREEN, WHITE, 5.0))
        return lines

    def _figures(self, bodies: Mapping[int, Body], t_s: float, *, held: bool) -> tuple[Figure, ...]:
        """Lengths that were measured: of the tag as its moment is held, of each action as it happens."""
        found: list[Figure] = []
        own = self.tag.candidate
        if held or abs(t_s - own.t_s) <= self.settings.figure_s:
            said = {n: v for n, v in own.measures.items() if self.told.lengths is None or n in self.told.lengths}
            found += figures(self.tag.actors, said, bodies, self.book, self.end, self.settings.figures)
        for event in () if self.tag.candidate.family is Family.FAULT else self.told.events:
            if event.kind in (*SCREENS, "pass", "handoff", "post_up", "shot") and self._shows(event, t_s):
                found += figures(event.actors, event.measures, bodies, self.book, self.end, 1)
        kept: dict[str, Figure] = {}
        for figure in found:
            kept.setdefault(figure.measure, figure)
        return tuple(kept.values())[: self.settings.figures]

    def _shows(self, event: Event, t_s: float) -> bool:
        return event.t_s - 0.1 <= t_s <= event.t_s + self.settings.figure_s

    # ---- catches -----------------------------------------------------------------------------------

    def _far_catches(self, t_s: float) -> list[Event | None]:
        """Catches that are held against the line extended: return passes, and a pushed-out catch itself (None)."""
        own = self.tag.candidate
        shown: list[Event | None] = []
        if own.kind == "pushed_out_catch" and t_s >= own.start_s - 0.5:
            return [None]
        for event in () if own.family is Family.FAULT else self.told.events:
            teaches = event.kind == "pass" and event.traits.get("returned") == "yes"
            if teaches and event.end_s - 0.3 <= t_s <= event.end_s + self.settings.pass_shown_s:
                shown.append(event)
        return shown[-1:]

    def _caught_at(self, catch: Event | None) -> Place:
        measures = self.tag.candidate.measures if catch is None else catch.measures
        u, v = measures.get("catch_u_ft", math.nan), measures.get("catch_v_ft", math.nan)
        if math.isfinite(u) and math.isfinite(v):
            x, y = to_court(np.array([[u, v]]), self.book, self.end)[0]
            return float(x), float(y)
        at_s = self.tag.candidate.t_s if catch is None else catch.end_s
        who = self.main if catch is None else catch.actor("receiver")
        return self.place(who, at_s) or (math.nan, math.nan)

    def _line_extended(self) -> FloorLine:
        u, half = line_extended_u(self.book), self.book.width_ft / 2
        ends = to_court(np.array([[u, -half], [u, half]]), self.book, self.end)
        return FloorLine(ends, Sort.FLOOR, self.settings.handler, 2.2, Look.DASHED, 0.9)

    def _line_word(self, catch: Place) -> FloorLabel:
        u, half = line_extended_u(self.book), self.book.width_ft / 2
        line = to_court(np.column_stack([np.full(9, u), np.linspace(-0.85, 0.85, 9) * half]), self.book, self.end)
        order = sorted(line.tolist(), key=lambda p: -math.dist(p, catch))
        return FloorLabel(tuple((x, y) for x, y in order), "free-throw line extended", self.settings.handler)

    # ---- bodies ------------------------------------------------------------------------------------

    def _rings(self, bodies: Mapping[int, Body], t_s: float, *, held: bool) -> list[FloorRing]:
        counted = self.tag.candidate.kind == "screen_into_traffic" and t_s >= self.tag.candidate.t_s - 0.6
        on_way = [track for role, track in self.tag.actors if role == "on_way"]
        rings = []
        for track, role in {**self._guards(t_s), **self.roles}.items():
            if track not in bodies or (role == "on_way" and not counted):
                continue
            body = bodies[track]
            number = on_way.index(track) + 1 if track in on_way and counted else 0
            badge = Badge.SQUARE if self.colour(body) == self.settings.defence else Badge.ROUND
            word = self.word(track, role) if held and not number else ""
            rings.append(FloorRing(track, body.place_ft, self.colour(body), track == self.main, word, number, badge))
        return rings

    def _guards(self, t_s: float) -> dict[int, str]:
        """Defenders of the actions that go on, where the tag itself names none; by track, their roles."""
        if any(role.endswith("_defender") for role in self.roles.values()):
            return {}
        return {
            track: role
            for event in self.told.events
            if event.kind in SCREENS and event.start_s - 0.2 <= t_s <= event.end_s + 0.3
            for role, track in event.actors
            if role in DEFENDERS
        }

    def word(self, track: int, role: str) -> str:
        """Who a body is: number and role, as far as they are known."""
        return " ".join(part for part in (self.told.names.get(track, ""), self.role_word(role)) if part)

    def role_word(self, role: str) -> str:
        """A role as it is said; empty where it says nothing."""
        return WORDS.get(role, role.replace("_", " "))

    def _step(self, t_s: float) -> str:
        """The phase that goes on, or the last that was."""
        begun = [(n, step) for n, step in enumerate(self.told.steps, start=1) if step.start_s <= t_s + 1e-6]
        if not begun:
            return ""
        going = [(n, step) for n, step in begun if t_s <= step.end_s + 0.2] or begun[-1:]
        number, step = going[-1]
        return f"{number} of {len(self.told.steps)}: {step.name}"


def _with_badges(rings: Sequence[FloorRing], more: Sequence[FloorRing]) -> list[FloorRing]:
    """Rings with those of the fault put over or beside them."""
    others = {ring.track: ring for ring in more}
    kept = [
        replace(ring, number=others[ring.track].number, badge=others[ring.track].badge)
        if ring.track in others
        else ring
        for ring in rings
    ]
    known = {ring.track for ring in rings}
    return [*kept, *(ring for ring in more if ring.track not in known)]


def _calmed(way: np.ndarray) -> np.ndarray:
    """A way without the trembling of measured places: means over half a second, ends kept."""
    if len(way) < 5:
        return way
    padded = np.pad(way, ((2, 2), (0, 0)), mode="edge")
    return np.mean([padded[k : k + len(way)] for k in range(5)], axis=0)
