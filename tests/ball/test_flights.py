"""Evidence beside bodies, and balls in the air."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_up_play import camera_at

from pipeline.ball.evidence import NOBODY, beside_places, hold_fit, over_court, ring_places, score_gain, sight_rays
from pipeline.ball.flights import BALL_RADIUS_FT, GRAVITY_FT_S2, bounced_fall, free_fall, net_fall
from pipeline.ball.settings import EvidenceSettings
from pipeline.ball.touches import runs
from pipeline.court.rule_books import RULE_BOOKS

EVIDENCE = EvidenceSettings()
PLACE = st.tuples(*[st.floats(0, 50)] * 2, st.floats(2, 9))


@given(PLACE, PLACE, st.floats(0.2, 2.0))
@settings(max_examples=40, deadline=None)
def test_a_free_fall_joins_its_ends_and_falls_with_gravity(start, end, seconds):
    share = np.array([0.0, 0.25, 0.5, 0.75, 1.0])
    ends = [np.tile(np.array(p), (5, 1)) for p in (start, end)]
    way = free_fall(*ends, np.full(5, seconds), share)
    np.testing.assert_allclose(way[0], start, atol=1e-9)
    np.testing.assert_allclose(way[-1], end, atol=1e-9)
    step = seconds / 4
    np.testing.assert_allclose(np.diff(way[:, 2], 2) / step**2, -GRAVITY_FT_S2, rtol=1e-6)


@given(PLACE, PLACE, st.floats(0.3, 1.5))
@settings(max_examples=40, deadline=None)
def test_a_bounce_pass_meets_the_floor_where_it_should(start, end, seconds):
    share = np.array([0.0, 0.6, 1.0])
    ends = [np.tile(np.array(p), (3, 1)) for p in (start, end)]
    way = bounced_fall(*ends, np.full(3, seconds), share, 0.6)
    np.testing.assert_allclose(way[[0, 2]], [start, end], atol=1e-9)
    assert way[1, 2] == pytest.approx(BALL_RADIUS_FT)


def test_a_made_shot_drops_from_the_ring_and_never_goes_below_the_floor():
    ring = ring_places(RULE_BOOKS["nba"])[0]
    share = np.linspace(0, 1, 60)
    ends = [np.tile(p, (60, 1)) for p in (ring, np.array([10.0, 28.0, 4.0]))]
    way = net_fall(*ends, np.full(60, 1.4), share)
    np.testing.assert_allclose(way[0], ring, atol=1e-6)
    np.testing.assert_allclose(way[-1], ends[1][0], atol=1e-6)
    assert way[:, 2].min() > 0
    assert (np.diff(way[:20, 2]) < 0).all()


def test_none_in_the_air():
    nothing = np.zeros((0, 3))
    for way in (free_fall, net_fall):
        assert way(nothing, nothing, np.zeros(0), np.zeros(0)).shape == (0, 3)


def test_a_ball_put_at_its_own_players_depth_is_at_his_side():
    camera = camera_at(0.0)
    places = np.array([[20.0, 10.0], [22.0, 30.0], [np.nan, np.nan]])
    ball = np.array([20.0, 10.0, 4.0])
    right_of_him = camera.rotation()[0] * 2.0
    rays = sight_rays(camera.project(np.array([ball, ball + right_of_him])), camera)
    beside = beside_places(rays, places, camera.centre_ft)
    np.testing.assert_allclose(beside[0, 0], [0, 4], atol=1e-6)
    assert beside[1, 0, 0] == pytest.approx(2, abs=0.1)
    assert np.isnan(beside[:, 2]).all()


def test_hold_fit_knows_hands_from_heads_and_from_far_away():
    held, dribbled, head, floor, away = hold_fit(
        np.array([[0.5, 3.9], [0.8, 1.2], [0.0, 6.4], [0.5, -0.6], [7.0, 3.9]]), EVIDENCE
    )
    assert min(held, dribbled) > 2
    assert min(held, dribbled) > max(head, floor, away) + 0.8
    assert away < -3
    assert hold_fit(np.array([[np.nan, 1.0]]), EVIDENCE)[0] == -np.inf
    mirrored = hold_fit(np.array([[-0.5, 3.9]]), EVIDENCE)[0]
    assert mirrored == pytest.approx(held)


def test_scores_rise_and_are_bounded():
    gain = score_gain(np.linspace(0, 1, 50), EVIDENCE)
    assert (np.diff(gain) >= 0).all()
    assert score_gain(np.array([EVIDENCE.even_score]), EVIDENCE)[0] == pytest.approx(0)
    assert np.abs(gain).max() <= EVIDENCE.most_gain


def test_lamps_and_crowd_are_not_over_the_court():
    camera, book = camera_at(0.0), RULE_BOOKS["nba"]
    points = np.array([[20.0, 20.0, 5.0], [20.0, 90.0, 15.0], [20.0, 45.0, 40.0]])
    rays = sight_rays(camera.project(points), camera)
    assert over_court(rays, camera.centre_ft, book, EVIDENCE).tolist() == [True, False, False]


def test_runs():
    assert runs(np.array([1, 1, NOBODY])) == [(0, 2), (2, 3)]
    assert runs(np.zeros(0)) == []
