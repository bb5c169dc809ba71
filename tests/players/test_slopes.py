"""Velocities at any rate."""

import numpy as np
import pytest

from pipeline.players.slopes import shake_of, smoothed, velocities


def test_velocities_are_slopes_whatever_the_steps():
    t = np.array([0.0, 0.1, 0.16, 0.3, 0.42, 0.5])
    line = np.column_stack([3 * t - 1, -2 * t])
    assert velocities(t, line, 0.2) == pytest.approx(np.tile([3.0, -2.0], (6, 1)))
    assert np.isnan(velocities(t[:1], line[:1], 0.2)).all()
    assert velocities(t[:0], line[:0], 0.2).shape == (0, 2)


def test_what_is_not_known_has_no_velocity():
    t = np.arange(6) * 0.1
    some = np.array([[0.0], [1.0], [np.nan], [3.0], [np.nan], [np.nan]])
    got = velocities(t, some, 0.1)
    assert got[[0, 1], 0] == pytest.approx([10.0, 10.0])
    assert np.isnan(got[[2, 3, 4, 5]]).all(), "a place alone has none either"


def test_smoothing_leaves_straight_ways_alone_and_calms_the_rest():
    t = np.arange(100) * 0.04
    line = np.column_stack([12 * t, 5 - 3 * t])
    assert smoothed(t, line, 0.1) == pytest.approx(line)
    rng = np.random.default_rng(2)
    rough = line + rng.normal(0, 0.5, line.shape)
    assert np.std(smoothed(t, rough, 0.1) - line) < 0.6 * np.std(rough - line)
    assert np.array_equal(smoothed(t, rough, 0.01), rough), "no other moment is near enough"


def test_the_shake_of_places_is_their_error():
    rng = np.random.default_rng(3)
    t = np.arange(400) * 0.04
    way = np.column_stack([20 + 8 * np.sin(t), 10 * np.cos(0.7 * t)])
    assert shake_of(t, way) < 0.01
    assert shake_of(t, way + rng.normal(0, 0.6, way.shape)) == pytest.approx(0.6, rel=0.15)
    assert shake_of(t[:3], way[:3]) == 0.0
    assert shake_of(t, np.full_like(way, np.nan)) == 0.0
