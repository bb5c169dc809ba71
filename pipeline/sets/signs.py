"""The trade's signs as lines on paper: solid for a cut, dashed for a pass, wavy for a dribble, a bar for a screen,
two strokes for a handoff, a double line for a shot."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np

from pipeline.sets.ink import Mark, Path
from pipeline.sets.moving import Sign, Stroke

INK, MAY = "#1b1b1b", "#8a8a8a"
"""Colours of lines, and of those that may be left out."""

CIRCLE_FT = 1.75
"""Radius of a player's circle."""

LEAST_BEND_PX = 0.06
"""Points of a line that lie nearer than this to its way without them are left out."""

_WAVE_FT, _SWING_FT = 2.3, 0.62
_DASH_FT, _GAP_FT = 1.5, 1.0
_ARROW_FT = 1.7
_BAR_FT = 2.3
_DOUBLE_FT = 0.28
_STEP_FT = 0.15


def stroke_marks(stroke: Stroke, on_page: Callable[[np.ndarray], np.ndarray], width: float) -> list[Mark]:
    """The marks of a stroke.

    Parameters
    ----------
    stroke : Stroke
    on_page : callable
        From points (N, 2) in the attack frame to points on the page.
    width : float
        Of the line, pixels.
    """
    colour = MAY if stroke.optional else INK

    def line(points: np.ndarray) -> Path:
        fewer = cv2.approxPolyDP(on_page(points).astype(np.float32)[:, None], LEAST_BEND_PX, closed=False)[:, 0]
        return Path(tuple((float(x), float(y)) for x, y in fewer), colour, width)

    if stroke.sign is Sign.HANDOFF:
        return [line(points) for points in _across(np.array(stroke.way))]
    way = _trimmed(_smooth(np.array(stroke.way)), stroke.sign)
    if len(way) < 2:
        return []
    if stroke.sign is Sign.SCREEN:
        return [line(way), line(_bar(way[-1], stroke.faces))]
    shaft_end = _shorter(way, (0.5 if stroke.sign is Sign.SHOT else 0.8) * _ARROW_FT)
    marks: list[Mark]
    if stroke.sign is Sign.PASS:
        marks = [line(part) for part in _dashes(shaft_end)]
    elif stroke.sign is Sign.SHOT:
        marks = [line(shaft_end + side * _normals(shaft_end)) for side in (-_DOUBLE_FT, _DOUBLE_FT)]
    elif stroke.sign is Sign.DRIBBLE:
        marks = [line(_wavy(shaft_end))]
    else:
        marks = [line(shaft_end)]
    head = on_page(_head(way))
    return [*marks, Path(tuple((float(x), float(y)) for x, y in head), colour, filled=True)]


def _smooth(way: np.ndarray) -> np.ndarray:
    """A curve through the points of a way, (N, 2): Bézier curves with Catmull-Rom handles, dense.

    Catmull, E., Rom, R., A class of local interpolating splines, 1974.
    """
    if len(way) == 2:
        return _dense(way)
    padded = np.vstack([2 * way[0] - way[1], way, 2 * way[-1] - way[-2]])
    parts = []
    t = np.linspace(0, 1, 24)[:, None]
    for i in range(1, len(padded) - 2):
        p0, p1, p2, p3 = padded[i - 1 : i + 3]
        parts.append(
            0.5 * (2 * p1 + (p2 - p0) * t + (2 * p0 - 5 * p1 + 4 * p2 - p3) * t**2 + (3 * p1 - p0 - 3 * p2 + p3) * t**3)
        )
    return _dense(np.vstack(parts))


def _dense(way: np.ndarray) -> np.ndarray:
    steps = np.hypot(*np.diff(way, axis=0).T)
    reached = np.concatenate([[0.0], np.cumsum(steps)])
    keep = np.concatenate([[True], steps > 1e-9])
    if reached[-1] < 1e-9:
        return way[:1]
    at = np.linspace(0, reached[-1], max(2, round(reached[-1] / _STEP_FT)))
    return np.column_stack([np.interp(at, reached[keep], way[keep, axis]) for axis in (0, 1)])


def _trimmed(way: np.ndarray, sign: Sign) -> np.ndarray:
    """The way from circle to circle: a pass ends at the receiver's, every line starts outside of its own."""
    start, end = np.hypot(*(way - way[0]).T), np.hypot(*(way - way[-1]).T)
    first = int(np.argmax(start > CIRCLE_FT + 0.25)) if (start > CIRCLE_FT + 0.25).any() else len(way)
    last = len(way)
    if sign is Sign.PASS:
        outside = np.flatnonzero(end > CIRCLE_FT + 0.35)
        last = int(outside[-1]) + 1 if len(outside) else 0
    return way[first:last]


def _shorter(way: np.ndarray, by_ft: float) -> np.ndarray:
    end = np.hypot(*(way - way[-1]).T)
    outside = np.flatnonzero(end >= by_ft)
    return way[: max(2, int(outside[-1]) + 1)] if len(outside) else way[:2]


def _normals(way: np.ndarray) -> np.ndarray:
    along = np.gradient(way, axis=0)
    along /= np.maximum(np.hypot(*along.T), 1e-9)[:, None]
    return np.column_stack([-along[:, 1], along[:, 0]])


def _reached(way: np.ndarray) -> np.ndarray:
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(way, axis=0).T))])


def _wavy(way: np.ndarray) -> np.ndarray:
    reached = _reached(way)
    waves = max(1, round(reached[-1] / _WAVE_FT))
    calm = np.clip(np.minimum(reached, reached[-1] - reached) / 0.8, 0, 1)
    swing = _SWING_FT * calm * np.sin(2 * np.pi * waves * reached / max(reached[-1], 1e-9))
    return way + swing[:, None] * _normals(way)


def _dashes(way: np.ndarray) -> list[np.ndarray]:
    reached = _reached(way)
    phase = np.mod(reached, _DASH_FT + _GAP_FT)
    on = phase <= _DASH_FT
    cuts = np.flatnonzero(np.diff(on.astype(int)) != 0) + 1
    return [
        part for part in np.split(way, cuts) if len(part) > 1 and np.mod(_at(way, part), _DASH_FT + _GAP_FT) <= _DASH_FT
    ]


def _at(way: np.ndarray, part: np.ndarray) -> float:
    """How far along the way a part of it has its middle."""
    middle = part[len(part) // 2]
    return float(_reached(way)[int(np.argmin(np.hypot(*(way - middle).T)))])


def _head(way: np.ndarray) -> np.ndarray:
    tip = way[-1]
    back = way[max(0, len(way) - 1 - round(_ARROW_FT / _STEP_FT))]
    along = tip - back
    along = along / max(float(np.hypot(*along)), 1e-9)
    side = np.array([-along[1], along[0]])
    base = tip - _ARROW_FT * along
    return np.array([tip, base + 0.62 * side, base - 0.62 * side])


def _bar(at: np.ndarray, faces: float) -> np.ndarray:
    """The bar of a screen, across the way that the screener looks."""
    across = np.array([-np.sin(faces), np.cos(faces)])
    return np.array([at - _BAR_FT * across, at + _BAR_FT * across])


def _across(way: np.ndarray) -> list[np.ndarray]:
    """Two short strokes between giver and receiver."""
    along = way[-1] - way[0]
    along = along / max(float(np.hypot(*along)), 1e-9)
    side = np.array([-along[1], along[0]])
    middle = way.mean(axis=0)
    return [np.array([middle + d * along - 1.1 * side, middle + d * along + 1.1 * side]) for d in (-0.35, 0.35)]
