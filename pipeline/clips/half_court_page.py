"""The half court on paper: its scale, its players, a moment on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.clips.lesson import Lesson
from pipeline.clips.lettering import size_of
from pipeline.clips.marks import FloorLine, Look, Marks, Sort
from pipeline.clips.playback import Body
from pipeline.clips.settings import Colour
from pipeline.court.attack_frame import to_attack
from pipeline.court.geometry import areas
from pipeline.court.rule_books import RuleBook
from pipeline.sets.ink import Anchor, Disc, Mark, Path, Words, words_width
from pipeline.sets.sheet import floor_marks
from pipeline.sets.signs import CIRCLE_FT, INK

PAPER, GREY, BALL = "#fbf8f1", "#6a6a6a", "#c8501e"
LIGHT = 235
"""What is as light as this on film is dark on paper."""

LETTER = 0.72
"""Height of capitals over the size of words."""

CROSS_FT = 1.15
"""Half the size of a defender's cross."""


READ_FT, NUDGE_FT = 3.1, 1.1
"""Circles this near to each other are drawn apart, each by at most the second."""


@dataclass(frozen=True, slots=True)
class HalfCourt:
    """A half court at a place of a page, the ring above, the right as somebody who faces the ring has it.

    Attributes
    ----------
    book : RuleBook
    end : str
        The end that is attacked.
    corner : x, y
        Upper left corner, pixels.
    px_per_ft : float
    depth_ft : float
        How far from the baseline it reaches.
    """

    book: RuleBook
    end: str
    corner: tuple[float, float]
    px_per_ft: float
    depth_ft: float

    @property
    def size_px(self) -> tuple[float, float]:
        """Width and height."""
        return self.book.width_ft * self.px_per_ft, self.depth_ft * self.px_per_ft

    def on_page(self, uv_ft: np.ndarray) -> np.ndarray:
        """Points of the attack frame on the page, (N, 2) pixels."""
        uv = np.asarray(uv_ft, dtype=float)
        x = self.corner[0] + (uv[:, 1] + self.book.width_ft / 2) * self.px_per_ft
        y = self.corner[1] + (uv[:, 0] + self.book.ring_to_baseline_ft) * self.px_per_ft
        return np.column_stack([x, y])

    def of_court(self, xy_ft: np.ndarray) -> np.ndarray:
        """Points of the court frame on the page, (N, 2) pixels."""
        return self.on_page(to_attack(np.atleast_2d(xy_ft), self.book, "left" if self.end == "left" else "right"))

    def shows(self, point_px: np.ndarray, margin_px: float = 0.0) -> bool:
        """Whether a point of the page lies on it."""
        (x, y), (wide, tall) = self.corner, self.size_px
        across = x - margin_px <= point_px[0] <= x + wide + margin_px
        return bool(across and y - margin_px <= point_px[1] <= y + tall + margin_px)

    def inside(self, points_px: np.ndarray) -> np.ndarray:
        """Corners of an area drawn back to the half court's edges."""
        low = np.array(self.corner)
        return np.clip(points_px, low, low + np.array(self.size_px))

    def empty(self) -> list[Mark]:
        """The floor with nobody on it."""
        (x, y), (wide, tall) = self.corner, self.size_px
        box = ((x, y), (x + wide, y), (x + wide, y + tall), (x, y + tall))
        return [Path(box, PAPER, filled=True), *floor_marks(self.on_page, self.book, self.px_per_ft, self.depth_ft)]


def names_of(lesson: Lesson, bodies: Sequence[Body]) -> dict[int, str]:
    """What stands in the attackers' circles: their numbers where all are known, else 1, 2, … in order of the roles."""
    attackers = [body.track for body in bodies if body.role == "player" and body.team == lesson.team >= 0]
    worn = {track: lesson.told.names.get(track, "").split(" ")[0] for track in attackers}
    if attackers and all(worn.values()) and len(set(worn.values())) == len(worn):
        return worn
    order = list(lesson.roles)
    first = sorted(attackers, key=lambda track: (order.index(track) if track in order else len(order), track))
    return {track: str(number) for number, track in enumerate(first, start=1)}


def player_marks(
    lesson: Lesson, court: HalfCourt, bodies: Sequence[Body], names: dict[int, str], holder: int
) -> list[Mark]:
    """Everybody on the floor: circles with numbers for the attack, crosses for the defence, the ball's holder dark.

    Who stands closer to somebody else than can be read is drawn up to :data:`NUDGE_FT` beside his place.
    """
    marks: list[Mark] = []
    unit = court.px_per_ft
    places = court.of_court(_apart([body.place_ft for body in bodies])) if bodies else np.zeros((0, 2))
    for body, at in sorted(zip(bodies, places, strict=True), key=lambda pair: pair[0].team == lesson.team):
        if body.role != "player" or not court.shows(at):
            continue
        x, y = float(at[0]), float(at[1])
        takes_part = body.track in lesson.roles
        if body.team == lesson.team or body.team < 0 or lesson.team < 0:
            has = body.track == holder
            marks.append(Disc((x, y), CIRCLE_FT * unit, INK if has else "#ffffff", INK, 0.26 * unit))
            name = names.get(body.track, "")
            marks.append(Words((x, y), name, 2.2 * unit, "#ffffff" if has else INK, Anchor.MIDDLE, bold=True))
        else:
            half = CROSS_FT * unit
            colour = INK if takes_part else GREY
            for turn in (1, -1):
                arm = ((x - half, y - turn * half), (x + half, y + turn * half))
                marks.append(Path(arm, colour, 0.3 * unit))
    return marks


def teaching_marks(marks: Marks, court: HalfCourt, sorts: Sequence[Sort]) -> list[Mark]:
    """Areas, lines of some sorts and spots of a moment, as ink on paper."""
    found: list[Mark] = []
    unit = court.px_per_ft
    for area in marks.areas:
        points = court.inside(court.of_court(area.points_ft))
        found.append(Path(_points(points), _tint(area.colour, area.strength), filled=True))
    for line in marks.lines:
        if line.sort in sorts:
            found += _line(line, court)
    for spot in marks.spots:
        x, y = court.of_court(np.array([spot.place_ft]))[0]
        for turn in (1, -1):
            arm = ((x - unit, y - turn * unit), (x + unit, y + turn * unit))
            found.append(Path(arm, _deep(spot.colour), 0.35 * unit))
    return found


def label_marks(marks: Marks, court: HalfCourt, bodies: Sequence[Body], size: float) -> list[Mark]:
    """Words of a moment on white ground, at the first of their places where they cover nobody and stay on the page."""
    taken = [court.of_court(np.array([body.place_ft]))[0] for body in bodies if body.role == "player"]
    reach = CIRCLE_FT * court.px_per_ft
    rects = [(x - reach, y - reach, x + reach, y + reach) for x, y in taken]
    found: list[Mark] = []
    for label in marks.labels:
        wide = max(words_width(label.text, size) * 1.06, size_of(label.text, LETTER * size, bold=True)[0]) + 0.8 * size
        tall = 1.5 * size
        for shift in ((0, 0), (0, 1), (0, -1), (1, 0), (-1, 0), (0.8, 1), (-0.8, 1), (0.8, -1), (-0.8, -1), (0, 2)):
            spots = court.of_court(np.array(label.places_ft))
            spot = next((p for p in spots if _fits(p, shift, wide, tall, court, rects)), None)
            if spot is None:
                continue
            x1, y1, x2, y2 = _rect(spot, shift, wide, tall)
            box = ((x1, y1), (x2, y1), (x2, y2), (x1, y2))
            found.append(Path(box, "#ffffff", filled=True))
            found.append(Path((*box, box[0]), INK, 0.8))
            middle = ((x1 + x2) / 2, (y1 + y2) / 2)
            found.append(Words(middle, label.text, size, INK, Anchor.MIDDLE, bold=True))
            rects.append((x1, y1, x2, y2))
            break
    return found


def crowd_marks(lesson: Lesson, court: HalfCourt) -> list[Mark]:
    """The paint lit, for bodies that are counted in it."""
    paint = court.of_court(areas(lesson.book)[f"paint_{lesson.end}"])
    return [Path(_points(paint), _tint(lesson.settings.paint, lesson.settings.paint_strength), filled=True)]


def count_marks(lesson: Lesson, court: HalfCourt, bodies: Sequence[Body], tracks: Sequence[int]) -> list[Mark]:
    """A ring round everybody who is counted."""
    unit = court.px_per_ft
    found: list[Mark] = []
    turn = np.linspace(0, 2 * np.pi, 33)
    for body in bodies:
        if body.track in tracks:
            x, y = court.of_court(np.array([body.place_ft]))[0]
            circle = np.column_stack([np.cos(turn), np.sin(turn)]) * 2.35 * unit + np.array([x, y])
            found.append(Path(_points(circle), _deep(lesson.colour(body)), 0.5 * unit))
    return found


def _apart(places_ft: Sequence[tuple[float, float]]) -> np.ndarray:
    """Places with a little more room between those who stand on each other, (N, 2) ft."""
    own = np.array(places_ft, dtype=float)
    moved = own.copy()
    for _ in range(6):
        gaps = moved[:, None] - moved[None]
        apart = np.hypot(gaps[..., 0], gaps[..., 1]) + np.eye(len(own)) * 1e9
        push = np.clip(READ_FT - apart, 0, None) / 2
        moved += (gaps / np.maximum(apart, 0.05)[..., None] * push[..., None]).sum(axis=1) * 0.5
        off = moved - own
        far = np.maximum(1.0, np.hypot(*off.T) / NUDGE_FT)
        moved = own + off / far[:, None]
    return moved


def _fits(
    spot: np.ndarray,
    shift: tuple[float, float],
    wide: float,
    tall: float,
    court: HalfCourt,
    rects: Sequence[tuple[float, float, float, float]],
) -> bool:
    own = _rect(spot, shift, wide, tall)
    inside = court.shows(np.array(own[:2])) and court.shows(np.array(own[2:]))
    return inside and not any(
        own[0] < other[2] and other[0] < own[2] and own[1] < other[3] and other[1] < own[3] for other in rects
    )


def _rect(spot: np.ndarray, shift: tuple[float, float], wide: float, tall: float) -> tuple[float, float, float, float]:
    x, y = float(spot[0]) + shift[0] * wide, float(spot[1]) + shift[1] * tall
    return x - wide / 2, y - tall / 2, x + wide / 2, y + tall / 2


def _line(line: FloorLine, court: HalfCourt) -> list[Mark]:
    points = court.inside(court.of_court(line.points_ft))
    colour, width = _deep(line.colour), 0.09 * line.width * court.px_per_ft
    if min(line.colour) > LIGHT:
        colour = INK if line.sort is Sort.MEASURED else GREY
    if line.look is Look.SOLID:
        return [Path(_points(points), colour, width)]
    steps = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    dash, gap = (1.4, 1.0) if line.look is Look.DASHED else (0.4, 0.8)
    dash, gap = dash * court.px_per_ft, gap * court.px_per_ft
    found: list[Mark] = []
    for start in np.arange(0.0, steps[-1], dash + gap):
        at = np.linspace(start, min(start + dash, steps[-1]), 4)
        piece = np.column_stack([np.interp(at, steps, points[:, axis]) for axis in (0, 1)])
        found.append(Path(_points(piece), colour, width))
    return found


def _points(points: np.ndarray) -> tuple[tuple[float, float], ...]:
    return tuple((float(x), float(y)) for x, y in points)


def _tint(colour: Colour, strength: float) -> str:
    """A colour laid thinly on the paper."""
    paper = tuple(int(PAPER[n : n + 2], 16) for n in (1, 3, 5))
    mixed = [round(p + (c - p) * strength) for p, c in zip(paper, colour, strict=True)]
    return "#{:02x}{:02x}{:02x}".format(*mixed)


def _deep(colour: Colour) -> str:
    """A colour dark enough for thin lines on paper."""
    share = min(1.0, 430 / max(1, sum(colour)))
    return "#{:02x}{:02x}{:02x}".format(*(round(c * share) for c in colour))
