"""Slow tracking gets moments in between."""

from __future__ import annotations

import numpy as np

from pipeline.ball.denser import denser
from pipeline.ball.place_states import Places

LONGEST_S, FILLS_S = 0.13, 0.7


def places(t_s: np.ndarray) -> Places:
    """A ball that flies past one who walks."""
    ball = np.column_stack([20 * t_s, np.full(len(t_s), 25.0)])
    player = np.column_stack([40 - 5 * t_s, np.full(len(t_s), 20.0)])
    return Places(t_s, ball, np.full(len(t_s), np.nan), player[:, None], np.zeros(1, int))


def test_data_of_eight_hertz_stays_as_it_is() -> None:
    given = places(np.arange(20) * 0.12)
    assert denser(given, LONGEST_S, FILLS_S) is given


def test_in_between_everything_is_on_its_way() -> None:
    given = places(np.arange(15) * 0.2)
    made = denser(given, LONGEST_S, FILLS_S)
    assert np.diff(made.t_s).max() <= LONGEST_S
    assert np.isin(np.round(given.t_s, 6), np.round(made.t_s, 6)).all()
    np.testing.assert_allclose(made.ball_ft, places(made.t_s).ball_ft, atol=1e-6)
    np.testing.assert_allclose(made.players_ft, places(made.t_s).players_ft, atol=1e-6)
    assert np.isnan(made.ball_z_ft).all()


def test_what_was_not_seen_stays_unknown() -> None:
    t_s = np.concatenate([np.arange(8) * 0.2, 5 + np.arange(8) * 0.2])
    given = places(t_s)
    given.ball_ft[3] = np.nan
    made = denser(given, LONGEST_S, FILLS_S)
    unknown = np.isnan(made.ball_ft[:, 0])
    assert made.t_s[unknown].min() > t_s[2]
    assert made.t_s[unknown].max() < t_s[4]
    assert not ((made.t_s > t_s[7] + 1e-6) & (made.t_s < 5 - 1e-6)).any()
