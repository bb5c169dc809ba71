"""Named places against the glossary's figures for an NBA floor, and their scaling."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.court.places import PLACES, place_names, places
from pipeline.court.rule_books import RULE_BOOKS

NBA = RULE_BOOKS["nba"]


@pytest.mark.parametrize(
    ("uv", "name"),
    [
        ((2.0, 8.0), "block"),
        ((-2.0, 14.0), "short_corner"),
        ((4.0, 21.0), "corner"),
        ((13.75, -8.0), "elbow"),
        ((16.0, 0.0), "high_post"),
        ((15.0, 20.0), "wing"),
        ((25.0, -10.0), "slot"),
        ((25.0, 0.0), "top"),
        ((40.0, 0.0), "half_court"),
        ((1.0, 0.5), "restricted_area"),
        ((8.0, 0.0), "paint"),
    ],
)
def test_middle_of_each_place(uv: tuple[float, float], name: str) -> None:
    assert place_names([uv], NBA) == [name]
    assert places([uv], NBA)[name][0]


@given(st.floats(-5, 45), st.floats(-25, 25), st.sampled_from(list(RULE_BOOKS.values())))
def test_left_and_right_are_alike(u, v, book) -> None:
    assert place_names([[u, v]], book) == place_names([[u, -v]], book)


def test_places_scale_with_the_book() -> None:
    """A corner shooter of a NFHS floor stands outside 19.75 ft; 17 ft there is as 18.9 ft in the NBA."""
    assert places([[2.0, 17.0]], RULE_BOOKS["nfhs"])["corner"][0]
    assert not places([[2.0, 17.0]], NBA)["corner"][0]
    assert not places([[1.0, 1.0]], RULE_BOOKS["nfhs"])["restricted_area"][0]  # that book has no arc


def test_unknown_is_nowhere_and_empty_is_empty() -> None:
    held = places([[np.nan, np.nan]], NBA)
    assert set(held) == set(PLACES)
    assert not any(h[0] for h in held.values())
    assert place_names([[np.nan, np.nan]], NBA) == [""]
    assert place_names(np.zeros((0, 2)), NBA) == []
