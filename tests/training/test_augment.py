"""Framing training pictures: boxes must move with the pixels, and painted balls lie where their boxes say."""

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.training.augment import BALL, Framing, covers, fitted, framed, moved_boxes, with_ball
from pipeline.training.packs import HIDDEN_BALL, NOTHING

INPUT = (320, 192)
NO_BALL = np.full((1, 2), np.nan)


def checker(size_px, spots):
    """A grey picture with filled white rectangles at whole-pixel boxes."""
    picture = np.full((size_px[1], size_px[0], 3), 60, np.uint8)
    for x1, y1, x2, y2 in spots:
        picture[y1 : y2 + 1, x1 : x2 + 1] = 255
    return picture


@pytest.mark.parametrize("size_px", [(640, 360), (1280, 720), (300, 300), (100, 400)])
def test_fitting_keeps_the_shape_and_centres(size_px):
    matrix = fitted(size_px, INPUT)
    corners = np.array([[-0.5, -0.5, 1], [size_px[0] - 0.5, size_px[1] - 0.5, 1]]) @ matrix.T
    low, high = corners[0, :2], corners[1, :2]
    np.testing.assert_allclose(low + high, np.array(INPUT) - 1, atol=1e-9)
    np.testing.assert_allclose((high - low)[0] / (high - low)[1], size_px[0] / size_px[1], rtol=1e-9)
    assert (low >= -0.5 - 1e-9).all()
    assert np.isclose((high - low) / INPUT, 1).any(), "one side fills the input"


@given(seed=st.integers(0, 10_000))
def test_boxes_move_with_the_pixels(seed):
    rng = np.random.default_rng(seed)
    spot = (270, 150, 330, 230)
    matrix = framed((640, 360), INPUT, NO_BALL, rng, Framing(max_turn_deg=0.0, max_shear=0.0))
    picture = cv2.warpAffine(checker((640, 360), [spot]), matrix[0, :2], INPUT, flags=cv2.INTER_LINEAR)
    whole = np.array([[[269.5, 149.5, 330.5, 230.5]]])
    boxes, classes = moved_boxes(whole, np.array([[0]]), matrix, INPUT)
    ys, xs = np.nonzero(picture[:, :, 0] > 150)
    if classes[0, 0] == 0 and len(xs):
        seen = np.array([xs.min() - 0.5, ys.min() - 0.5, xs.max() + 0.5, ys.max() + 0.5])
        np.testing.assert_allclose(boxes[0, 0], seen, atol=1.0)


@given(seed=st.integers(0, 10_000), x=st.floats(0, 639), y=st.floats(0, 359))
def test_a_ball_zoomed_on_stays_well_inside(seed, x, y):
    ball = np.array([[x, y]])
    matrix = framed((640, 360), INPUT, ball, np.random.default_rng(seed), Framing(on_ball_share=1.0))[0]
    place = matrix[:2, :2] @ ball[0] + matrix[:2, 2]
    assert (np.abs(place - np.array(INPUT) / 2) <= 0.33 * np.array(INPUT)).all()
    assert abs(np.linalg.det(matrix[:2, :2])) >= 0.99 * (0.5**2) * (1 - 0.04**2) - 1e-6, "never zoomed out"


def test_boxes_mostly_outside_are_gone():
    matrix = fitted((320, 192), INPUT)[None]
    given_boxes = np.array([[[-20.0, 10, 20, 50], [100, 20, 140, 60], [-90, 10, 10, 50], [5, 5, 6, 6]]])
    boxes, classes = moved_boxes(given_boxes, np.array([[0, 1, 0, BALL]]), matrix, INPUT)
    np.testing.assert_array_equal(classes, [[0, 1, NOTHING, NOTHING]])
    np.testing.assert_allclose(boxes[0, 0], [-0.5, 10, 20, 50], atol=1e-6)


def test_a_covered_ball_is_a_hidden_one():
    boxes = np.array([[[100.0, 40, 140, 160], [118, 128, 124, 134]]] * 200)
    classes = np.array([[0, BALL]] * 200)
    rectangles, after = covers(boxes, classes, np.random.default_rng(3), 1.0)
    assert len(rectangles) > 150
    assert (after[:, 0] == 0).all()
    for number, left, top, right, bottom in rectangles:
        assert left < right
        assert top < bottom
        inside = left <= 117 and top <= 127 and right >= 125 and bottom >= 135
        if inside:
            assert after[number, 1] == HIDDEN_BALL
    assert 0 < (after[:, 1] == HIDDEN_BALL).mean() < 1


@given(seed=st.integers(0, 10_000))
def test_a_painted_ball_lies_where_its_box_says(seed):
    rng = np.random.default_rng(seed)
    picture = np.full((360, 640, 3), 120, np.uint8)
    people = np.array([[300.0, 120, 340, 232], [20, 200, 60, 310]])
    painted, box = with_ball(picture, people, rng)
    changed = (np.abs(painted.astype(int) - picture).max(axis=2) > 12).astype(np.uint8)
    if not box.any():
        np.testing.assert_array_equal(painted, picture)
        return
    inside = changed[max(0, int(box[1])) : int(box[3]) + 1, max(0, int(box[0])) : int(box[2]) + 1]
    assert inside.sum() > 0.3 * (box[2] - box[0]) * (box[3] - box[1]) or changed.sum() < 12
    outside = changed.sum() - inside.sum()
    assert outside <= 1.2 * inside.sum() + 30, "only a soft edge lies outside the box"
    # 0.79 ft against players of 6.4 ft, at most a quarter larger, and a smear of its own length.
    assert max(box[2] - box[0], box[3] - box[1]) < 2.4 * 1.25 * 112 * 0.79 / 6.4 + 4
    assert (box[:2] >= -1).all()
    assert (box[2:] <= [641, 361]).all()


def test_painting_leaves_the_original_alone():
    picture = np.full((200, 300, 3), 90, np.uint8)
    kept = picture.copy()
    with_ball(picture, np.array([[100.0, 50, 140, 160]]), np.random.default_rng(3))
    np.testing.assert_array_equal(picture, kept)
