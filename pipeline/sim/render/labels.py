"""Labels of one picture: boxes with visible shares, and the court-area label map."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np

from pipeline.court.camera import Camera
from pipeline.court.geometry import areas, markings
from pipeline.court.rule_books import RuleBook
from pipeline.sim.looks import FloorLook
from pipeline.sim.render.floor import centre_radius_ft, circle_points
from pipeline.sim.render.matrices import clip_to_view

CLASS_NAMES = ("player", "official", "ball", "ring")
"""The detector's classes in order, as `pipeline.players.tables.BOX_CLASSES` (not imported: it needs pyarrow)."""
AREA_NAMES = ("outside", "floor", "three_point_area", "paint", "centre_circle", "line")
"""Ids of the label map in order, as `pipeline.court.area_network.AREA_CLASSES`."""
LEAST_LINE_PX = 2.5
"""Width of a labelled line in a picture of 1280 pixels, where the true one is thinner."""
SHIFT = 4
LINE_KINDS = frozenset(
    {
        "sideline",
        "halfway",
        "centre_circle",
        "baseline",
        "lane",
        "free_throw_line",
        "free_throw_circle",
        "three_point",
        "restricted",
    }
)
"""Kinds of markings that count as lines; the small marks beside the lane do not."""


@dataclass(frozen=True, slots=True)
class LabelledBox:
    """One labelled thing.

    Attributes
    ----------
    name : str
        One of `CLASS_NAMES`.
    actor : int
        Actor id; -1 for ball and rings.
    box_px : tuple of float
        x1, y1, x2, y2 in seen pixels: whole extent, hidden parts included, cut at the picture's edge.
    whole_px : tuple of float
        The same, not cut.
    visible : float
        Share of the thing's silhouette inside the picture that nothing hides, 0..1.
    feet_px : tuple of float
        Seen pixel of the actor's floor point; NaN for ball and rings.
    """

    name: str
    actor: int
    box_px: tuple[float, float, float, float]
    whole_px: tuple[float, float, float, float]
    visible: float
    feet_px: tuple[float, float]


@dataclass(frozen=True, slots=True, eq=False)
class FrameLabels:
    """Boxes, area map (H, W) uint8, and the box x1, y1, x2, y2 that the score graphic covers, of one picture."""

    boxes: tuple[LabelledBox, ...]
    areas: np.ndarray
    graphic_px: tuple[int, int, int, int] | None = None


def extent(points_px: np.ndarray, size_px: tuple[int, int]) -> tuple[tuple[float, ...], tuple[float, ...]] | None:
    """Whole and cut boxes of projected points (N, 2); None when nothing of it lies in the picture."""
    seen = points_px[np.isfinite(points_px).all(1)]
    if len(seen) == 0:
        return None
    low, high = seen.min(0), seen.max(0)
    cut_low, cut_high = np.maximum(low, -0.5), np.minimum(high, np.array(size_px) - 0.5)
    if np.any(cut_high - cut_low <= 0):
        return None
    return (*low.tolist(), *high.tolist()), (*cut_low.tolist(), *cut_high.tolist())


def _dense(points_ft: np.ndarray, step_ft: float, *, closed: bool) -> np.ndarray:
    """Insert points so that no stretch is longer than a step."""
    points = np.vstack([points_ft, points_ft[:1]]) if closed else points_ft
    found: list[np.ndarray] = []
    for a, b in pairwise(points):
        count = max(int(np.ceil(np.linalg.norm(b - a) / step_ft)), 1)
        found.append(a + (b - a) * (np.arange(count) / count)[:, None])
    found.append(points[-1:])
    return np.concatenate(found)


def _fill(label: np.ndarray, polygon_ft: np.ndarray, camera: Camera, identity: int) -> None:
    floor = np.column_stack([polygon_ft, np.zeros(len(polygon_ft))])
    kept = clip_to_view(floor, camera)
    if len(kept) < 3:
        return
    pixels = camera.project(_dense(kept, 1.0, closed=True))
    pixels = pixels[np.isfinite(pixels).all(1)]
    if len(pixels) >= 3:
        fixed = np.round(pixels * (1 << SHIFT)).astype(np.int32)
        cv2.fillPoly(label, [fixed], identity, cv2.LINE_8, SHIFT)


def line_quads(points_ft: np.ndarray, width_ft: float, camera: Camera, least_px: float) -> np.ndarray:
    """A painted line as quads (M, 4, 2) in seen pixels, never thinner than `least_px`; parts out of view left out."""
    points = _dense(points_ft, 0.75, closed=False)
    step = np.gradient(points, axis=0)
    step /= np.maximum(np.linalg.norm(step, axis=1, keepdims=True), 1e-9)
    side = np.column_stack([-step[:, 1], step[:, 0]]) * (width_ft / 2)
    middle, left, right = (camera.project_floor(p) for p in (points, points + side, points - side))
    width, height = camera.size_px
    near = np.isfinite(middle).all(1) & np.isfinite(left).all(1) & np.isfinite(right).all(1)
    with np.errstate(invalid="ignore"):
        near &= (middle[:, 0] > -width * 0.3) & (middle[:, 0] < width * 1.3)
        near &= (middle[:, 1] > -height * 0.3) & (middle[:, 1] < height * 1.3)
    both = near[:-1] & near[1:]
    if not both.any():
        return np.zeros((0, 4, 2))
    a, b = middle[:-1][both], middle[1:][both]
    along = b - a
    along /= np.maximum(np.linalg.norm(along, axis=1, keepdims=True), 1e-9)
    normal = np.column_stack([-along[:, 1], along[:, 0]])
    spread = left - right
    half_a = np.maximum(np.abs(np.sum(spread[:-1][both] * normal, axis=1)), least_px)[:, None] / 2
    half_b = np.maximum(np.abs(np.sum(spread[1:][both] * normal, axis=1)), least_px)[:, None] / 2
    return np.stack([a + normal * half_a, b + normal * half_b, b - normal * half_b, a - normal * half_a], axis=1)


def area_map(camera: Camera, book: RuleBook, floor: FloorLook) -> np.ndarray:
    """Label every pixel with the court area that lies there, people not cut out.

    Returns
    -------
    ndarray of shape (H, W) uint8
        Index into `AREA_NAMES`. The centre circle is the painted one, which need not be the rule book's.
    """
    width, height = camera.size_px
    label = np.zeros((height, width), np.uint8)
    zone = areas(book)
    _fill(label, zone["court"], camera, AREA_NAMES.index("floor"))
    for end in ("left", "right"):
        _fill(label, zone[f"three_point_{end}"], camera, AREA_NAMES.index("three_point_area"))
        _fill(label, zone[f"paint_{end}"], camera, AREA_NAMES.index("paint"))
    middle = (book.length_ft / 2, book.width_ft / 2)
    radius = centre_radius_ft(floor, book)
    _fill(label, circle_points(middle, radius)[:-1], camera, AREA_NAMES.index("centre_circle"))
    least = LEAST_LINE_PX * width / 1280
    quads: list[np.ndarray] = []
    for mark in markings(book):
        if mark.kind not in LINE_KINDS:
            continue
        points = mark.points_ft
        if mark.kind == "centre_circle":
            points = circle_points(middle, radius - book.line_width_ft / 2)
        elif mark.closed:
            points = np.vstack([points, points[:1]])
        quads.append(line_quads(points, mark.width_ft, camera, least))
    fixed = np.round(np.concatenate(quads) * (1 << SHIFT)).astype(np.int32)
    for quad in fixed:
        cv2.fillConvexPoly(label, quad, AREA_NAMES.index("line"), cv2.LINE_8, SHIFT)
    return label
