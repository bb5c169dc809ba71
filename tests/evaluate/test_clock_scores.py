"""Scoring a clock: right where it is near, wrong where it is unknown, nothing where nothing is shown."""

import numpy as np
import pytest

from pipeline.evaluate.clock import clock_scores
from pipeline.film.tables import CLOCK


def _clock(values, *, status="read", period=2):
    return CLOCK.from_rows(
        [
            {
                "frame": k,
                "t_s": k / 10,
                "period": None if v is None else period,
                "game_clock_s": v,
                "shot_clock_s": None,
                "running": None if v is None else True,
                "status": "hidden" if v is None else status,
            }
            for k, v in enumerate(values)
        ]
    )


def test_what_is_near_is_right_and_what_is_unknown_is_wrong():
    true = _clock([100.0, 99.0, 98.0, 97.0])
    found = _clock([100.9, 97.9, None, 97.0])
    scores = clock_scores(true, found, np.arange(4), 1.0)
    assert scores["right"] == pytest.approx(0.5)
    assert scores["shown_frames"] == 4
    assert scores["shot_clock_right"] is None


def test_hidden_frames_count_apart():
    scores = clock_scores(_clock([100.0, None, None]), _clock([100.0, 99.0, None]), np.arange(3), 1.0)
    assert scores["right"] == 1.0
    assert scores["hidden_frames"] == 2
    assert scores["hidden_told"] == pytest.approx(0.5)


def test_nothing_shown_is_nothing_measured():
    scores = clock_scores(_clock([None]), _clock([5.0]), np.array([0]), 1.0)
    assert scores["right"] is None
    assert clock_scores(_clock([5.0]), _clock([5.0]), np.array([-1]), 1.0)["shown_frames"] == 0
