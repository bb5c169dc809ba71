import numpy as np
import pytest
from synthetic_floor import area_probabilities, make_camera

from pipeline.court.floor_lines import BORDER_NAMES, border_pieces
from pipeline.court.marks import floor_evidence, marks_by_frame, marks_from_areas, marks_table
from pipeline.court.rule_books import RULE_BOOKS, rule_book
from pipeline.court.settings import MarkSettings
from pipeline.court.single_view import model_map
from pipeline.court.tables import MARKS
from pipeline.court.view_bank import agreement


@pytest.mark.parametrize("name", RULE_BOOKS)
def test_marks_lie_on_the_lines_they_name(name: str) -> None:
    """Perfect areas: nearly every mark lies within a pixel or two of the line it names, its normal inwards."""
    book = RULE_BOOKS[name]
    camera = make_camera(book, k1=0.0)
    marks = marks_from_areas(area_probabilities(camera, book, np.random.default_rng(0), noise=0.0), camera.size_px)
    floor = camera.to_floor(marks.px)
    inwards = camera.to_floor(marks.px + marks.normal)
    for index, border in enumerate(BORDER_NAMES):
        rows = marks.border == index
        if not rows.any():
            continue
        pieces = border_pieces(book)[border]
        distance, _, beyond = pieces.all_distances(floor[rows])
        miss = np.hypot(distance, beyond)
        nearest = miss.argmin(axis=1)
        # Where a free-throw circle touches a 12 ft lane the two cannot be told apart, hence the share.
        assert np.quantile(miss.min(axis=1), 0.65) < 0.3, border
        assert np.median(miss.min(axis=1)) < 0.15, border
        if border != "line":
            after = pieces.all_distances(inwards[rows])[0]
            row = np.arange(len(nearest))
            assert np.mean(after[row, nearest] > distance[row, nearest]) > 0.98, border
    assert {"court_edge", "arc_edge", "paint_edge", "line"} <= {BORDER_NAMES[i] for i in np.unique(marks.border)}


def test_label_map_is_the_model_seen_through_the_camera() -> None:
    book = rule_book("fiba")
    camera = make_camera(book)
    evidence = floor_evidence(area_probabilities(camera, book, np.random.default_rng(0)), camera.size_px)
    assert agreement(evidence.areas, model_map(camera, book)) > 0.93
    turned = make_camera(book, pan_deg=camera.pan_deg + 6)
    assert agreement(evidence.areas, model_map(turned, book)) < 0.75


def test_marks_are_few_and_every_border_gets_its_share() -> None:
    book = rule_book("nba")
    camera = make_camera(book)
    probability = area_probabilities(camera, book, np.random.default_rng(0))
    marks = marks_from_areas(probability, camera.size_px, MarkSettings(most_marks=100))
    assert len(marks) == 100
    assert np.bincount(marks.border, minlength=5)[:3].min() >= 15


def test_same_marks_at_any_map_resolution() -> None:
    book = rule_book("nba")
    camera = make_camera(book)
    for columns in (160, 320, 640):
        marks = marks_from_areas(
            area_probabilities(camera, book, np.random.default_rng(0), columns=columns, noise=0.1, line_px=1.5),
            camera.size_px,
        )
        floor = camera.to_floor(marks.px[marks.border == 2])
        distance, _, beyond = border_pieces(book)["paint_edge"].all_distances(floor)
        assert np.median(np.hypot(distance, beyond).min(axis=1)) < 0.15


def test_table_round_trip() -> None:
    book = rule_book("nba")
    camera = make_camera(book)
    marks = marks_from_areas(area_probabilities(camera, book, np.random.default_rng(0)), camera.size_px)
    table = MARKS.check(marks_table(marks, frame=7, t_s=0.25, shot=1))
    (back,) = marks_by_frame(table).values()
    assert np.allclose(back.px, marks.px, atol=1e-3)
    assert (back.border == marks.border).all()
    assert marks_by_frame(MARKS.empty()) == {}


def test_no_floor_no_marks() -> None:
    planes = np.zeros((6, 90, 160), dtype=np.float32)
    planes[0] = 1
    evidence = floor_evidence(planes, (1280, 720))
    assert len(evidence.marks) == 0
    assert not evidence.areas.any()
