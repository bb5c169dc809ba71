"""Teams by kit."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.errors import ShapeError
from pipeline.players.settings import TeamSettings
from pipeline.players.teams import fit_teams, kit_lean, split_teams, team_of, teams_in_picture

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


def _bodies(seed, shots=3, lean_noise=0.1):
    """Ten bodies in every shot: what they wear, how their kits lean, who is with whom, and their true teams."""
    rng = np.random.default_rng(seed)
    team = np.tile(np.repeat([0, 1], 5), shots)
    own = np.tile(rng.normal(0, 0.3, (10, 8)), (shots, 1))
    shown = np.where(team[:, None] == 1, 1.0, -1.0) * np.array([1, 1, 0.5, 0, 0, 0, 0, 0]) + own
    lean = np.clip(np.where(team == 1, 0.7, -0.7) + rng.normal(0, lean_noise, len(team)), -1, 1)
    shot = np.repeat(np.arange(shots), 10)
    return shown, lean, (shot[:, None] == shot[None]).astype(float), team


@pytest.mark.parametrize("seed", range(5))
def test_five_a_side_corrects_a_kit_that_lies(seed):
    shown, lean, together, team = _bodies(seed)
    lean[2] = 0.6  # one body of team 0 whose kit is read as the other's
    found = split_teams(shown, np.full(30, 200.0), lean, together, TeamSettings())
    np.testing.assert_array_equal(found, team)


def test_teams_by_kits_alone_and_bodies_without_any():
    shown, lean, together, team = _bodies(7)
    lean[3] = np.nan
    found = split_teams(np.full_like(shown, np.nan), np.full(30, 200.0), lean, together, TeamSettings())
    assert found[3] == -1
    np.testing.assert_array_equal(np.delete(found, 3), np.delete(team, 3))


def test_a_short_eleventh_body_does_not_turn_the_teams():
    shown, lean, together, team = _bodies(1, shots=1)
    shown, lean, team = np.vstack([shown, shown[0]]), np.append(lean, -0.9), np.append(team, 0)
    together = np.pad(together, (0, 1))
    together[10, :], together[:10, 10], together[10, 10] = 1.0, 0.05, 1.0
    weight = np.append(np.full(10, 500.0), 25.0)
    np.testing.assert_array_equal(split_teams(shown, weight, lean, together, TeamSettings())[:10], team[:10])


def test_a_lean_is_the_vote_of_clear_kits():
    teams = fit_teams(_kits(np.random.default_rng(3)))
    assert kit_lean(np.array([WHITE] * 3 + [RED]), teams, TeamSettings()) == pytest.approx(-0.5)
    assert np.isnan(kit_lean(np.full((4, 6), np.nan), teams, TeamSettings()))
