"""Two tracks at one place are not two bodies."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.actions.coinciding import coinciding
from pipeline.actions.settings import ViewSettings

STEP_S = 0.04
RULES = ViewSettings()


def gaps(distance_ft: np.ndarray) -> np.ndarray:
    """(T, 3, 3): two players so far apart (T,), a third elsewhere."""
    place = np.zeros((len(distance_ft), 3, 2))
    place[:, 1, 0], place[:, 2, 1] = distance_ft, 20.0
    return np.linalg.norm(place[:, :, None] - place[:, None], axis=3)


def test_one_body_told_twice_is_noticed_from_where_the_two_merge() -> None:
    distance = np.concatenate([np.linspace(6, 0, 31), np.zeros(12), np.linspace(0, 6, 31)])
    found = coinciding(gaps(distance), STEP_S, RULES)
    assert (found[:, 0, 1] == (distance <= RULES.merging_ft)).all()
    assert (found == found.transpose(0, 2, 1)).all()
    assert not found[:, 0, 2].any()
    assert not found[:, 0, 0].any()


@pytest.mark.parametrize("closest_ft", [0.0, 0.5])
def test_two_who_brush_past_each_other_are_two(closest_ft: float) -> None:
    distance = np.hypot(np.linspace(-6, 6, 41), closest_ft)
    assert not coinciding(gaps(distance), STEP_S, RULES).any()


def test_a_place_not_known_coincides_with_nothing() -> None:
    assert not coinciding(np.full((50, 2, 2), np.nan), STEP_S, RULES).any()
