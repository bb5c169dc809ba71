"""Named places of the half court, as coaches say them, in the attack frame.

Their edges are settings given for the NBA's floor. They scale with the rule book: lengths along u with the distance of
the free-throw line from the ring, lengths along v with the corner distance of the three-point line, reaches about the
lane not at all.
"""

from __future__ import annotations

from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.court.rule_books import NBA, RuleBook
from pipeline.court.settings import PlaceSettings
from pipeline.errors import ShapeError

PLACES = (
    "restricted_area",
    "paint",
    "block",
    "short_corner",
    "corner",
    "elbow",
    "high_post",
    "wing",
    "slot",
    "top",
    "half_court",
)
"""All named places; a point may lie in several, or in none."""

_ORDER = (
    "block",
    "elbow",
    "restricted_area",
    "high_post",
    "paint",
    "corner",
    "short_corner",
    "wing",
    "slot",
    "top",
    "half_court",
)


def places(
    uv_ft: ArrayLike, book: RuleBook, settings: PlaceSettings | None = None
) -> MappingProxyType[str, NDArray[np.bool_]]:
    """Which named places each point lies in.

    Parameters
    ----------
    uv_ft : array_like of shape (N, 2)
        Attack frame, feet. N may be 0; NaN lies nowhere.
    book : RuleBook
    settings : PlaceSettings

    Returns
    -------
    mapping of str to ndarray of bool, shape (N,)
        One entry per name of :data:`PLACES`.
    """
    uv = np.asarray(uv_ft, dtype=np.float64)
    if uv.ndim != 2 or uv.shape[1] != 2:
        raise ShapeError(f"Points must be (N, 2), got {uv.shape}; pass u and v as two columns.")
    s = settings or PlaceSettings()
    free_throw_u = book.lane_length_ft - book.ring_to_baseline_ft
    # As on an NBA floor: u and |v| stretched so that the free-throw line and the corner line fall on the NBA's.
    u = uv[:, 0] * (NBA.lane_length_ft - NBA.ring_to_baseline_ft) / free_throw_u
    v = np.abs(uv[:, 1]) * NBA.corner_distance_ft / book.corner_distance_ft
    beside_lane = np.abs(np.abs(uv[:, 1]) - book.lane_width_ft / 2)
    elbow = np.hypot(uv[:, 0] - free_throw_u, beside_lane)
    in_lane = (np.abs(uv[:, 1]) <= book.lane_width_ft / 2) & (uv[:, 0] >= -book.ring_to_baseline_ft)
    restricted = np.zeros(len(uv), dtype=bool)
    if book.restricted_radius_ft is not None:
        board_u = book.board_to_baseline_ft - book.ring_to_baseline_ft
        ahead = np.hypot(np.maximum(uv[:, 0], 0), uv[:, 1])
        restricted = (uv[:, 0] >= board_u) & (ahead <= book.restricted_radius_ft)
    found = {
        "restricted_area": restricted,
        "paint": in_lane & (uv[:, 0] <= free_throw_u),
        "block": (beside_lane <= s.block_reach_ft) & _between(u, s.block_u_ft),
        "short_corner": _between(v, s.short_corner_v_ft) & _between(u, s.short_corner_u_ft),
        "corner": (v > s.corner_v_ft) & (u < s.corner_u_ft),
        "elbow": elbow <= s.elbow_reach_ft,
        "high_post": (np.abs(uv[:, 1]) <= book.lane_width_ft / 2) & _between(u, s.high_post_u_ft),
        "wing": _between(v, s.wing_v_ft) & _between(u, s.wing_u_ft),
        "slot": _between(v, s.slot_v_ft) & _between(u, s.slot_u_ft),
        "top": (v < s.top_v_ft) & _between(u, s.slot_u_ft),
        "half_court": u > s.half_court_u_ft,
    }
    return MappingProxyType({name: found[name] for name in PLACES})


def place_names(uv_ft: ArrayLike, book: RuleBook, settings: PlaceSettings | None = None) -> list[str]:
    """One name per point (N, 2), the most telling where several hold; empty where none does."""
    return [PLACES[code] if code >= 0 else "" for code in place_codes(uv_ft, book, settings).tolist()]


def place_codes(uv_ft: ArrayLike, book: RuleBook, settings: PlaceSettings | None = None) -> NDArray[np.int64]:
    """Index into :data:`PLACES` of the most telling place of each point (N, 2), shape (N,); -1 where none holds."""
    held = places(uv_ft, book, settings)
    return np.select([held[name] for name in _ORDER], [PLACES.index(name) for name in _ORDER], default=-1)


def _between(values: NDArray[np.float64], limits: tuple[float, float]) -> NDArray[np.bool_]:
    return (values >= limits[0]) & (values <= limits[1])
