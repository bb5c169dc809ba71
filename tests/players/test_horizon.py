"""The horizon from boxes: found again under a tilting camera; statures that stay with the body."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.players.horizon import expected_heights, horizons, log_statures


def standing(seed, frames=100, bodies=10, share=0.2):
    rng = np.random.default_rng(seed)
    truth = -400 + 60 * np.sin(np.arange(frames) / 25)
    stature = rng.normal(0, 0.05, bodies)
    stature -= stature.mean()
    feet = 450 + 130 * np.sin(rng.uniform(0, 6, bodies) + np.arange(frames)[:, None] * rng.uniform(0.02, 0.05, bodies))
    tall = share * (feet - truth[:, None]) * np.exp(stature + rng.normal(0, 0.03, feet.shape))
    across = rng.uniform(100, 1100, feet.shape)
    boxes = np.stack([across, feet - tall, across + 0.4 * tall, feet], axis=2).reshape(-1, 4)
    return truth, stature, boxes, np.repeat(np.arange(frames), bodies), np.tile(np.arange(bodies), frames)


@given(st.integers(0, 1000))
@settings(max_examples=10, deadline=None)
def test_horizon_and_statures_are_found(seed):
    truth, stature, boxes, moment, path = standing(seed)
    found = horizons(boxes, moment, path, 100, height_share=0.2, smooth_frames=5, stature_sigma=0.06)
    assert np.median(np.abs(found - truth)) < 25  # 3 % of a body's distance to the horizon
    away = log_statures(boxes, found[moment], 0.2)
    read = np.array([np.median(away[path == p]) for p in range(10)])
    assert np.corrcoef(read, stature)[0, 1] > 0.8


def test_frames_without_bodies_take_their_neighbours_horizon():
    truth, _, boxes, moment, path = standing(5)
    kept = (moment < 40) | (moment > 44)
    found = horizons(boxes[kept], moment[kept], path[kept], 100, height_share=0.2, smooth_frames=5, stature_sigma=0.06)
    assert np.all(np.isfinite(found))
    assert np.max(np.abs(found[38:47] - truth[38:47])) < 60


def test_no_boxes_at_all():
    nothing = np.zeros(0, dtype=np.int64)
    found = horizons(np.zeros((0, 4)), nothing, nothing, 3, height_share=0.2, smooth_frames=2, stature_sigma=0.06)
    assert found.tolist() == [0, 0, 0]


def test_nobody_is_expected_to_have_no_height():
    assert expected_heights(np.array([[0.0, 0, 10, 20]]), np.array([30.0]), 0.2) == pytest.approx(2.0)
