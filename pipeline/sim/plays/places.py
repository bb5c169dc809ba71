"""Places on the floor in the attack frame, scaled to a rule book.

Everything a script needs of the court: (u, v) in feet from the floor point under the attacked ring,
u towards half court, v to the right of someone who faces that ring from half court. Names and
figures follow the trade's names for places; they scale with the lane and the three-point line.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.court.attack_frame import End
from pipeline.court.attack_frame import to_attack as points_to_attack
from pipeline.court.attack_frame import to_court as points_to_court
from pipeline.court.rule_books import RuleBook


@dataclass(frozen=True, slots=True)
class Places:
    """Measures of one half court in the attack frame, feet."""

    half_lane_ft: float
    line_u_ft: float
    """The free-throw line's far edge."""
    baseline_u_ft: float
    """Negative: the baseline lies behind the ring."""
    half_width_ft: float
    half_court_u_ft: float
    far_ring_u_ft: float
    """The other ring."""
    arc_ft: float
    corner_v_ft: float
    ring_height_ft: float

    def wing(self, side: int, *, out_ft: float = 2.4) -> np.ndarray:
        """On the wing, a little beyond the arc, at the free-throw line extended."""
        r = self.arc_ft + out_ft
        u = self.line_u_ft * 0.92
        return np.array([u, side * min(np.sqrt(max(r * r - u * u, 1.0)), self.half_width_ft - 2.5)])

    def slot(self, side: int, *, out_ft: float = 3.2) -> np.ndarray:
        """Between top and wing, beyond the arc."""
        r = self.arc_ft + out_ft
        v = 9.5
        return np.array([np.sqrt(r * r - v * v), side * v])

    def top(self, *, out_ft: float = 3.6) -> np.ndarray:
        """In the middle beyond the arc."""
        return np.array([self.arc_ft + out_ft, 0.0])

    def corner(self, side: int) -> np.ndarray:
        """Beyond the three-point line near the baseline."""
        return np.array([0.5, side * min(self.corner_v_ft + 1.0, self.half_width_ft - 1.4)])

    def block(self, side: int, *, out_ft: float = 1.6) -> np.ndarray:
        """Low post, ``out_ft`` outside the lane's edge."""
        return np.array([3.6, side * (self.half_lane_ft + out_ft)])

    def elbow(self, side: int) -> np.ndarray:
        """End of the free-throw line."""
        return np.array([self.line_u_ft, side * self.half_lane_ft])

    def short_corner(self, side: int) -> np.ndarray:
        """Along the baseline between block and corner."""
        return np.array([0.2, side * (self.half_lane_ft + 5.5)])

    def in_paint(self, uv_ft: np.ndarray, *, margin_ft: float = 0.0) -> np.ndarray:
        """Whether floor points lie in the lane rectangle grown by ``margin_ft`` (its lines belong to it).

        Parameters
        ----------
        uv_ft : ndarray of shape (..., 2)
            Attack-frame points in feet.
        margin_ft : float
            Negative shrinks the rectangle.

        Returns
        -------
        ndarray of bool, shape (...)
        """
        u, v = uv_ft[..., 0], uv_ft[..., 1]
        return (
            (np.abs(v) <= self.half_lane_ft + margin_ft)
            & (u <= self.line_u_ft + margin_ft)
            & (u >= self.baseline_u_ft - margin_ft)
        )


def places(book: RuleBook) -> Places:
    """Measure one half of the book's court."""
    return Places(
        half_lane_ft=book.lane_width_ft / 2,
        line_u_ft=book.lane_length_ft - book.ring_to_baseline_ft,
        baseline_u_ft=-book.ring_to_baseline_ft,
        half_width_ft=book.width_ft / 2,
        half_court_u_ft=book.length_ft / 2 - book.ring_to_baseline_ft,
        far_ring_u_ft=book.length_ft - 2 * book.ring_to_baseline_ft,
        arc_ft=book.arc_radius_ft,
        corner_v_ft=book.corner_distance_ft,
        ring_height_ft=book.ring_height_ft,
    )


def to_court(uv_ft: np.ndarray, book: RuleBook, end: End) -> np.ndarray:
    """Attack-frame points of shape (..., 2) to the court frame, same shape."""
    return points_to_court(uv_ft.reshape(-1, 2), book, end).reshape(uv_ft.shape)


def to_attack(xy_ft: np.ndarray, book: RuleBook, end: End) -> np.ndarray:
    """Court-frame points of shape (..., 2) to the attack frame of ``end``, same shape."""
    return points_to_attack(xy_ft.reshape(-1, 2), book, end).reshape(xy_ft.shape)


def vector_to_court(uv: np.ndarray, end: End) -> np.ndarray:
    """Attack-frame vectors (velocities, directions) of shape (..., 2) to the court frame."""
    return uv.copy() if end == "left" else -uv
