"""Looks and stances of bodies drawn by hand."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.errors import ShapeError
from pipeline.players.body_looks import COLOURS_LAB, STRIPES, WINDOW_PX, body_looks, stances, windows
from pipeline.players.tables import LOOK_LENGTH

FLOOR = (120, 170, 200)


def picture(bodies, size=(360, 640)):
    """Bodies as (x, y of the feet, height, shift of the upper half, shirt, shoes)."""
    frame = np.full((*size, 3), FLOOR, dtype=np.uint8)
    boxes = []
    for x, y, height, shift, shirt, shoes in bodies:
        half = int(0.13 * height)
        middle = x + int(shift * height)
        frame[y - height : y - height // 2, middle - half : middle + half] = shirt
        frame[y - height // 2 : y, x - half : x + half] = (60, 60, 60)
        frame[y - height // 12 : y, x - half : x + half] = shoes
        boxes.append((min(x, middle) - half, y - height, max(x, middle) + half, y))
    return frame, np.array(boxes, dtype=float)


def test_looks_tell_shoes_apart_and_not_places():
    red, blue = (40, 40, 220), (220, 60, 40)
    frame, boxes = picture([(100, 200, 90, 0, red, red), (300, 320, 120, 0, red, red), (500, 220, 90, 0, red, blue)])
    looks = body_looks(frame, boxes).look.astype(float)
    same, other = np.linalg.norm(looks[0] - looks[1]), np.linalg.norm(looks[0] - looks[2])
    assert other > 2 * same


def test_shares_of_a_stripe_sum_to_one():
    frame, boxes = picture([(100, 200, 90, 0, (0, 200, 0), (255, 255, 255))])
    shares = (body_looks(frame, boxes).look[0].astype(float).reshape(STRIPES, len(COLOURS_LAB)) / 255) ** 2
    assert shares.sum(axis=1) == pytest.approx(np.ones(STRIPES), abs=0.02)


@settings(max_examples=20, deadline=None)
@given(st.floats(-0.15, 0.15), st.integers(60, 200))
def test_a_mirrored_picture_mirrors_the_stance(shift, height):
    frame, boxes = picture([(320, 300, height, shift, (30, 30, 200), (0, 0, 0))])
    seen = body_looks(frame, boxes)
    mirrored = np.column_stack([639 - boxes[:, 2], boxes[:, 1], 639 - boxes[:, 0], boxes[:, 3]])
    turned = body_looks(np.ascontiguousarray(frame[:, ::-1]), mirrored)
    assert turned.across == pytest.approx(-seen.across, abs=0.02 + 2 / height)  # about a pixel of the box's width
    assert turned.away_ft == pytest.approx(seen.away_ft, abs=0.2)


def test_an_even_silhouette_stands_in_its_middle():
    body = np.zeros((1, 12, 16))
    body[:, :, 6:10] = 1
    across, away_ft = stances(body)
    assert across == pytest.approx(0, abs=1e-6)
    assert 0 < away_ft[0] < 2


@settings(max_examples=30, deadline=None)
@given(st.lists(st.tuples(*[st.floats(-500, 1500)] * 4), max_size=4))
def test_any_box_is_looked_at(corners):
    boxes = np.array(corners, dtype=float).reshape(-1, 4)
    found = body_looks(np.zeros((72, 128, 3), np.uint8), boxes)
    assert found.look.shape == (len(boxes), LOOK_LENGTH)
    assert np.isfinite(found.across).all()
    assert windows(np.zeros((72, 128, 3), np.uint8), boxes).shape == (len(boxes), WINDOW_PX[1], WINDOW_PX[0], 3)


def test_wrong_shapes_are_refused():
    with pytest.raises(ShapeError):
        body_looks(np.zeros((10, 10), np.uint8), np.zeros((1, 4)))
    with pytest.raises(ShapeError):
        body_looks(np.zeros((10, 10, 3), np.uint8), np.zeros((1, 5)))
