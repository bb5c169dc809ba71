"""The four rule books as data: every floor dimension a game can be played on.

What each length is measured to, for all books alike:

- Boundary lines (sidelines and baselines) lie outside the playing area; court length and width are
  measured between their inner edges. In the court frame those edges are x = 0, x = length, y = 0, y = width.
- Lane length is measured from the inner edge of the baseline to the far edge (towards half court) of the
  free-throw line; lane width between the outer edges of the lane lines.
- The free-throw line to the board: from the plane of the board's face to the same far edge.
- Circle radii: to the outer edge of the ring. The free-throw circle's centre is the middle of the
  free-throw line.
- The three-point line, arc and corner alike: from the ring's centre to the outer edge.
- The restricted arc: to its inner edge; its legs run straight to the plane of the board's face.
- Ring height: to the upper edge. Ring radius: inner. Board bottom: above the floor.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from pipeline.errors import SettingsError

FEET_PER_METRE = 1.0 / 0.3048
INCH_FT = 1.0 / 12.0


@dataclass(frozen=True, slots=True)
class RuleBook:
    """Floor and basket dimensions of one rule book, in feet (see the module's text for edges).

    Attributes
    ----------
    name : str
        Key in :data:`RULE_BOOKS`.
    length_ft, width_ft : float
        Playing area between the boundary lines' inner edges.
    line_width_ft : float
        Width of every painted line.
    lane_length_ft, lane_width_ft : float
        Baseline to the far edge of the free-throw line; outer edges of the lane lines.
    free_throw_to_board_ft : float
        Plane of the board's face to the far edge of the free-throw line.
    circle_radius_ft : float
        Centre circle and free-throw circle, outer edge.
    ring_to_baseline_ft : float
        Ring's centre to the inner edge of the baseline.
    arc_radius_ft, corner_distance_ft : float
        Three-point line: ring's centre to the outer edge of the arc, and of the straight corner parts
        (equal where the corner parts touch the arc as tangents).
    restricted_radius_ft : float or None
        Inner edge of the restricted arc; None where the book has none.
    ring_height_ft, ring_radius_ft : float
        Upper edge above the floor; inner radius.
    board_width_ft, board_height_ft, board_to_baseline_ft, board_bottom_ft : float
        Board's size, distance of its face from the baseline's inner edge, its lower edge above the floor.
    lane_marks_ft : tuple of (float, float)
        Marks on the outer side of the lane lines: start and end measured from the baseline's inner edge.
    lane_mark_depth_ft : float
        How far those marks stand out from the lane.
    source : str
        Where the figures are published.
    """

    name: str
    length_ft: float
    width_ft: float
    line_width_ft: float
    lane_length_ft: float
    lane_width_ft: float
    free_throw_to_board_ft: float
    circle_radius_ft: float
    ring_to_baseline_ft: float
    arc_radius_ft: float
    corner_distance_ft: float
    restricted_radius_ft: float | None
    ring_height_ft: float
    ring_radius_ft: float
    board_width_ft: float
    board_height_ft: float
    board_to_baseline_ft: float
    board_bottom_ft: float
    lane_marks_ft: tuple[tuple[float, float], ...]
    lane_mark_depth_ft: float
    source: str


def _ticks(centres_ft: tuple[float, ...], width_ft: float) -> tuple[tuple[float, float], ...]:
    return tuple((c - width_ft / 2, c + width_ft / 2) for c in centres_ft)


_M = FEET_PER_METRE

FIBA = RuleBook(
    name="fiba",
    length_ft=28.0 * _M,
    width_ft=15.0 * _M,
    line_width_ft=0.05 * _M,
    lane_length_ft=5.80 * _M,
    lane_width_ft=4.90 * _M,
    free_throw_to_board_ft=4.60 * _M,
    circle_radius_ft=1.80 * _M,
    ring_to_baseline_ft=1.575 * _M,
    arc_radius_ft=6.75 * _M,
    corner_distance_ft=6.60 * _M,
    restricted_radius_ft=1.25 * _M,
    ring_height_ft=3.05 * _M,
    ring_radius_ft=0.225 * _M,
    board_width_ft=1.80 * _M,
    board_height_ft=1.05 * _M,
    board_to_baseline_ft=1.20 * _M,
    board_bottom_ft=2.90 * _M,
    lane_marks_ft=(
        (1.75 * _M, 1.80 * _M),
        (2.60 * _M, 3.00 * _M),
        (3.85 * _M, 3.90 * _M),
        (4.75 * _M, 4.80 * _M),
    ),
    lane_mark_depth_ft=0.10 * _M,
    source="FIBA Official Basketball Rules 2024 (valid from 1 October 2024), article 2 and its court diagrams",
)
NBA = RuleBook(
    name="nba",
    length_ft=94.0,
    width_ft=50.0,
    line_width_ft=2 * INCH_FT,
    lane_length_ft=19.0,
    lane_width_ft=16.0,
    free_throw_to_board_ft=15.0,
    circle_radius_ft=6.0,
    ring_to_baseline_ft=5.25,
    arc_radius_ft=23.75,
    corner_distance_ft=22.0,
    restricted_radius_ft=4.0,
    ring_height_ft=10.0,
    ring_radius_ft=0.75,
    board_width_ft=6.0,
    board_height_ft=3.5,
    board_to_baseline_ft=4.0,
    board_bottom_ft=9.5,
    lane_marks_ft=_ticks((7.1, 7.9, 11.1, 14.3), 2 * INCH_FT),
    lane_mark_depth_ft=0.5,
    source="NBA Rule No. 1, Section I; lane marks as measured on frames",
)
NCAA = RuleBook(
    name="ncaa",
    length_ft=94.0,
    width_ft=50.0,
    line_width_ft=2 * INCH_FT,
    lane_length_ft=19.0,
    lane_width_ft=12.0,
    free_throw_to_board_ft=15.0,
    circle_radius_ft=6.0,
    ring_to_baseline_ft=5.25,
    arc_radius_ft=22.0 + 1.75 * INCH_FT,
    corner_distance_ft=21.0 + 7.875 * INCH_FT,
    restricted_radius_ft=4.0,
    ring_height_ft=10.0,
    ring_radius_ft=0.75,
    board_width_ft=6.0,
    board_height_ft=3.5,
    board_to_baseline_ft=4.0,
    board_bottom_ft=9.5,
    lane_marks_ft=((7.0, 8.0), *_ticks((11.083, 14.25), 2 * INCH_FT)),
    lane_mark_depth_ft=8 * INCH_FT,
    source="NCAA court diagram of 17 June 2019",
)
NFHS = RuleBook(
    name="nfhs",
    length_ft=84.0,
    width_ft=50.0,
    line_width_ft=2 * INCH_FT,
    lane_length_ft=19.0,
    lane_width_ft=12.0,
    free_throw_to_board_ft=15.0,
    circle_radius_ft=6.0,
    ring_to_baseline_ft=5.25,
    arc_radius_ft=19.75,
    corner_distance_ft=19.75,
    restricted_radius_ft=None,
    ring_height_ft=10.0,
    ring_radius_ft=0.75,
    board_width_ft=6.0,
    board_height_ft=3.5,
    board_to_baseline_ft=4.0,
    board_bottom_ft=9.5,
    lane_marks_ft=((7.0, 8.0), *_ticks((11.083, 14.25), 2 * INCH_FT)),
    lane_mark_depth_ft=8 * INCH_FT,
    source="NFHS Basketball Rules Book 2019-20, Rule 1",
)

RULE_BOOKS: Mapping[str, RuleBook] = MappingProxyType({b.name: b for b in (FIBA, NBA, NCAA, NFHS)})
"""Rule books by name."""


def rule_book(name: str) -> RuleBook:
    """The rule book of that name.

    Raises
    ------
    SettingsError
        If there is none.
    """
    try:
        return RULE_BOOKS[name]
    except KeyError:
        raise SettingsError(f"There is no rule book '{name}'; choose one of {', '.join(RULE_BOOKS)}.") from None
