"""Every dimension against the published figure, read here from the books' own units, independently of the code's."""

import dataclasses

import numpy as np
import pytest

from pipeline.court.geometry import areas, markings
from pipeline.court.rule_books import RULE_BOOKS, rule_book
from pipeline.errors import SettingsError

METRE = 3.280839895013123  # feet
INCH = 1 / 12

# FIBA Official Basketball Rules 2024, articles 2 and 3 and diagrams, in metres.
FIBA_2024_M = {
    "length_ft": 28.0,
    "width_ft": 15.0,
    "line_width_ft": 0.05,
    "lane_length_ft": 5.80,
    "lane_width_ft": 4.90,
    "free_throw_to_board_ft": 4.60,
    "circle_radius_ft": 1.80,
    "ring_to_baseline_ft": 1.575,
    "arc_radius_ft": 6.75,
    "corner_distance_ft": 6.60,
    "restricted_radius_ft": 1.25,
    "ring_height_ft": 3.05,
    "ring_radius_ft": 0.225,
    "board_width_ft": 1.80,
    "board_height_ft": 1.05,
    "board_to_baseline_ft": 1.20,
    "board_bottom_ft": 2.90,
}
# NBA Rule No. 1, Section I, in feet.
NBA_RULE_1_FT = {
    "length_ft": 94,
    "width_ft": 50,
    "line_width_ft": 2 * INCH,
    "lane_length_ft": 19,
    "lane_width_ft": 16,
    "free_throw_to_board_ft": 15,
    "circle_radius_ft": 6,
    "ring_to_baseline_ft": 5.25,
    "arc_radius_ft": 23 + 9 * INCH,
    "corner_distance_ft": 22,
    "restricted_radius_ft": 4,
    "ring_height_ft": 10,
    "ring_radius_ft": 9 * INCH,
    "board_width_ft": 6,
    "board_height_ft": 3.5,
    "board_to_baseline_ft": 4,
    "board_bottom_ft": 9.5,
}
# NCAA court diagram of 17 June 2019, in feet and inches.
NCAA_2019_FT = NBA_RULE_1_FT | {
    "lane_width_ft": 12,
    "arc_radius_ft": 22 + 1.75 * INCH,
    "corner_distance_ft": 21 + 7.875 * INCH,
}
# NFHS Basketball Rules Book 2019-20, Rule 1, in feet and inches.
NFHS_2019_FT = NCAA_2019_FT | {
    "length_ft": 84,
    "arc_radius_ft": 19 + 9 * INCH,
    "corner_distance_ft": 19 + 9 * INCH,
    "restricted_radius_ft": None,
}
PUBLISHED = {
    "fiba": {k: v * METRE for k, v in FIBA_2024_M.items()},
    "nba": NBA_RULE_1_FT,
    "ncaa": NCAA_2019_FT,
    "nfhs": NFHS_2019_FT,
}


@pytest.mark.parametrize(
    ("book", "dimension"), [(b, d) for b, dimensions in PUBLISHED.items() for d in dimensions], ids="-".join
)
def test_dimension_is_the_published_one(book: str, dimension: str) -> None:
    ours, published = getattr(RULE_BOOKS[book], dimension), PUBLISHED[book][dimension]
    assert ours == (None if published is None else pytest.approx(published, abs=1e-9))


def test_every_dimension_is_checked() -> None:
    unchecked = {"name", "source", "lane_marks_ft", "lane_mark_depth_ft"}
    fields = {f.name for f in dataclasses.fields(RULE_BOOKS["nba"])} - unchecked
    assert all(set(p) == fields for p in PUBLISHED.values())


@pytest.mark.parametrize("book", RULE_BOOKS.values(), ids=lambda b: b.name)
def test_free_throw_distance_closes_the_sum(book) -> None:
    """The books give the line both from the baseline and from the board; the figures must agree (FIBA fig. 1 and 5)."""
    assert book.lane_length_ft == pytest.approx(book.board_to_baseline_ft + book.free_throw_to_board_ft)


def test_unknown_book_names_the_known() -> None:
    with pytest.raises(SettingsError, match="fiba, nba, ncaa, nfhs"):
        rule_book("streetball")


def _extent(points: np.ndarray, axis: int) -> float:
    return float(np.ptp(points[:, axis]))


@pytest.mark.parametrize("name", RULE_BOOKS)
@pytest.mark.parametrize("end", ["left", "right"])
def test_painted_edges_are_where_the_book_measures_to(name: str, end: str) -> None:
    """Lines have width: their outer (or inner) edges, not their middles, carry the published figures."""
    book, published = RULE_BOOKS[name], PUBLISHED[name]
    lines = {m.name: m for m in markings(book)}
    line = published["line_width_ft"]
    baseline_x = 0.0 if end == "left" else published["length_ft"]
    inwards = 1.0 if end == "left" else -1.0
    middle_y = published["width_ft"] / 2
    # Baseline and sidelines: inner edges on the playing area's border.
    baseline = lines[f"baseline_{end}"].points_ft
    assert np.allclose(baseline[:, 0] + inwards * line / 2, baseline_x)
    assert np.allclose(lines["sideline_near"].points_ft[:, 1] + line / 2, 0)
    assert np.allclose(lines["sideline_far"].points_ft[:, 1] - line / 2, published["width_ft"])
    # Lane: outer edges.
    near, far = lines[f"lane_{end}_near"].points_ft, lines[f"lane_{end}_far"].points_ft
    assert far[0, 1] - near[0, 1] + line == pytest.approx(published["lane_width_ft"])
    # Free-throw line: far edge.
    free_throw = lines[f"free_throw_line_{end}"].points_ft
    assert np.allclose((free_throw[:, 0] - baseline_x) * inwards + line / 2, published["lane_length_ft"])
    # Three-point line: outer edge of the arc from the ring, outer edge of the corners from the middle.
    three = lines[f"three_point_{end}"].points_ft
    ring = np.array([baseline_x + inwards * published["ring_to_baseline_ft"], middle_y])
    top = three[np.argmin(np.abs(three[:, 1] - middle_y))]
    assert np.linalg.norm(top - ring) + line / 2 == pytest.approx(published["arc_radius_ft"], abs=1e-3)
    assert np.allclose(np.abs(three[[0, -1], 1] - middle_y) + line / 2, published["corner_distance_ft"])
    # Circles: outer edge. Restricted arc: inner edge, legs to the plane of the board.
    assert _extent(lines["centre_circle"].points_ft, 1) + line == pytest.approx(
        2 * published["circle_radius_ft"], abs=2e-3
    )
    circle = lines[f"free_throw_circle_{end}"].points_ft
    assert _extent(circle, 1) + line == pytest.approx(2 * published["circle_radius_ft"], abs=2e-3)
    if published["restricted_radius_ft"] is None:
        assert f"restricted_{end}" not in lines
    else:
        arc = lines[f"restricted_{end}"].points_ft
        assert _extent(arc, 1) - line == pytest.approx(2 * published["restricted_radius_ft"], abs=2e-3)
        assert np.allclose((arc[[0, -1], 0] - baseline_x) * inwards, published["board_to_baseline_ft"])


@pytest.mark.parametrize(
    ("name", "straight_ft", "tolerance_ft"),
    [
        ("fiba", 2.99 * METRE, 0.01 * METRE),  # FIBA 2024, fig. 2: straight parts end 2.99 m from the endline
        ("nba", 14.0, 0.25),  # NBA diagram: drawn as 14 ft; the arc of 23 ft 9 in meets 22 ft at 14.2 ft
        ("ncaa", 9 + 10.375 * INCH, 0.05),  # NCAA diagram 2019: 9 ft 10 3/8 in
        ("nfhs", 63 * INCH, 0.01),  # NFHS Rule 1: straight 63 in from the end line, then the arc
    ],
)
def test_corner_length_is_the_published_one(name: str, straight_ft: float, tolerance_ft: float) -> None:
    """Nothing in the code states this length: it follows from arc and corner distance, and must come out as drawn."""
    outline = areas(RULE_BOOKS[name])["three_point_left"]
    near = outline[np.isclose(outline[:, 1], outline[:, 1].min(), atol=1e-6)]
    assert near[:, 0].max() == pytest.approx(straight_ft, abs=tolerance_ft)


def _area(polygon: np.ndarray) -> float:
    x, y = polygon.T
    return 0.5 * abs(float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))))


@pytest.mark.parametrize("name", RULE_BOOKS)
def test_areas_have_the_published_size(name: str) -> None:
    """Areas from the published figures by formula (circle segments), against the polygons by the shoelace formula."""
    p, found = PUBLISHED[name], areas(RULE_BOOKS[name])
    assert _area(found["court"]) == pytest.approx(p["length_ft"] * p["width_ft"])
    assert _area(found["centre_circle"]) == pytest.approx(np.pi * p["circle_radius_ft"] ** 2, rel=1e-3)
    for end in ("left", "right"):
        assert _area(found[f"paint_{end}"]) == pytest.approx(p["lane_length_ft"] * p["lane_width_ft"])
        radius, corner = p["arc_radius_ft"], p["corner_distance_ft"]
        reach = np.sqrt(max(radius**2 - corner**2, 0))
        half = np.arcsin(min(corner / radius, 1))
        three = 2 * corner * (p["ring_to_baseline_ft"] + reach) + radius**2 * (half - np.sin(2 * half) / 2)
        assert _area(found[f"three_point_{end}"]) == pytest.approx(three, rel=1e-3)


def test_markings_are_named_once_and_read_only() -> None:
    for book in RULE_BOOKS.values():
        names = [m.name for m in markings(book)]
        assert len(names) == len(set(names))
        assert not any(m.points_ft.flags.writeable for m in markings(book))
        assert not any(p.flags.writeable for p in areas(book).values())
