"""Tracking boxes without a court: camera motion, identities, smoothing, degenerate input."""

import numpy as np
import pytest

from pipeline.errors import ShapeError
from pipeline.evaluate.tracking_scores import SequenceMatch, iou, score_sequences
from pipeline.players.box_tracking import measured_edge_noise, track_boxes
from pipeline.players.camera_motion import camera_path, common_motion

SIZE = (1280, 720)


def film(seed=0, frames=120, pan=4.0, zoom=0.002, noise=0.02, loss=0.05):
    """Ten walking bodies under a panning, zooming camera: true ids and boxes, and disturbed boxes."""
    rng = np.random.default_rng(seed)
    place = np.column_stack([rng.uniform(-15, 15, 10), rng.uniform(-6, 6, 10)])
    velocity = rng.normal(0, 1, (10, 2)) * [4, 1.5]
    ids, boxes, seen = [], [], []
    shift, scale = 0.0, 20.0
    for k in range(frames):
        velocity += rng.normal(0, 1, (10, 2)) * [0.8, 0.3] - 0.02 * place * [0.3, 0.3]
        place = place + velocity / 25
        shift += pan * np.sin(k / 20)
        scale *= 1 + zoom * np.sin(k / 30)
        head = place * scale + [640 + shift, 260]
        tall = 6.3 * scale * np.ones(10)
        box = np.column_stack([head[:, 0] - 0.2 * tall, head[:, 1], head[:, 0] + 0.2 * tall, head[:, 1] + tall])
        inside = (box[:, 2] > 0) & (box[:, 0] < SIZE[0])
        ids.append(np.flatnonzero(inside))
        boxes.append(box[inside])
        kept = box[inside][rng.random(inside.sum()) > loss]
        size = np.tile(kept[:, 2:] - kept[:, :2], 2)
        seen.append(kept + rng.normal(0, noise, kept.shape) * size)
    return ids, boxes, seen


def _score(ids, boxes, tracks):
    similarity = tuple(iou(t, f) for t, f in zip(boxes, tracks.boxes, strict=True))
    return score_sequences([SequenceMatch(tuple(ids), tracks.ids, similarity)])


def test_ten_bodies_under_a_moving_camera():
    ids, boxes, seen = film()
    tracks = track_boxes(seen, np.arange(len(seen)) / 25, SIZE)
    scores = _score(ids, boxes, tracks)
    assert scores["IDF1"] > 0.95
    assert scores["HOTA"] > 0.85
    raw = SequenceMatch(
        tuple(ids), tuple(np.arange(len(b)) for b in seen), tuple(iou(t, f) for t, f in zip(boxes, seen, strict=True))
    )
    assert scores["LocA"] > score_sequences([raw])["LocA"]  # smoothing brings boxes nearer to the truth
    assert scores["found"] > sum(len(b) for b in seen)  # and gaps are filled


def test_the_order_of_boxes_does_not_matter():
    _, _, seen = film(1, frames=60)
    rng = np.random.default_rng(0)
    turned = [b[rng.permutation(len(b))] for b in seen]
    times = np.arange(len(seen)) / 25
    plain, other = track_boxes(seen, times, SIZE), track_boxes(turned, times, SIZE)
    for a, b, c, d in zip(plain.ids, other.ids, plain.boxes, other.boxes, strict=True):
        np.testing.assert_array_equal(a, b)
        np.testing.assert_array_equal(c, d)


def test_common_motion_is_found_among_own_motions():
    rng = np.random.default_rng(3)
    middle = np.array([640.0, 360.0])
    centre = rng.uniform([-500, -150], [500, 150], (9, 2))
    half = np.array([25.0, 65.0])
    before = np.hstack([centre - half, centre + half]) + np.tile(middle, 2)
    moved = centre * np.exp(0.01) + [18.0, -3.0] + rng.normal(0, 0.7, (9, 2))
    after = np.hstack([moved - half, moved + half]) + np.tile(middle, 2)
    log_zoom, x, y = common_motion(before, after[rng.permutation(9)][:8], middle, (0.0, 10.0, 0.0))
    assert log_zoom == pytest.approx(0.01, abs=0.008)
    assert x == pytest.approx(18, abs=2)
    assert y == pytest.approx(-3, abs=2)


def test_without_bodies_the_camera_keeps_moving_as_before():
    nothing = np.zeros((0, 4))
    assert common_motion(nothing, nothing, np.array([640.0, 360.0]), (0.0, 3.0, 1.0)) == (0.0, 3.0, 1.0)


def test_plane_and_picture_are_inverse():
    _, _, seen = film(2, frames=30)
    moment = np.repeat(np.arange(30), [len(b) for b in seen])
    camera = camera_path(np.concatenate(seen), moment, 30, SIZE, 6.3)
    points = np.random.default_rng(0).uniform(0, 1000, (30, 2))
    there = camera.to_plane(np.arange(30), points)
    np.testing.assert_allclose(camera.to_picture(np.arange(30), there), points, atol=1e-9)


def test_edge_noise_is_measured():
    ids, boxes, _ = film(4, frames=200, pan=1.0)
    rng = np.random.default_rng(1)
    for wanted in (0.01, 0.03):
        every, moment, rows = [], [], [[] for _ in range(10)]
        count = 0
        for k, (names, box) in enumerate(zip(ids, boxes, strict=True)):
            size = np.tile(box[:, 2:] - box[:, :2], 2)
            every.append(box + rng.normal(0, wanted, box.shape) * size)
            for name in names:
                rows[name].append(count)
                moment.append(k)
                count += 1
        found = measured_edge_noise(np.concatenate(every), np.array(moment), [np.array(r) for r in rows], 0.5)
        assert found == pytest.approx(wanted, rel=0.15)
    assert measured_edge_noise(np.zeros((0, 4)), np.zeros(0, int), [], 0.07) == 0.07


def test_nothing_one_and_broken():
    times = np.arange(4) / 25
    empty = track_boxes([np.zeros((0, 4))] * 4, times, SIZE)
    assert all(len(i) == 0 for i in empty.ids)
    one = [np.array([[100.0, 100, 140, 200]])] * 4
    assert [len(i) for i in track_boxes(one, times, SIZE).ids] == [1, 1, 1, 1]
    broken = [np.array([[100.0, 100, 140, 200], [np.nan, 0, 1, 1], [50, 50, 40, 40]])] * 4
    assert [len(i) for i in track_boxes(broken, times, SIZE).ids] == [1, 1, 1, 1]
    with pytest.raises(ShapeError, match="one time a frame"):
        track_boxes(one, times[:2], SIZE)
