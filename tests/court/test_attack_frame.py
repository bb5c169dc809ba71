import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.court.attack_frame import nearest_end, ring_ft, to_attack, to_court
from pipeline.court.floor_lines import area_labels
from pipeline.court.geometry import areas, in_paint, in_three_point_area
from pipeline.court.rule_books import RULE_BOOKS
from pipeline.errors import ShapeError

books = st.sampled_from(list(RULE_BOOKS.values()))
ends = st.sampled_from(["left", "right"])
points = st.lists(st.tuples(st.floats(-30, 130), st.floats(-30, 80)), min_size=0, max_size=20).map(
    lambda rows: np.array(rows, dtype=float).reshape(-1, 2)
)

# On a grid that keeps every point at least 0.0001 ft off every edge of every book.
off_edge = points.map(lambda xy: np.round(xy, 2) + 0.00123)


@given(books, ends, points)
def test_round_trip(book, end, xy) -> None:
    assert np.allclose(to_court(to_attack(xy, book, end), book, end), xy)


@given(books, ends, points)
def test_distances_are_kept_and_nothing_is_mirrored(book, end, xy) -> None:
    uv = to_attack(xy, book, end)
    assert np.allclose(np.linalg.norm(uv, axis=1), np.linalg.norm(xy - ring_ft(book, end), axis=1))
    corners = to_attack(np.array([[0.0, 0], [1, 0], [0, 1]]), book, end)
    assert np.linalg.det(corners[1:] - corners[0]) == pytest.approx(1.0)


@given(books, off_edge)
def test_turning_the_court_half_round_swaps_the_ends(book, xy) -> None:
    turned = np.array([book.length_ft, book.width_ft]) - xy
    assert np.allclose(to_attack(xy, book, "left"), to_attack(turned, book, "right"))
    assert (in_paint(xy, book, "left") == in_paint(turned, book, "right")).all()


@given(books, ends, off_edge)
def test_mirror_across_the_long_axis_flips_v_only(book, end, xy) -> None:
    mirrored = xy * [1, -1] + [0, book.width_ft]
    assert np.allclose(to_attack(mirrored, book, end), to_attack(xy, book, end) * [1, -1])
    assert (in_paint(mirrored, book, end) == in_paint(xy, book, end)).all()
    assert (area_labels(mirrored, book) == area_labels(xy, book)).all()


def test_right_hand_as_seen_from_half_court() -> None:
    """Facing the left ring from half court one looks along -x; the far sideline (+y) is on the right hand."""
    book = RULE_BOOKS["nba"]
    assert np.allclose(to_attack([[47, 50]], book, "left"), [[47 - 5.25, 25]])
    assert np.allclose(to_attack([[47, 50]], book, "right"), [[47 - 5.25, -25]])


def test_ring_stands_5_25_ft_from_the_baseline_nba() -> None:
    book = RULE_BOOKS["nba"]
    assert np.allclose(ring_ft(book, "left"), [5.25, 25])
    assert np.allclose(ring_ft(book, "right"), [94 - 5.25, 25])


@given(books, off_edge)
def test_area_labels_agree_with_the_areas(book, xy) -> None:
    """Two independent descriptions of the floor: analytic labels against the public area tests."""
    labels = area_labels(xy, book)
    paint = in_paint(xy, book, "left") | in_paint(xy, book, "right")
    three = in_three_point_area(xy, book, "left") | in_three_point_area(xy, book, "right")
    assert ((labels == 3) == paint).all()
    assert (((labels == 2) | (labels == 3)) == (three | paint)).all()
    off = (xy < 0).any(axis=1) | (xy > [book.length_ft, book.width_ft]).any(axis=1)
    assert ((labels == 0) == off).all()


def test_paint_edges_belong_to_the_paint_and_unknown_does_not() -> None:
    book = RULE_BOOKS["fiba"]
    assert in_paint(areas(book)["paint_left"] * [1, 1 - 1e-12], book, "left")[[0, 3]].any()
    assert not in_paint([[np.nan, np.nan]], book, "left").any()
    assert in_paint(np.zeros((0, 2)), book, "left").shape == (0,)
    assert list(nearest_end([[10, 5], [80, 5]], book)) == ["left", "right"]


@pytest.mark.parametrize("bad", [np.zeros(2), np.zeros((2, 3))])
def test_wrong_shapes_are_refused(bad) -> None:
    with pytest.raises(ShapeError, match=r"\(N, 2\)"):
        to_attack(bad, RULE_BOOKS["nba"], "left")


def test_wrong_end_is_refused() -> None:
    with pytest.raises(ShapeError, match="'left' and 'right'"):
        ring_ft(RULE_BOOKS["nba"], "north")  # type: ignore[arg-type]
