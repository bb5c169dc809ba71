"""Draw on the floor of a picture, behind the people who stand on it.

Shapes are given in feet on the court's floor and go through the camera, lens included. Inside the
people's boxes the paint only takes where the picture looks like floor, so bodies stay in front of it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from pipeline.clips.lettering import size_of, write
from pipeline.clips.settings import ClipSettings, Colour
from pipeline.court.attack_frame import End
from pipeline.court.camera import Camera
from pipeline.court.geometry import areas, markings
from pipeline.court.rule_books import RuleBook

STEP_FT = 0.5
"""Distance between the points of a line on the floor, so that it bends with the lens."""

FAR_PX = 20_000.0
"""Points further out than this are not drawn; OpenCV's fixed point would overflow."""

SHIFT = 4
"""Fractional bits of OpenCV's fixed-point pixels."""

FLOOR_COLOURS = 4
"""How many colours the floor around the paint is taken to have (paint, wood, lines, a mark)."""


LEAST_FLOOR_PX = 200
"""Bare floor that must be seen for its colours to be learnt."""

LOOK_BITS = 6
"""Colours are told apart by so many bits of each channel."""


@dataclass(frozen=True, slots=True, eq=False)
class FloorLook:
    """What passes for floor by its colour.

    Attributes
    ----------
    likeness : ndarray of shape (2 ** (3 * LOOK_BITS),), uint8, or None
        How much a colour is like the floor's, by the upper bits of blue, green and red; None where too little floor was
        seen, and everything passes.
    """

    likeness: np.ndarray | None


@dataclass(frozen=True, slots=True, eq=False)
class Canvas:
    """A picture to draw on.

    Attributes
    ----------
    picture : ndarray of shape (H, W, 3), uint8
        BGR; drawn on in place.
    camera : Camera
    floor : ndarray of shape (H, W), float32
        How far each pixel shows the floor: 1 outside the people's boxes, less on a body.
    """

    picture: np.ndarray
    camera: Camera
    floor: np.ndarray

    @property
    def unit_px(self) -> float:
        """A line's width that suits the picture: 1 at 540 lines."""
        return max(1.0, self.picture.shape[0] / 540)


def canvas(
    picture: np.ndarray,
    camera: Camera,
    area_ft: np.ndarray,
    boxes_px: Sequence[tuple[float, float, float, float]],
    settings: ClipSettings,
    look: FloorLook | None = None,
) -> Canvas:
    """A copy of a picture, ready to be drawn on.

    Parameters
    ----------
    picture : ndarray of shape (H, W, 3), uint8
    camera : Camera
    area_ft : ndarray of shape (N, 2)
        The part of the floor that will be drawn on; its colours are learnt there.
    boxes_px : sequence of x1, y1, x2, y2
        The people.
    look : FloorLook, optional
        The floor's colours where they are known, as from an earlier frame; learnt from the picture otherwise.
    """
    known = look if look is not None else learn_floor(picture, camera, area_ft, boxes_px, settings)
    return Canvas(picture.copy(), camera, _floor_share(picture, boxes_px, known))


def fill_area(on: Canvas, area_ft: np.ndarray, colour: Colour, strength: float) -> None:
    """Lay a translucent colour over an area of the floor."""
    outline = on_picture(_closed(area_ft), on.camera)
    outline = outline[_drawable(outline)]
    window = _window(on, outline, 2)
    if window is None or len(outline) < 3:
        return
    mask = np.zeros(window.shape, dtype=np.uint8)
    cv2.fillPoly(mask, [_fixed(outline - window.corner)], 255, cv2.LINE_AA, shift=SHIFT)
    _blend(on, window, mask, strength, colour)


def line(on: Canvas, points_ft: np.ndarray, colour: Colour, width: float, strength: float = 1.0) -> None:
    """Draw an open line on the floor, ``width`` in the picture's units."""
    lines(on, [points_ft], colour, width, strength)


def lines(on: Canvas, parts_ft: Sequence[np.ndarray], colour: Colour, width: float, strength: float = 1.0) -> None:
    """Draw several open lines on the floor at once, as the dashes of one."""
    dense = [_dense(np.asarray(points, dtype=np.float64)) for points in parts_ft if len(points)]
    if not dense:
        return
    px = on.camera.project_floor(np.vstack(dense))
    good = _drawable(px)
    thickness = max(1, round(width * on.unit_px))
    window = _window(on, px[good], thickness + 2)
    if window is None:
        return
    mask = np.zeros(window.shape, dtype=np.uint8)
    cuts = np.cumsum([len(points) for points in dense])
    runs = []
    for first, last in zip([0, *cuts], cuts, strict=False):
        for part in np.split(np.arange(first, last), np.flatnonzero(~good[first:last])):
            kept = part[good[part]]
            if len(kept) > 1:
                runs.append(_fixed(px[kept] - window.corner))
    cv2.polylines(mask, runs, isClosed=False, color=255, thickness=thickness, lineType=cv2.LINE_AA, shift=SHIFT)
    _blend(on, window, mask, strength, colour)


def ring(on: Canvas, place_ft: tuple[float, float], radius_ft: float, colour: Colour, width: float) -> None:
    """Draw a ring on the floor around a body, with a faint disc in it."""
    turn = np.linspace(0, 2 * np.pi, 49)
    circle = np.array(place_ft) + radius_ft * np.column_stack([np.cos(turn), np.sin(turn)])
    fill_area(on, circle, colour, 0.25)
    line(on, circle, (0, 0, 0), width + 1.6, 0.55)
    line(on, circle, colour, width)


def on_picture(points_ft: np.ndarray, camera: Camera) -> np.ndarray:
    """A polyline on the floor as picture points, (N, 2) pixels; NaN behind the camera."""
    return camera.project_floor(_dense(np.asarray(points_ft, dtype=np.float64)))


def _dense(corners: np.ndarray) -> np.ndarray:
    """The same line with a point every half foot at least, so that it bends with the lens."""
    steps = np.hypot(*np.diff(corners, axis=0).T)
    if len(corners) < 2 or steps.max() <= STEP_FT:
        return corners
    reached = np.concatenate([[0.0], np.cumsum(steps)])
    along = np.union1d(np.arange(0, reached[-1], STEP_FT), reached)
    return np.column_stack([np.interp(along, reached, corners[:, axis]) for axis in (0, 1)])


def paint_outline(book: RuleBook, end: End) -> np.ndarray:
    """The attacked paint's corners, (4, 2) ft."""
    return areas(book)[f"paint_{end}"]


def fill_colour(on: Canvas, area_ft: np.ndarray, settings: ClipSettings) -> Colour:
    """Of the two colours for the paint the one that is further (CIELAB) from the floor's own colour there."""
    outline = on_picture(_closed(area_ft), on.camera)
    outline = outline[_drawable(outline)]
    window = _window(on, outline, 0)
    if window is None or len(outline) < 3:
        return settings.paint
    mask = np.zeros(window.shape, dtype=np.uint8)
    cv2.fillPoly(mask, [_fixed(outline - window.corner)], 1, shift=SHIFT)
    bare = on.picture[window.place][(mask == 1) & (on.floor[window.place] == 1)]
    if not len(bare):
        return settings.paint
    floor, first, second = _lab(
        np.array([np.median(bare, axis=0), settings.paint[::-1], settings.paint_other[::-1]], dtype=np.float32)
    )
    return settings.paint if np.linalg.norm(first - floor) >= np.linalg.norm(second - floor) else settings.paint_other


def lane_lines(book: RuleBook, end: End) -> list[np.ndarray]:
    """The painted lines of one end's lane and free-throw line, polylines in feet."""
    half = book.length_ft / 2
    return [
        _closed(m.points_ft) if m.closed else m.points_ft
        for m in markings(book)
        if m.kind in ("lane", "free_throw_line") and (m.points_ft[:, 0].mean() < half) == (end == "left")
    ]


def badge(on: Canvas, centre_px: tuple[float, float], text: str, colour: Colour, shape: str, text_px: float) -> None:
    """A number on a disc (``"round"``) or a square (``"square"``), upright in the picture."""
    width, height = size_of(text, text_px, bold=True)
    half = round(0.85 * max(width, height) / 2 + 0.35 * text_px)
    x = round(min(max(half + 2, centre_px[0]), on.picture.shape[1] - half - 3))
    y = round(min(max(half + 2, centre_px[1]), on.picture.shape[0] - half - 3))
    bgr = colour[::-1]
    for grown, fill in ((round(on.unit_px), (20, 20, 20)), (0, bgr)):
        if shape == "round":
            cv2.circle(on.picture, (x, y), half + grown, fill, cv2.FILLED, cv2.LINE_AA)
        else:
            corner = half - 1 + grown
            cv2.rectangle(on.picture, (x - corner, y - corner), (x + corner, y + corner), fill, cv2.FILLED)
    ink = (20, 20, 20) if sum(colour) > 330 else (255, 255, 255)
    write(on.picture, text, (x - width / 2, y + height / 2), text_px, ink, bold=True)


@dataclass(frozen=True, slots=True, eq=False)
class _Window:
    """The part of a picture that a shape touches."""

    x: int
    y: int
    shape: tuple[int, int]

    @property
    def corner(self) -> np.ndarray:
        return np.array([self.x, self.y], dtype=np.float64)

    @property
    def place(self) -> tuple[slice, slice]:
        return slice(self.y, self.y + self.shape[0]), slice(self.x, self.x + self.shape[1])


def _window(on: Canvas, px: np.ndarray, margin: int) -> _Window | None:
    if not len(px):
        return None
    height, width = on.picture.shape[:2]
    x1, y1 = np.maximum(np.floor(px.min(axis=0)).astype(int) - margin, 0)
    x2, y2 = np.minimum(np.ceil(px.max(axis=0)).astype(int) + margin + 1, (width, height))
    return _Window(int(x1), int(y1), (int(y2 - y1), int(x2 - x1))) if x1 < x2 and y1 < y2 else None


def _blend(on: Canvas, window: _Window, mask: np.ndarray, strength: float, colour: Colour) -> None:
    """Mix a colour into the floor of a window, in place."""
    weight = (mask.astype(np.float32) * np.float32(strength / 255) * on.floor[window.place])[..., None]
    under = on.picture[window.place]
    mixed = under + (np.array(colour[::-1], dtype=np.float32) - under) * weight
    on.picture[window.place] = np.rint(mixed).astype(np.uint8)


def learn_floor(
    picture: np.ndarray,
    camera: Camera,
    area_ft: np.ndarray,
    boxes_px: Sequence[tuple[float, float, float, float]],
    settings: ClipSettings,
) -> FloorLook:
    """Learn the colours of the floor round an area, (N, 2) ft, where nobody stands."""
    height, width = picture.shape[:2]
    middle = area_ft.mean(axis=0)
    outline = on_picture(_closed(middle + 1.25 * (area_ft - middle)), camera)
    outline = outline[_drawable(outline)]
    near = np.zeros((height, width), dtype=np.uint8)
    if len(outline) >= 3:
        cv2.fillPoly(near, [_fixed(outline)], 1, shift=SHIFT)
    for place in _boxes(picture, boxes_px):
        near[place] = 0
    bare = picture[near == 1]
    if len(bare) < LEAST_FLOOR_PX:
        return FloorLook(None)
    bare = _lab(bare[:: max(1, len(bare) // 3000)])
    cv2.setRNGSeed(1)  # k-means draws its starts at random; the same picture must give the same drawing
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 12, 0.5)
    _, labels, centres = cv2.kmeans(bare, FLOOR_COLOURS, np.zeros((0, 1), np.int32), stop, 2, cv2.KMEANS_PP_CENTERS)
    shares = np.bincount(labels.ravel(), minlength=FLOOR_COLOURS) / len(labels)
    floor = centres[shares >= 0.1]
    levels = np.arange(1 << LOOK_BITS, dtype=np.float32) * (1 << (8 - LOOK_BITS)) + (1 << (7 - LOOK_BITS))
    every = _lab(np.stack(np.meshgrid(levels, levels, levels, indexing="ij"), axis=-1).reshape(-1, 3))
    apart = np.min([np.linalg.norm(every - colour, axis=1) for colour in floor], axis=0)
    return FloorLook(np.clip(510 - 510 * apart / settings.floor_likeness, 0, 255).astype(np.uint8))


def _boxes(picture: np.ndarray, boxes_px: Sequence[tuple[float, float, float, float]]) -> Iterator[tuple[slice, slice]]:
    """The parts of a picture that boxes cover; those outside of it are left out."""
    for x1, y1, x2, y2 in boxes_px:
        rows = slice(max(0, int(y1)), min(picture.shape[0], max(0, int(np.ceil(y2)))))
        columns = slice(max(0, int(x1)), min(picture.shape[1], max(0, int(np.ceil(x2)))))
        if rows.start < rows.stop and columns.start < columns.stop:
            yield rows, columns


def _floor_share(
    picture: np.ndarray, boxes_px: Sequence[tuple[float, float, float, float]], look: FloorLook
) -> np.ndarray:
    """How far each pixel shows the floor, (H, W) float32: 1 outside the boxes, by colour inside them."""
    share = np.ones(picture.shape[:2], dtype=np.float32)
    if look.likeness is None:
        return share
    rest = 8 - LOOK_BITS
    for place in _boxes(picture, boxes_px):
        blue, green, red = np.moveaxis(picture[place].astype(np.int32) >> rest, -1, 0)
        likeness = look.likeness[(blue << 2 * LOOK_BITS) + (green << LOOK_BITS) + red]
        softened = cv2.GaussianBlur(cv2.medianBlur(likeness, 3), (3, 3), 0)
        share[place] = np.minimum(share[place], softened / np.float32(255))
    return share


def _lab(bgr: np.ndarray) -> np.ndarray:
    """CIELAB of colours, (N, 3) float32."""
    return cv2.cvtColor(bgr[None].astype(np.float32) / 255, cv2.COLOR_BGR2Lab)[0]


def _closed(corners_ft: np.ndarray) -> np.ndarray:
    return np.vstack([corners_ft, corners_ft[:1]])


def _drawable(px: np.ndarray) -> np.ndarray:
    return np.isfinite(px).all(axis=1) & (np.abs(np.nan_to_num(px, nan=np.inf)) < FAR_PX).all(axis=1)


def _fixed(px: np.ndarray) -> np.ndarray:
    """Points in OpenCV's fixed-point form."""
    return np.round(px * (1 << SHIFT)).astype(np.int32)
