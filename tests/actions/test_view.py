"""A possession on even times: rates, gaps, matchups, sides of the floor."""

from itertools import pairwise

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.actions.certainty import certainty
from pipeline.actions.even_time import even_places, even_times
from pipeline.actions.guards import guards
from pipeline.actions.recognisers import RECOGNISERS
from pipeline.actions.settings import GuardSettings
from pipeline.actions.view import NOBODY, PossessionView
from pipeline.actions.view_building import possession_views
from pipeline.actions.vocabulary import KIND, UNKNOWN, measure_names, trait_names
from pipeline.ball.imported_ball import PlayTables
from tests.actions.made_up import NBA, RULES, along, found, play, times


def view_of(p: PlayTables) -> PossessionView:
    (view,) = possession_views(p.tracks, p.ball, p.touches, p.possessions, NBA, RULES)
    return view


def run_in(step_s: float, *, end: str = "left") -> PlayTables:
    t = times(step_s, end_s=4.0)
    return play({0: along(t, (0, 28, 0)), 1: along(t, (0, 24, -8), (1, 24, -8), (3, 4, 2), (4, 4, 2))}, t, end=end)


@given(st.floats(0, 50), st.floats(0, 20), st.sampled_from([0.04, 0.1, 0.25]))
def test_even_times_are_multiples_of_the_step(first, length, step):
    t = even_times(first, first + length, step)
    assert len(t) >= 1
    assert np.allclose(t / step, np.round(t / step))
    assert t[0] >= first - 1e-6
    assert np.allclose(np.diff(t), step)


@pytest.mark.parametrize("rate_hz", [5, 8.33, 12.5, 25, 60])
def test_places_and_speeds_do_not_hang_on_the_rate(rate_hz):
    view = view_of(run_in(1 / rate_hz))
    fine = view_of(run_in(1 / 60))
    at = np.arange(0.4, 3.6, 0.2)
    column = int(np.flatnonzero(view.tracks == 1)[0])
    for t_s in at:
        assert view.place_at(t_s, column) == pytest.approx(fine.place_at(t_s, column), abs=0.5)
    top = view.speed_ft_s[:, column].max()
    assert top == pytest.approx(np.hypot(20, 10) / 2, abs=0.6)
    assert view.step_s == fine.step_s


def test_a_long_gap_stays_unknown_and_a_short_one_is_less_sure():
    p = run_in(0.1)
    seen = [not (r["track"] == 1 and (1.0 < r["t_s"] < 1.55 or 2.0 < r["t_s"] < 3.0)) for r in p.tracks.to_pylist()]
    view = view_of(PlayTables(p.tracks.filter(pa.array(seen)), p.ball, p.touches, p.possessions))
    column = int(np.flatnonzero(view.tracks == 1)[0])
    assert np.isfinite(view.uv_ft[view.span(1.1, 1.4), column]).all()
    assert np.isnan(view.uv_ft[view.span(2.1, 2.8), column]).all()
    assert not view.observed[view.span(1.1, 1.4), column].any()
    assert view.sigma_ft[view.at(1.3), column] > view.sigma_ft[view.at(0.5), column]
    assert certainty(view, [column], view.at(1.1), view.at(1.4), 2.0) < certainty(view, [column], 0, view.at(0.9), 2.0)


def test_nobody_anywhere_gives_no_place():
    even = even_places(
        np.array([0.0, 0.1]), np.full((2, 1, 2), np.nan), even_times(0, 0.1, 0.04), smooth_s=0.1, bridge_s=1
    )
    assert np.isnan(even.place_ft).all()
    assert np.isnan(even.velocity_ft_s).all()


@settings(max_examples=30, deadline=None)
@given(st.permutations(list(range(5))))
def test_every_attacker_gets_the_defender_on_his_way_to_the_ring(order):
    men = np.array([[28.0, 0], [16, 20], [16, -20], [4, 9], [22, -9]])
    backs = 0.85 * men
    uv = np.concatenate([men, backs[list(order)]])[None].repeat(30, axis=0)
    attackers = np.arange(10) < 5
    found_guards = guards(np.arange(30) * 0.04, uv, attackers, ~attackers, uv[:, 0], GuardSettings())
    for man in range(5):
        assert (found_guards[:, man] == 5 + list(order).index(man)).all()
    assert (found_guards[:, 5:] == NOBODY).all()


def test_the_ball_in_the_middle_is_on_the_side_that_it_left():
    t = times(end_s=6.0)
    p = play({0: along(t, (0, 20, 15), (1, 20, 15), (3, 26, 0), (4, 26, 0), (6, 20, -15))}, t)
    view = view_of(p)
    assert view.ball_side[view.at(0.5)] == 1
    assert view.ball_side[view.at(3.5)] == 1
    assert view.ball_side[view.at(5.8)] == -1


def test_every_kind_has_one_recogniser():
    kinds = [kind for recogniser in RECOGNISERS for kind in recogniser.kinds]
    assert sorted(kinds) == sorted(KIND)
    done: set[str] = {"tracks", "ball", "touches", "possessions"}
    for recogniser in RECOGNISERS:
        assert set(recogniser.needs) <= done, f"{recogniser.kinds} reads what comes later"
        done |= set(recogniser.kinds)


def busy(seed: int) -> PlayTables:
    """Ten bodies that run about at random, the ball from hand to hand: all sorts of things happen."""
    rng = np.random.default_rng(seed)
    t = times(0.12, end_s=14.0)
    paths = {}
    for who in range(10):
        at = np.concatenate([[0.0], np.cumsum(rng.uniform(0.6, 2.5, 12))])
        paths[who] = along(t, *((float(a), *rng.uniform((-3, -23), (30, 23))) for a in at))
    for who in range(5, 10):
        paths[who] = 0.8 * paths[who - 5] + 0.2 * paths[who]
    starts = np.cumsum(rng.uniform(0.9, 2.6, 7))
    holds = [(int(rng.integers(5)), float(a), float(b) - 0.5) for a, b in pairwise(starts)]
    return play(paths, t, holds=holds)


@pytest.mark.parametrize("seed", range(12))
def test_nothing_undeclared_is_told(seed):
    for event in found(busy(seed)):
        kind = KIND[event.kind]
        assert {role for role, _ in event.actors} <= set(kind.roles)
        assert event.actors[0][0] == kind.roles[0]
        assert set(event.measures) == set(measure_names(event.kind))
        assert set(event.traits) == set(trait_names(event.kind))
        for trait in kind.traits:
            assert event.traits[trait.name] in (*trait.values, UNKNOWN), (event.kind, trait.name)
        assert 0 <= event.score <= 1
        assert event.start_s <= event.end_s + 1e-9


@pytest.mark.parametrize("seed", range(4))
def test_unsure_places_lower_every_score(seed):
    sure = {(e.kind, e.actors, round(e.t_s, 3)): e.score for e in found(busy(seed))}
    p = busy(seed)
    rows = [row | {"sigma_ft": 1.5} for row in p.tracks.to_pylist()]
    unsure = found(
        PlayTables(type(p.tracks).from_pylist(rows, schema=p.tracks.schema), p.ball, p.touches, p.possessions)
    )
    compared = [(sure[key], e.score) for e in unsure if (key := (e.kind, e.actors, round(e.t_s, 3))) in sure]
    assert len(compared) > 15
    assert all(after < before for before, after in compared)
