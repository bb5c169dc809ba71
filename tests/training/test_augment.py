"""Disturbing training pictures: boxes and masks must move with the pixels."""

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.training.augment import Framing, coarsened, fitted, framed, moved_boxes, with_ball

INPUT = (320, 192)


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
    matrix = framed((640, 360), INPUT, rng, Framing(max_turn_deg=0.0, max_shear=0.0))
    picture = cv2.warpAffine(checker((640, 360), [spot]), matrix[:2], INPUT, flags=cv2.INTER_LINEAR)
    boxes, share = moved_boxes(np.array([[269.5, 149.5, 330.5, 230.5]]), matrix, INPUT)
    ys, xs = np.nonzero(picture[:, :, 0] > 150)
    if share[0] > 0.99 and len(xs):
        seen = np.array([xs.min() - 0.5, ys.min() - 0.5, xs.max() + 0.5, ys.max() + 0.5])
        np.testing.assert_allclose(boxes[0], seen, atol=1.0)


def test_a_box_half_outside_says_so():
    matrix = fitted((320, 192), INPUT)
    boxes, share = moved_boxes(np.array([[-20.0, 10, 20, 50], [100, 20, 140, 60]]), matrix, INPUT)
    np.testing.assert_allclose(share, [0.5, 1.0], atol=1e-6)
    np.testing.assert_allclose(boxes[0], [0, 10, 20, 50], atol=1e-6)


def test_no_boxes_are_no_boxes():
    boxes, share = moved_boxes(np.empty((0, 4)), np.eye(3), INPUT)
    assert boxes.shape == (0, 4)
    assert share.shape == (0,)


def test_the_same_seed_disturbs_alike():
    picture = np.random.default_rng(0).integers(0, 255, (96, 160, 3), dtype=np.uint8)
    for seed in range(25):
        once = coarsened(picture, np.random.default_rng(seed))
        again = coarsened(picture, np.random.default_rng(seed))
        assert once.shape == picture.shape
        assert once.dtype == np.uint8
        np.testing.assert_array_equal(once, again)


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
