"""What single faults show besides the ways, rings and lengths that everything shows."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np

from pipeline.clips.marks import Badge, FloorArea, FloorLabel, FloorLine, FloorRing, Look, Marks, Place, Sort
from pipeline.clips.playback import Body
from pipeline.clips.settings import Colour
from pipeline.court.attack_frame import ring_ft, to_attack, to_court

if TYPE_CHECKING:
    from pipeline.clips.lesson import Lesson

WHITE: Colour = (245, 245, 245)
MIDDLE_FT = 3.0
"""Who is nearer than this to the line through the rings stands on neither side; see docs/faults.md."""


@dataclass(frozen=True, slots=True)
class Now:
    """A moment that is drawn.

    Attributes
    ----------
    t_s : float
        Film time.
    bodies : mapping of track to Body
        Everybody whose place is known.
    held : bool
        Whether it stands still.
    """

    t_s: float
    bodies: Mapping[int, Body]
    held: bool


def fault_marks(lesson: Lesson, now: Now) -> Marks:
    """Marks of a tag's own kind; none for kinds that need no others."""
    draw = _DRAWN.get(lesson.tag.candidate.kind)
    return Marks() if draw is None else draw(lesson, now)


def _traffic(lesson: Lesson, now: Now) -> Marks:
    """The handler's way to the ring as he turns the corner."""
    if lesson.main not in now.bodies or now.t_s < lesson.tag.candidate.t_s - 0.6:
        return Marks()
    x, y = ring_ft(lesson.book, lesson.end)
    way = np.array([now.bodies[lesson.main].place_ft, (float(x), float(y))])
    return Marks(lines=(FloorLine(way, Sort.MEASURED, lesson.settings.handler, 2.4, Look.DASHED, 0.9, arrow=True),))


def _shrunk(lesson: Lesson, now: Now) -> Marks:
    """The areas round the two fives."""
    areas, lines, labels = [], [], []
    for team, colour, measure, word in (
        (lesson.team, lesson.settings.attack, "hull_attack_ft2", "attack"),
        (1 - lesson.team, lesson.settings.defence, "hull_defence_ft2", "defence"),
    ):
        places = np.array([b.place_ft for b in now.bodies.values() if b.role == "player" and b.team == team])
        if lesson.team < 0 or len(places) < 4:
            continue
        hull = cv2.convexHull(places.astype(np.float32))[:, 0].astype(float)
        areas.append((float(cv2.contourArea(hull.astype(np.float32))), FloorArea(hull, colour, 0.22)))
        lines.append(FloorLine(np.vstack([hull, hull[:1]]), Sort.MEASURED, colour, 2.0))
        value = lesson.tag.candidate.measures.get(measure, math.nan)
        if now.held and math.isfinite(value):
            spots = [_place(0.5 * (a + b)) for a, b in zip(hull, np.roll(hull, -1, axis=0), strict=True)]
            order = sorted(spots, key=lambda spot: spot[1])
            labels.append(FloorLabel(tuple(order), f"{word} {value:.0f} sq ft", colour))
    larger_first = tuple(area for _, area in sorted(areas, key=lambda pair: -pair[0]))
    return Marks(areas=larger_first, lines=tuple(lines), labels=tuple(labels))


def _overloaded(lesson: Lesson, now: Now) -> Marks:
    """The ball's side, and the attackers on it numbered."""
    v = lesson.tag.candidate.measures.get("v_ft", math.nan)
    attackers = [b for b in now.bodies.values() if b.role == "player" and b.team == lesson.team]
    if not math.isfinite(v) or lesson.team < 0 or not attackers:
        return Marks()
    side = math.copysign(1, v)
    book, half = lesson.book, lesson.book.width_ft / 2
    base, deep = -book.ring_to_baseline_ft, book.length_ft / 2 - book.ring_to_baseline_ft
    corners = np.array([[base, 0], [deep, 0], [deep, side * half], [base, side * half]], dtype=float)
    area = FloorArea(to_court(corners, book, lesson.end), lesson.settings.attack, 0.14)
    middle = FloorLine(to_court(corners[:2], book, lesson.end), Sort.FLOOR, WHITE, 1.8, Look.DASHED, 0.8)
    vs = to_attack(np.array([b.place_ft for b in attackers]), book, lesson.end)[:, 1] * side
    there = sorted((b for v, b in zip(vs, attackers, strict=True) if v >= MIDDLE_FT), key=lambda b: b.track)
    rings = tuple(
        FloorRing(body.track, body.place_ft, lesson.settings.attack, number=number, badge=Badge.ROUND)
        for number, body in enumerate(there, start=1)
    )
    return Marks(areas=(area,), lines=(middle,), rings=rings)


def _stalled(lesson: Lesson, now: Now) -> Marks:
    """How long the ball has been held."""
    most_s = lesson.tag.candidate.measures.get("still_s", math.nan)
    since_s = min(most_s, now.t_s - lesson.start_s)
    if lesson.main not in now.bodies or not math.isfinite(since_s) or since_s < 0.3:
        return Marks()
    return _beside(lesson, now.bodies, f"held {since_s:.1f} s")


def _left_early(lesson: Lesson, now: Now) -> Marks:
    """How fast the screener still was."""
    speed = lesson.tag.candidate.measures.get("screener_speed_ft_s", math.nan)
    if not math.isfinite(speed) or not (now.held or abs(now.t_s - lesson.tag.candidate.t_s) < 0.5):
        return Marks()
    return _beside(lesson, now.bodies, f"{speed:.1f} ft/s", "screener")


def _dead_dribble(lesson: Lesson, now: Now) -> Marks:
    early_s = lesson.tag.candidate.measures.get("screener_set_after_s", math.nan)
    if not math.isfinite(early_s) or not (now.held or now.t_s >= lesson.tag.candidate.t_s):
        return Marks()
    return _beside(lesson, now.bodies, f"dribble dead {early_s:.1f} s early")


def _wide_curl(lesson: Lesson, now: Now) -> Marks:
    """Where the cut should have pointed, and how wide it was."""
    measures = lesson.tag.candidate.measures
    angle, radius = measures.get("turn_off_ring_deg", math.nan), measures.get("turn_radius_ft", math.nan)
    if lesson.main not in now.bodies or not (now.held or now.t_s >= lesson.tag.candidate.t_s):
        return Marks()
    x, y = ring_ft(lesson.book, lesson.end)
    way = np.array([now.bodies[lesson.main].place_ft, (float(x), float(y))])
    line = FloorLine(way, Sort.MEASURED, WHITE, 1.8, Look.DASHED, 0.8, arrow=True)
    said = [f"{angle:.0f}° off the ring"] if math.isfinite(angle) else []
    said += [f"{radius:.1f} ft wide"] if math.isfinite(radius) else []
    more = _beside(lesson, now.bodies, ", ".join(said)) if said else Marks()
    return Marks(lines=(line,), labels=more.labels)


def _no_movement(lesson: Lesson, now: Now) -> Marks:
    """How far the busiest of the others went."""
    moved = lesson.tag.candidate.measures.get("most_moved_ft", math.nan)
    if not now.held or not math.isfinite(moved):
        return Marks()
    return _beside(lesson, now.bodies, f"others moved {moved:.1f} ft at most")


def _beside(lesson: Lesson, bodies: Mapping[int, Body], text: str, role: str = "") -> Marks:
    """Words beside the main actor, or beside the one in a role."""
    track = next((track for name, track in lesson.tag.actors if name == role), lesson.main)
    if track not in bodies:
        return Marks()
    x, y = bodies[track].place_ft
    places: tuple[Place, ...] = ((x, y - 3.0), (x + 4, y), (x - 4, y), (x, y + 5))
    return Marks(labels=(FloorLabel(places, text, lesson.colour(bodies[track])),))


def _place(point: np.ndarray) -> Place:
    return float(point[0]), float(point[1])


_DRAWN: Mapping[str, Callable[..., Marks]] = {
    "screen_into_traffic": _traffic,
    "shrunk_spacing": _shrunk,
    "overloaded_side": _overloaded,
    "stalled_ball": _stalled,
    "left_early": _left_early,
    "dead_dribble_early": _dead_dribble,
    "wide_curl": _wide_curl,
    "post_up_without_movement": _no_movement,
}
