"""Kit colours: known patches, disturbances, empty and broken input."""

import cv2
import numpy as np
import pytest

from pipeline.errors import ShapeError
from pipeline.players.kit import kit_lab, kits_lab

BOX = np.array([100.0, 50.0, 150.0, 200.0])


def _lab(bgr):
    patch = np.array([[bgr]], dtype=np.float32) / 255
    return cv2.cvtColor(patch, cv2.COLOR_BGR2LAB)[0, 0]


def _body(jersey, shorts, floor=(120, 170, 200)):
    frame = np.full((300, 300, 3), floor, dtype=np.uint8)
    frame[50:75, 112:138] = (90, 120, 180)  # head
    frame[75:120, 108:142] = jersey
    frame[120:148, 108:142] = shorts
    frame[148:200, 112:138] = (90, 120, 180)  # legs
    return frame


def test_plain_kit_is_read_exactly():
    jersey, shorts = (200, 40, 20), (240, 240, 240)
    kit = kit_lab(_body(jersey, shorts), BOX)
    assert kit.shape == (6,)
    assert kit.dtype == np.float32
    np.testing.assert_allclose(kit[:3], _lab(jersey), atol=0.6)
    np.testing.assert_allclose(kit[3:], _lab(shorts), atol=0.6)


@pytest.mark.parametrize("shift", [-6, 6])
def test_a_number_and_a_misplaced_box_do_not_change_it(shift):
    frame = _body((30, 30, 190), (30, 30, 190))
    frame[85:105, 121:129] = (255, 255, 255)  # number
    kit = kit_lab(frame, BOX + np.array([shift, 0, shift, 0]))
    np.testing.assert_allclose(kit[:3], _lab((30, 30, 190)), atol=2)


def test_mirror_gives_the_same_kit():
    frame = _body((30, 120, 30), (10, 10, 10))
    mirrored = np.ascontiguousarray(frame[:, ::-1])
    box = np.array([299 - 150 + 1, 50.0, 299 - 100 + 1, 200.0])
    np.testing.assert_allclose(kit_lab(mirrored, box), kit_lab(frame, BOX), atol=0.5)


def test_outside_the_picture_or_not_finite_is_nan():
    frame = _body((1, 2, 3), (4, 5, 6))
    assert np.isnan(kit_lab(frame, np.array([400.0, 400, 450, 500]))).all()
    assert np.isnan(kit_lab(frame, np.array([np.nan, 0, 10, 10]))).all()
    below = kit_lab(frame, np.array([100.0, 240, 150, 360]))  # the shorts are below the picture's edge
    assert np.isfinite(below[:3]).all()


def test_many_none_and_one():
    frame = _body((200, 40, 20), (240, 240, 240))
    assert kits_lab(frame, np.zeros((0, 4))).shape == (0, 6)
    np.testing.assert_array_equal(kits_lab(frame, BOX[None])[0], kit_lab(frame, BOX))
    assert np.isfinite(kit_lab(frame, np.array([100.0, 50.0, 100.2, 50.4]))).all()


def test_shapes_are_checked():
    with pytest.raises(ShapeError, match="colour"):
        kit_lab(np.zeros((10, 10), np.uint8), BOX)
    with pytest.raises(ShapeError, match="corners"):
        kits_lab(np.zeros((10, 10, 3), np.uint8), np.zeros((3, 5)))
