"""Marks painted on a picture of the film: on the floor behind the people, words where they cover nobody."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import cv2
import numpy as np

from pipeline.clips.captions import Rect, caption_size, corner_for, draw_caption, meet, rows_of, shade
from pipeline.clips.floor_drawing import Canvas, FloorLook, badge, canvas, fill_area, learn_floor, line, lines, ring
from pipeline.clips.lesson import Lesson
from pipeline.clips.lettering import size_of, write
from pipeline.clips.marks import Badge, FloorLabel, FloorLine, FloorRing, Look, Marks, Place
from pipeline.clips.playback import Body
from pipeline.clips.settings import ClipSettings, Colour
from pipeline.court.camera import Camera
from pipeline.court.geometry import areas, board_corners_ft, ring_centre_ft
from pipeline.film.decode import Frame

DARK: Colour = (0, 0, 0)
DASH_FT, GAP_FT = 1.6, 1.1
DOT_FT, DOT_GAP_FT = 0.5, 0.9
HEAD_FT = 1.8


class FloorDrawing:
    """Draws a lesson on every frame of its clip; see :class:`~pipeline.clips.cutting.Drawing`.

    A frame whose camera is not known is shown as it is.
    """

    def __init__(self, lesson: Lesson, graphics: Sequence[Rect] = ()) -> None:
        self._lesson = lesson
        self._graphics = graphics
        self._corner: tuple[float, float] | None = None
        self._look: FloorLook | None = None

    def draw(self, frame: Frame) -> np.ndarray:
        """The frame with what goes on in it."""
        return self._drawn(frame, self._lesson.marks(frame.t_s))

    def hold(self, frame: Frame) -> np.ndarray:
        """A moment that stands still, with all that is to be read of it."""
        return self._drawn(frame, self._lesson.marks(frame.t_s, held=True))

    def _drawn(self, frame: Frame, marks: Marks) -> np.ndarray:
        lesson = self._lesson
        camera = lesson.playback.camera(frame.t_s)
        if camera is None:
            return frame.image
        half = areas(lesson.book)[f"three_point_{lesson.end}"]
        bodies = lesson.playback.bodies(frame.t_s)
        if self._corner is None:  # chosen once, so that it does not jump
            self._corner = quiet_corner(lesson, frame.image.shape, self._graphics)
        if self._look is None:  # learnt once: a hall's floor keeps its colours
            boxes = [body.box_px for body in bodies if body.box_px is not None]
            self._look = learn_floor(frame.image, camera, half, boxes, lesson.settings)
        ball_px = lesson.playback.ball_px(frame.t_s)
        return paint_marks(frame.image, camera, self._look, bodies, marks, lesson.settings, self._corner, ball_px)


def quiet_corner(lesson: Lesson, shape: tuple[int, ...], graphics: Sequence[Rect]) -> tuple[float, float]:
    """Where the caption of a lesson covers least of the ring and of those who take part, from its start to its end."""
    height, width = shape[:2]
    text_px = lesson.settings.text_share * height
    step = "0" * 24 if lesson.told.steps else ""
    rows = rows_of(lesson.told.title, lesson.told.said, step, width, text_px)
    people: list[Rect] = []
    corners_ft = np.vstack([board_corners_ft(lesson.book, lesson.end), ring_centre_ft(lesson.book, lesson.end)])
    for t_s in np.linspace(lesson.start_s, lesson.end_s, 10):
        camera = lesson.playback.camera(float(t_s))
        board = camera.project(corners_ft) if camera is not None else np.full((1, 2), np.nan)
        if np.isfinite(board).all():
            (left, top), (right, foot) = board.min(axis=0).tolist(), board.max(axis=0).tolist()
            people += [(left, top, right, foot)] * 4
        for body in lesson.playback.bodies(float(t_s)):
            if body.box_px is not None:
                people += [_wider(body.box_px)] * 3 if body.track in lesson.roles else [body.box_px]
    return corner_for(caption_size(rows, text_px), (width, height), people, graphics)


def _wider(box: Rect) -> Rect:
    """A box with room for what is drawn round somebody who takes part."""
    x1, y1, x2, y2 = box
    across, down = 0.5 * (x2 - x1), 0.2 * (y2 - y1)
    return x1 - across, y1 - down, x2 + across, y2 + down


def paint_marks(
    picture: np.ndarray,
    camera: Camera,
    look: FloorLook,
    bodies: Sequence[Body],
    marks: Marks,
    settings: ClipSettings,
    corner_px: tuple[float, float],
    ball_px: tuple[float, float] | None = None,
) -> np.ndarray:
    """Draw marks over a copy of a picture.

    Parameters
    ----------
    picture : ndarray of shape (H, W, 3), uint8, BGR
    camera : Camera
    look : FloorLook
        What passes for floor; the rest stays in front of the drawing.
    bodies : sequence of Body
    marks : Marks
    settings : ClipSettings
    corner_px : x, y
        Upper left corner of the caption.
    ball_px : x, y, optional
        The ball, which no words may cover.

    Returns
    -------
    ndarray of shape (H, W, 3), uint8
    """
    boxes = [body.box_px for body in bodies if body.box_px is not None]
    on = canvas(picture, camera, np.zeros((0, 2)), boxes, settings, look)
    for area in marks.areas:
        fill_area(on, area.points_ft, area.colour, area.strength)
    for one in marks.lines:
        _paint_line(on, one)
    for one_ring in marks.rings:
        ring(on, one_ring.place_ft, settings.ring_radius_ft, one_ring.colour, 2.0)
        if one_ring.main:
            ring(on, one_ring.place_ft, 1.45 * settings.ring_radius_ft, one_ring.colour, 1.2)
    for spot in marks.spots:
        for turn in (1, -1):
            arm = np.array([[-0.9, -0.9 * turn], [0.9, 0.9 * turn]]) + np.array(spot.place_ft)
            _edged(on, arm, spot.colour, 3.0, 1.0)
    text_px = settings.text_share * picture.shape[0]
    layout = _Layout(on, _kept_clear(bodies, marks, ball_px, text_px))
    rows = rows_of(marks.title, marks.said, marks.step, picture.shape[1], text_px)
    if rows:
        layout.take(draw_caption(on.picture, rows, corner_px, text_px))
    _badges(on, marks.rings, settings, 0.75 * text_px, layout)
    words = [
        (FloorLabel(_around(one.place_ft, settings.ring_radius_ft), one.word, one.colour), 0.7 * text_px, one.place_ft)
        for one in marks.rings
        if one.word
    ]
    placed = [
        (label, rect, size, of_ft)
        for label, size, of_ft in (*words, *((label, 0.8 * text_px, None) for label in marks.labels))
        if (rect := _placed(label, size, layout)) is not None
    ]
    for label, rect, _, of_ft in placed:
        if of_ft is not None:
            _lead(on, rect, of_ft, label.colour)
    for label, rect, size, _ in placed:
        shade(on.picture, rect)
        write(on.picture, label.text, (rect[0] + 0.45 * size, rect[3] - 0.45 * size), size, label.colour, bold=True)
    return on.picture


# Lines --------------------------------------------------------------------------------------------


def _paint_line(on: Canvas, one: FloorLine) -> None:
    points = _dense(one.points_ft)
    if len(points) < 2:
        return
    shaft = points
    if one.arrow:
        back = np.hypot(*(points - points[-1]).T)
        shaft = points[back >= 0.6 * HEAD_FT]
    if one.look is Look.FADING:
        count = min(6, len(shaft) - 1)
        edges = np.linspace(0, max(0, len(shaft) - 1), max(0, count) + 1).astype(int)
        for number in range(count):
            part = shaft[edges[number] : edges[number + 1] + 1]
            _edged(on, part, one.colour, one.width, one.strength * (number + 1.0) / count)
    elif one.look is Look.SOLID:
        _edged(on, shaft, one.colour, one.width, one.strength)
    else:
        dash, gap = (DASH_FT, GAP_FT) if one.look is Look.DASHED else (DOT_FT, DOT_GAP_FT)
        pieces = [piece for piece in _dashes(shaft, dash, gap) if len(piece) > 1]
        lines(on, pieces, DARK, one.width + 1.6, 0.45 * one.strength)
        lines(on, pieces, one.colour, one.width, one.strength)
    if one.arrow and len(points) > 2:
        head = _head(points)
        fill_area(on, head, DARK, 0.5 * one.strength)
        fill_area(on, head, one.colour, one.strength)


def _edged(on: Canvas, points: np.ndarray, colour: Colour, width: float, strength: float) -> None:
    if len(points) > 1:
        line(on, points, DARK, width + 1.6, 0.45 * strength)
        line(on, points, colour, width, strength)


def _dense(points: np.ndarray) -> np.ndarray:
    """The same line with a point every tenth of a foot."""
    steps = np.hypot(*np.diff(points, axis=0).T)
    keep = np.concatenate([[True], steps > 1e-9])
    reached = np.concatenate([[0.0], np.cumsum(steps)])[keep]
    if reached[-1] < 0.1:
        return points[:1]
    at = np.linspace(0, reached[-1], max(2, round(reached[-1] * 10)))
    return np.column_stack([np.interp(at, reached, points[keep, axis]) for axis in (0, 1)])


def _dashes(points: np.ndarray, dash_ft: float, gap_ft: float) -> list[np.ndarray]:
    """Pieces of a dense line, the last of them at its end."""
    per_ft = 10
    whole, dash = round((dash_ft + gap_ft) * per_ft), round(dash_ft * per_ft)
    ends = range(len(points), 0, -whole)
    return [points[max(0, end - dash) : end] for end in ends]


def _head(points: np.ndarray) -> np.ndarray:
    tip = points[-1]
    base = points[max(0, len(points) - 1 - round(10 * HEAD_FT))]
    along = (tip - base) / max(float(np.hypot(*(tip - base))), 1e-9)
    side = np.array([-along[1], along[0]])
    return np.array([tip, tip - HEAD_FT * along + 0.75 * side, tip - HEAD_FT * along - 0.75 * side])


# Words --------------------------------------------------------------------------------------------


@dataclass
class _Layout:
    """Where words may still go."""

    on: Canvas
    taken: list[Rect] = field(default_factory=list)

    def free(self, rect: Rect) -> bool:
        height, width = self.on.picture.shape[:2]
        inside = rect[0] >= 2 and rect[1] >= 2 and rect[2] <= width - 2 and rect[3] <= height - 2
        return inside and not any(meet(rect, other) for other in self.taken)

    def take(self, rect: Rect) -> None:
        self.taken.append(rect)


def _kept_clear(
    bodies: Sequence[Body], marks: Marks, ball_px: tuple[float, float] | None, text_px: float
) -> list[Rect]:
    """What words must not cover: the ball, and those who take part from head to hips, the others' heads."""
    part = {one.track for one in marks.rings}
    kept = []
    for body in bodies:
        if body.box_px is not None:
            x1, y1, x2, y2 = body.box_px
            share = 0.62 if body.track in part else 0.3
            kept.append((x1, y1, x2, y1 + share * (y2 - y1)))
    if ball_px is not None:
        x, y = ball_px
        kept.append((x - text_px, y - text_px, x + text_px, y + text_px))
    return kept


def _badges(on: Canvas, rings: Sequence[FloorRing], settings: ClipSettings, text_px: float, layout: _Layout) -> None:
    for one in sorted(rings, key=lambda ring: -ring.place_ft[1]):
        if not one.number:
            continue
        front = on.camera.project_floor(np.array([[one.place_ft[0], one.place_ft[1] - settings.ring_radius_ft]]))[0]
        if np.isfinite(front).all():
            at = float(front[0]), float(front[1]) + 0.6 * text_px
            badge(on, at, str(one.number), one.colour, "square" if one.badge is Badge.SQUARE else "round", text_px)
            layout.take((at[0] - text_px, at[1] - text_px, at[0] + text_px, at[1] + text_px))


def _placed(label: FloorLabel, text_px: float, layout: _Layout) -> Rect | None:
    """The first place where words cover nothing, taken; None where there is none."""
    wide, tall = size_of(label.text, text_px, bold=True)
    half = np.array([wide / 2, tall / 2]) + 0.45 * text_px
    places = layout.on.camera.project_floor(np.array(label.places_ft))
    for shift in _SHIFTS:
        for at in places[np.isfinite(places).all(axis=1)]:
            x, y = (at + np.array(shift) * half).tolist()
            rect = (x - half[0], y - half[1], x + half[0], y + half[1])
            if layout.free(rect):
                layout.take(rect)
                return rect
    return None


_SHIFTS = ((0, 0), (0, 2.4), (0, -2.4), (2.2, 0), (-2.2, 0), (1.6, 2.4), (-1.6, 2.4), (1.6, -2.4), (-1.6, -2.4), (0, 5))
"""Where words may go from their place, in halves of their own size."""


def _lead(on: Canvas, rect: Rect, of_ft: Place, colour: Colour) -> None:
    """A thin line from the edge of words to the place that they are of."""
    target = on.camera.project_floor(np.array([of_ft]))[0]
    if not np.isfinite(target).all():
        return
    near = np.clip(target, rect[:2], rect[2:])
    ends = np.rint([near, target]).astype(int)
    thick = max(1, round(on.unit_px))
    for colour_bgr, grown in ((DARK, 2), (colour[::-1], 0)):
        cv2.line(on.picture, ends[0].tolist(), ends[1].tolist(), colour_bgr, thick + grown, cv2.LINE_AA)


def _around(place: Place, radius_ft: float) -> tuple[Place, ...]:
    """Places for a body's name: in front of its feet first."""
    x, y = place
    reach = radius_ft + 1.2
    return ((x, y - reach), (x + 2.4 * reach, y), (x - 2.4 * reach, y), (x, y + 2 * reach))
