"""Every painted line, area and ring of a court, as geometry in the court frame (feet).

Court frame: origin at the inner corner of the near sideline and the left baseline as the main camera
sees them, x along the near sideline 0..length, y away from the camera 0..width. What each length of the
rule book is measured to is written in :mod:`pipeline.court.rule_books`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.court.attack_frame import ENDS, End, ring_ft, to_attack, to_court
from pipeline.court.rule_books import RuleBook

__all__ = [
    "ENDS",
    "MARKING_KINDS",
    "End",
    "Marking",
    "areas",
    "board_corners_ft",
    "in_paint",
    "in_three_point_area",
    "markings",
    "ring_centre_ft",
    "ring_ft",
]

ARC_STEP_FT = 0.25
"""Longest chord of a curve's polyline: at a 4 ft radius it leaves the true curve by 0.002 ft."""

MARKING_KINDS = (
    "sideline",
    "baseline",
    "halfway",
    "lane",
    "free_throw_line",
    "free_throw_circle",
    "three_point",
    "centre_circle",
    "restricted",
    "lane_mark",
)


@dataclass(frozen=True, slots=True, eq=False)
class Marking:
    """One painted line.

    Attributes
    ----------
    name : str
        Unique on the court, e.g. ``"three_point_left"``.
    kind : str
        One of :data:`MARKING_KINDS`.
    points_ft : ndarray of shape (N, 2)
        Polyline along the middle of the painted line, court x, y in feet; read-only.
    width_ft : float
        Painted width; the edges lie half of it to either side.
    closed : bool
        Whether the last point joins the first (it is not repeated).
    """

    name: str
    kind: str
    points_ft: NDArray[np.float64]
    width_ft: float
    closed: bool = False

    def __post_init__(self) -> None:
        self.points_ft.setflags(write=False)


def arc_points(centre: ArrayLike, radius: float, start_rad: float, end_rad: float) -> NDArray[np.float64]:
    """Points on a circle from one angle to another (counter-clockwise if end > start), shape (N, 2)."""
    count = max(3, int(np.ceil(abs(end_rad - start_rad) * radius / ARC_STEP_FT)) + 1)
    angle = np.linspace(start_rad, end_rad, count)
    return np.asarray(centre, dtype=np.float64) + radius * np.column_stack([np.cos(angle), np.sin(angle)])


def _three_point_uv(book: RuleBook, inset_ft: float) -> NDArray[np.float64]:
    """The three-point line in the attack frame, from baseline to baseline, ``inset_ft`` inside its outer edge."""
    radius = book.arc_radius_ft - inset_ft
    corner = min(book.corner_distance_ft - inset_ft, radius)
    half_angle = np.arcsin(corner / radius)
    arc = arc_points((0.0, 0.0), radius, -half_angle, half_angle)
    baseline_u = -book.ring_to_baseline_ft
    return np.vstack([[baseline_u, -corner], arc, [baseline_u, corner]])


def _restricted_uv(book: RuleBook, outset_ft: float) -> NDArray[np.float64]:
    """The restricted arc with its legs to the board's plane, ``outset_ft`` outside its inner edge."""
    assert book.restricted_radius_ft is not None
    radius = book.restricted_radius_ft + outset_ft
    board_u = book.board_to_baseline_ft - book.ring_to_baseline_ft
    return np.vstack([[board_u, -radius], arc_points((0.0, 0.0), radius, -np.pi / 2, np.pi / 2), [board_u, radius]])


@lru_cache(maxsize=16)
def markings(book: RuleBook) -> tuple[Marking, ...]:
    """Every painted line of the court, each as a polyline along the line's middle.

    Boundary lines lie outside the playing area, their middle half a line width outside it. All other lines lie
    inside the edge that the rule book measures to.
    """
    length, width, line = book.length_ft, book.width_ft, book.line_width_ft
    half = line / 2
    found: list[Marking] = [
        Marking("sideline_near", "sideline", np.array([[-half, -half], [length + half, -half]]), line),
        Marking("sideline_far", "sideline", np.array([[-half, width + half], [length + half, width + half]]), line),
        Marking("halfway", "halfway", np.array([[length / 2, 0.0], [length / 2, width]]), line),
        Marking(
            "centre_circle",
            "centre_circle",
            arc_points((length / 2, width / 2), book.circle_radius_ft - half, 0.0, 2 * np.pi)[:-1].copy(),
            line,
            closed=True,
        ),
    ]
    for end in ENDS:
        x_ft = -half if end == "left" else length + half
        found.append(Marking(f"baseline_{end}", "baseline", np.array([[x_ft, -half], [x_ft, width + half]]), line))
        baseline_u = -book.ring_to_baseline_ft
        far_u = book.lane_length_ft - book.ring_to_baseline_ft
        lane_v = book.lane_width_ft / 2
        # "near" and "far" as the main camera sees them: near is the smaller y.
        near_sign = -1.0 if end == "left" else 1.0
        for side, sign in (("near", near_sign), ("far", -near_sign)):
            lane = np.array([[baseline_u, sign * (lane_v - half)], [far_u, sign * (lane_v - half)]])
            found.append(Marking(f"lane_{end}_{side}", "lane", to_court(lane, book, end), line))
            for number, (start_ft, end_ft) in enumerate(book.lane_marks_ft, start=1):
                u = (start_ft + end_ft) / 2 + baseline_u
                mark = np.array([[u, sign * lane_v], [u, sign * (lane_v + book.lane_mark_depth_ft)]])
                name = f"lane_mark_{end}_{side}_{number}"
                found.append(Marking(name, "lane_mark", to_court(mark, book, end), end_ft - start_ft))
        free_throw = np.array([[far_u - half, -lane_v], [far_u - half, lane_v]])
        found.append(Marking(f"free_throw_line_{end}", "free_throw_line", to_court(free_throw, book, end), line))
        circle = arc_points((far_u - half, 0.0), book.circle_radius_ft - half, -np.pi / 2, np.pi / 2)
        found.append(Marking(f"free_throw_circle_{end}", "free_throw_circle", to_court(circle, book, end), line))
        three = to_court(_three_point_uv(book, half), book, end)
        found.append(Marking(f"three_point_{end}", "three_point", three, line))
        if book.restricted_radius_ft is not None:
            arc = to_court(_restricted_uv(book, half), book, end)
            found.append(Marking(f"restricted_{end}", "restricted", arc, line))
    return tuple(found)


@lru_cache(maxsize=16)
def areas(book: RuleBook) -> Mapping[str, NDArray[np.float64]]:
    """The floor's areas as polygons (N, 2) in court feet, read-only, not closed by a repeated point.

    Keys: ``court``, ``centre_circle``, and per end ``paint_*``, ``three_point_*``, ``free_throw_circle_*`` (the
    half outside the lane) and, where the book has one, ``restricted_*``. Edges are those the rule book measures to:
    paint to the outer edges of the lane lines and the far edge of the free-throw line, three-point area to the
    outer edge of its line, restricted area to the inner edge of its arc.
    """
    length, width = book.length_ft, book.width_ft
    found: dict[str, NDArray[np.float64]] = {
        "court": np.array([[0.0, 0.0], [length, 0.0], [length, width], [0.0, width]]),
        "centre_circle": arc_points((length / 2, width / 2), book.circle_radius_ft, 0.0, 2 * np.pi)[:-1].copy(),
    }
    for end in ENDS:
        baseline_u, far_u = -book.ring_to_baseline_ft, book.lane_length_ft - book.ring_to_baseline_ft
        lane_v = book.lane_width_ft / 2
        paint = np.array([[baseline_u, -lane_v], [far_u, -lane_v], [far_u, lane_v], [baseline_u, lane_v]])
        found[f"paint_{end}"] = to_court(paint, book, end)
        found[f"three_point_{end}"] = to_court(_three_point_uv(book, 0.0), book, end)
        middle_u = far_u - book.line_width_ft / 2
        circle = arc_points((middle_u, 0.0), book.circle_radius_ft, -np.pi / 2, np.pi / 2)
        found[f"free_throw_circle_{end}"] = to_court(circle, book, end)
        if book.restricted_radius_ft is not None:
            found[f"restricted_{end}"] = to_court(_restricted_uv(book, 0.0), book, end)
    for polygon in found.values():
        polygon.setflags(write=False)
    return MappingProxyType(found)


def in_paint(xy_ft: ArrayLike, book: RuleBook, end: End, reach_ft: float = 0.0) -> NDArray[np.bool_]:
    """Whether each court point (N, 2) lies in the paint of that end or at most ``reach_ft`` from it, (N,).

    Its lines belong to the paint; NaN is outside.
    """
    uv = to_attack(xy_ft, book, end)
    from_baseline = uv[:, 0] + book.ring_to_baseline_ft
    along = (from_baseline >= -reach_ft) & (from_baseline <= book.lane_length_ft + reach_ft)
    return along & (np.abs(uv[:, 1]) <= book.lane_width_ft / 2 + reach_ft)


def in_three_point_area(xy_ft: ArrayLike, book: RuleBook, end: End) -> NDArray[np.bool_]:
    """Whether each court point (N, 2) lies inside the three-point line of that end, the line included. Shape (N,)."""
    uv = to_attack(xy_ft, book, end)
    inside = (np.hypot(uv[:, 0], uv[:, 1]) <= book.arc_radius_ft) | (uv[:, 0] <= 0)
    on_court = (uv[:, 0] + book.ring_to_baseline_ft >= 0) & (np.abs(uv[:, 1]) <= book.corner_distance_ft)
    return inside & on_court


def ring_centre_ft(book: RuleBook, end: End) -> NDArray[np.float64]:
    """The ring's centre in space, x, y, z in feet, shape (3,)."""
    return np.append(ring_ft(book, end), book.ring_height_ft)


def board_corners_ft(book: RuleBook, end: End) -> NDArray[np.float64]:
    """Corners of the board's face, shape (4, 3) in feet: lower near, lower far, upper far, upper near."""
    x_ft = book.board_to_baseline_ft if end == "left" else book.length_ft - book.board_to_baseline_ft
    near, far = book.width_ft / 2 - book.board_width_ft / 2, book.width_ft / 2 + book.board_width_ft / 2
    low, high = book.board_bottom_ft, book.board_bottom_ft + book.board_height_ft
    return np.array([[x_ft, near, low], [x_ft, far, low], [x_ft, far, high], [x_ft, near, high]])
