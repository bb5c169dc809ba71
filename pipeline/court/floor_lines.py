"""Signed distances from floor points to the rule book's lines, for fitting a camera to marks.

A line piece is straight or an arc. Each border that the picture can show (see ``BORDERS`` of the ``marks``
table) is made of pieces; a mark is compared with the pieces of its border only. Distances are positive on
the inner side: inside the court, the three-point area, the paint, the circle.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from pipeline.court.attack_frame import ENDS, End, to_court
from pipeline.court.rule_books import RuleBook

Array = NDArray[np.float64]

BORDER_NAMES = ("court_edge", "arc_edge", "paint_edge", "circle_edge", "line")
"""As in the ``marks`` table; a mark's border is handled as an index into this."""


@dataclass(frozen=True, slots=True, eq=False)
class Pieces:
    """P line pieces in struct-of-arrays form.

    Attributes
    ----------
    names : tuple of str
        What each piece is, e.g. ``"baseline_left"``; two pieces of one marking share its name.
    curved : ndarray of bool, shape (P,)
    line : ndarray of shape (P, 3)
        Straight: unit inward normal and offset, distance n · p + c. Curved: centre and radius, distance
        radius - |p - centre|.
    start, end : ndarray of shape (P, 2)
        Straight: end points. Curved: start holds the direction of the arc's middle, end (cos of half its angle, 0).
    two_sided : ndarray of bool, shape (P,)
        Painted lines with the same area on both sides: the mark's normal tells no side.
    """

    names: tuple[str, ...]
    curved: NDArray[np.bool_]
    line: Array
    start: Array
    end: Array
    two_sided: NDArray[np.bool_]

    def distance(self, which: NDArray[np.intp], xy_ft: Array) -> Array:
        """Signed distance of points (..., N, 2) to the piece ``which`` (N,) assigned to each, shape (..., N)."""
        parameters = self.line[which]
        straight = xy_ft[..., 0] * parameters[:, 0] + xy_ft[..., 1] * parameters[:, 1] + parameters[:, 2]
        if not self.curved[which].any():
            return straight
        from_centre = np.hypot(xy_ft[..., 0] - parameters[:, 0], xy_ft[..., 1] - parameters[:, 1])
        return np.where(self.curved[which], parameters[:, 2] - from_centre, straight)

    def all_distances(self, xy_ft: Array) -> tuple[Array, Array, Array]:
        """Distances of points (N, 2) to every piece.

        Returns
        -------
        distance : ndarray of shape (N, P)
            Signed, to the piece continued beyond its ends.
        gradient : ndarray of shape (N, P, 2)
            Unit inward direction on the floor at the point.
        beyond : ndarray of shape (N, P)
            How far beyond the piece's ends the nearest point lies, 0 within.
        """
        count, pieces = len(xy_ft), len(self.names)
        distance = np.empty((count, pieces))
        gradient = np.empty((count, pieces, 2))
        beyond = np.empty((count, pieces))
        flat = ~self.curved
        normal = self.line[flat, :2]
        distance[:, flat] = xy_ft @ normal.T + self.line[flat, 2]
        gradient[:, flat] = normal
        along = self.end[flat] - self.start[flat]
        length = np.linalg.norm(along, axis=1)
        position = (xy_ft @ along.T - np.sum(self.start[flat] * along, axis=1)) / length
        beyond[:, flat] = np.maximum(np.maximum(-position, position - length), 0)
        if self.curved.any():
            offset = xy_ft[:, None, :] - self.line[self.curved, :2]
            radius = self.line[self.curved, 2]
            from_centre = np.maximum(np.hypot(offset[..., 0], offset[..., 1]), 1e-9)
            distance[:, self.curved] = radius - from_centre
            outward = offset / from_centre[..., None]
            gradient[:, self.curved] = -outward
            half_angle = np.arccos(np.clip(self.end[self.curved, 0], -1, 1))
            angle = np.arccos(np.clip(np.sum(outward * self.start[self.curved], axis=2), -1, 1))
            beyond[:, self.curved] = np.maximum(angle - half_angle, 0) * radius
        return distance, gradient, beyond


class _Collector:
    """Gathers pieces given in the attack frame of one end, or in the court frame."""

    def __init__(self) -> None:
        self.names: list[str] = []
        self.rows: list[tuple[bool, Array, Array, Array, bool]] = []

    def straight(self, name: str, start: Array, end: Array, inner: Array, *, sided: bool) -> None:
        along = (end - start) / np.linalg.norm(end - start)
        normal = np.array([-along[1], along[0]])
        if normal @ (inner - start) < 0:
            normal = -normal
        self.names.append(name)
        self.rows.append((False, np.array([*normal, -normal @ start]), start, end, not sided))

    def curve(self, name: str, centre: Array, radius: float, middle: Array, half_angle: float, *, sided: bool) -> None:
        self.names.append(name)
        row = (True, np.array([*centre, radius]), middle, np.array([np.cos(half_angle), 0.0]), not sided)
        self.rows.append(row)

    def pieces(self) -> Pieces:
        curved, line, start, end, two_sided = zip(*self.rows, strict=True)
        return Pieces(
            tuple(self.names),
            np.array(curved),
            np.array(line),
            np.array(start),
            np.array(end),
            np.array(two_sided),
        )


def _at(book: RuleBook, end: End, u_from_baseline: float, v: float) -> Array:
    return to_court(np.array([[u_from_baseline - book.ring_to_baseline_ft, v]]), book, end)[0]


def _direction(end: End) -> Array:
    return np.array([1.0, 0.0]) if end == "left" else np.array([-1.0, 0.0])


@lru_cache(maxsize=64)
def border_pieces(book: RuleBook, circle_radius_ft: float | None = None) -> Mapping[str, Pieces]:
    """The pieces of each border of :data:`BORDER_NAMES`, along the middle of the painted lines.

    ``circle_radius_ft`` replaces the centre circle's radius (to the line's middle), which is often painted larger.
    """
    length, width, half = book.length_ft, book.width_ft, book.line_width_ft / 2
    middle = np.array([length / 2, width / 2])
    court, arc, paint, circle, line = (_Collector() for _ in BORDER_NAMES)
    corners = np.array([[-half, -half], [length + half, -half], [length + half, width + half], [-half, width + half]])
    for name, i, j in (
        ("sideline_near", 0, 1),
        ("baseline_right", 1, 2),
        ("sideline_far", 2, 3),
        ("baseline_left", 3, 0),
    ):
        court.straight(name, corners[i], corners[j], middle, sided=True)
    radius = book.circle_radius_ft - half if circle_radius_ft is None else circle_radius_ft
    circle.curve("centre_circle", middle, radius, np.array([1.0, 0.0]), np.pi, sided=True)
    line.straight("halfway", np.array([length / 2, 0]), np.array([length / 2, width]), np.zeros(2), sided=False)
    for end in ENDS:
        towards = _direction(end)
        ring = _at(book, end, book.ring_to_baseline_ft, 0.0)
        lane_v, far_u = book.lane_width_ft / 2 - half, book.lane_length_ft - half
        outer, corner_v = book.arc_radius_ft - half, min(book.corner_distance_ft, book.arc_radius_ft) - half
        straight_u = book.ring_to_baseline_ft + np.sqrt(max(outer**2 - corner_v**2, 0.0))
        middle_lane = _at(book, end, far_u / 2, 0.0)
        for side in (-1.0, 1.0):
            near = (side < 0) == (end == "left")
            lane = (_at(book, end, 0.0, side * lane_v), _at(book, end, far_u, side * lane_v))
            paint.straight(f"lane_{end}_{'near' if near else 'far'}", *lane, middle_lane, sided=True)
            line.straight(f"lane_{end}_{'near' if near else 'far'}", *lane, middle_lane, sided=False)
            corner = (_at(book, end, 0.0, side * corner_v), _at(book, end, straight_u, side * corner_v))
            arc.straight(f"three_point_{end}", *corner, middle_lane, sided=True)
        free_throw = (_at(book, end, far_u, -lane_v), _at(book, end, far_u, lane_v))
        paint.straight(f"free_throw_line_{end}", *free_throw, middle_lane, sided=True)
        half_angle = float(np.arcsin(min(corner_v / outer, 1.0)))
        arc.curve(f"three_point_{end}", ring, outer, towards, half_angle, sided=True)
        line.straight(f"free_throw_line_{end}", *free_throw, middle_lane, sided=False)
        free_throw_middle = _at(book, end, far_u, 0.0)
        free_throw_radius = book.circle_radius_ft - half
        line.curve(f"free_throw_circle_{end}", free_throw_middle, free_throw_radius, towards, np.pi / 2, sided=False)
        if book.restricted_radius_ft is not None:
            line.curve(f"restricted_{end}", ring, book.restricted_radius_ft + half, towards, np.pi / 2, sided=False)
    gathered = zip(BORDER_NAMES, (court, arc, paint, circle, line), strict=True)
    return MappingProxyType({name: collector.pieces() for name, collector in gathered})


AREA_LABELS = ("outside", "floor", "three_point_area", "paint", "centre_circle")
"""The area labels that need no line width, in the order of the network's classes."""


def edge_areas(labels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Area labels with three-point areas and paints taken for plain floor: what the court's edge and circle tell."""
    return np.where(np.isin(labels, (2, 3)), 1, labels).astype(np.uint8)


def area_labels(xy_ft: Array, book: RuleBook) -> NDArray[np.uint8]:
    """Which of :data:`AREA_LABELS` each floor point (..., 2) lies in, shape (...); NaN is outside."""
    x, y = xy_ft[..., 0], xy_ft[..., 1] - book.width_ft / 2
    with np.errstate(invalid="ignore"):
        inside = (x >= 0) & (x <= book.length_ft) & (np.abs(y) <= book.width_ft / 2)
        from_baseline = np.minimum(x, book.length_ft - x)
        u = from_baseline - book.ring_to_baseline_ft
        three = (np.abs(y) <= book.corner_distance_ft) & ((u <= 0) | (u * u + y * y <= book.arc_radius_ft**2))
        paint = (np.abs(y) <= book.lane_width_ft / 2) & (from_baseline <= book.lane_length_ft)
        circle = (x - book.length_ft / 2) ** 2 + y * y <= book.circle_radius_ft**2
    labels = np.where(inside, 1, 0).astype(np.uint8)
    labels[inside & three] = 2
    labels[inside & paint] = 3
    labels[inside & circle] = 4
    return labels
