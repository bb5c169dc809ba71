"""Velocities at any rate."""

import numpy as np
import pytest

from pipeline.players.slopes import velocities


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
