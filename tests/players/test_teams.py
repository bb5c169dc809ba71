"""Teams by kit."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.errors import ShapeError
from pipeline.players.teams import fit_teams, team_of, teams_in_picture

WHITE = np.array([88, 0, 2, 85, 0, 2.0])
RED = np.array([42, 55, 30, 40, 50, 28.0])
GREY = np.array([60, 0, 0, 15, 0, 0.0])


def _kits(rng, white=50, red=50, grey=10, noise=5.0):
    rows = np.vstack([np.tile(WHITE, (white, 1)), np.tile(RED, (red, 1)), np.tile(GREY, (grey, 1))])
    return rows + rng.normal(0, noise, rows.shape)


def test_two_teams_come_out_lighter_first():
    kits = _kits(np.random.default_rng(0))
    teams = fit_teams(kits)
    assert teams is not None
    np.testing.assert_allclose(teams.kits[0], WHITE, atol=3)
    np.testing.assert_allclose(teams.kits[1], RED, atol=3)
    found = team_of(kits[:100], teams)
    np.testing.assert_array_equal(found, np.repeat([0, 1], 50))


def test_staffs_colours_name_the_teams():
    kits = _kits(np.random.default_rng(1))
    teams = fit_teams(kits, prior=np.array([RED[:3], WHITE[:3]]))
    assert teams is not None
    np.testing.assert_allclose(teams.kits[0], RED, atol=3)


@given(st.permutations(range(30)))
@settings(max_examples=10, deadline=None)
def test_the_order_of_kits_does_not_matter(order):
    kits = _kits(np.random.default_rng(2), 14, 12, 4)
    plain, turned = fit_teams(kits), fit_teams(kits[list(order)])
    assert plain is not None
    assert turned is not None
    np.testing.assert_array_equal(plain.kits, turned.kits)


def test_unlike_either_or_between_is_unsure():
    teams = fit_teams(_kits(np.random.default_rng(3)))
    between = (WHITE + RED) / 2
    odd = np.array([40, -70, 40, 40, -70, 40.0])
    unread = np.full(6, np.nan)
    np.testing.assert_array_equal(team_of(np.array([between, odd, unread, WHITE]), teams), [-1, -1, -1, 0])


def test_one_colour_too_few_or_none_are_no_teams():
    rng = np.random.default_rng(4)
    assert fit_teams(_kits(rng, 60, 0, 0, noise=2.0)) is None
    assert fit_teams(np.zeros((0, 6))) is None
    assert fit_teams(np.full((9, 6), np.nan)) is None
    assert fit_teams(_kits(rng, 1, 1, 0)) is None
    np.testing.assert_array_equal(teams_in_picture(np.zeros((0, 6))), [])
    np.testing.assert_array_equal(teams_in_picture(np.tile(WHITE, (6, 1))), [-1] * 6)


def test_a_picture_of_eight_players():
    kits = _kits(np.random.default_rng(5), 5, 3, 0)
    np.testing.assert_array_equal(teams_in_picture(kits), [0] * 5 + [1] * 3)


def test_shape_is_checked():
    with pytest.raises(ShapeError, match="6"):
        fit_teams(np.ones((5, 3)))
