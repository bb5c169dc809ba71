"""The crew: lag, cuts, clocks."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest

from pipeline.court.rule_books import RULE_BOOKS
from pipeline.sim.crew import CAMERA_STEP_S, FilmPlan, Style, View, edit, follow
from pipeline.sim.looks import Venue
from pipeline.sim.plays import Execution
from pipeline.sim.plays.ball_screens import CLEAR_DRIVE, CROWDED_DRIVE
from pipeline.sim.plays.game import After, Call, Game, drive_execution, play_game
from pipeline.sim.plays.stoppages import FREE_THROWS

SIZE = (640, 360)


@pytest.fixture(scope="module")
def game() -> Game:
    rng = np.random.default_rng(3)
    calls = [
        Call(CLEAR_DRIVE, drive_execution(rng, 2, made=True)),
        Call(CROWDED_DRIVE, drive_execution(rng, 5, made=False), After.WHISTLE),
        Call(FREE_THROWS, Execution(made=True), same_team=True),
    ]
    return play_game(calls, 21, RULE_BOOKS["fiba"])


@pytest.fixture(scope="module")
def plan(game: Game) -> FilmPlan:
    return edit(game, 21, style=Style.BROADCAST, rate=Fraction(25), size_px=SIZE, k1=0.05)


def test_shots_tile_the_film(plan: FilmPlan) -> None:
    assert plan.shots[0].start_s == 0.0
    for before, after in zip(plan.shots[:-1], plan.shots[1:], strict=True):
        assert after.start_s == before.end_s
        assert after.start_s > before.start_s
    views = [s.view for s in plan.shots]
    assert views[0] is View.MAIN
    assert View.REPLAY in views
    assert View.MAIN in views[2:]
    numbers = [plan.shot_of(k) for k in range(plan.frames)]
    assert numbers == sorted(numbers)
    assert set(numbers) == set(range(len(plan.shots)))


def test_a_replay_shows_the_past_slowly_between_wipes(plan: FilmPlan) -> None:
    k, replay = next((k, s) for k, s in enumerate(plan.shots) if s.view is View.REPLAY)
    assert replay.speed < 0.7
    assert replay.transition_in == "wipe"
    assert plan.shots[k + 1].transition_in == "wipe"
    first = round(replay.start_s * plan.rate)
    shown_live = plan.shots[0].game_from_s + plan.shots[0].end_s - plan.shots[0].start_s
    assert plan.game_time(first) < shown_live
    assert plan.scene_frame(first + 20).score_bug is None
    before, after = plan.scene_frame(first - 2).transition, plan.scene_frame(first + 2).transition
    assert before is not None
    assert after is not None
    assert before.progress < 0.5 < after.progress


def test_clocks_only_run_down(plan: FilmPlan) -> None:
    times = np.arange(0, plan.game.end_s, 0.1)
    bugs = [plan.score_at(float(t)) for t in times]
    for before, after in pairwise(bugs):
        assert after.period >= before.period
        if after.period == before.period:
            assert 0 <= before.clock_s - after.clock_s <= 0.1 + 1e-6
        assert after.home >= before.home
        assert after.away >= before.away
    whistle = plan.game.stretches[1]
    stopped = [plan.score_at(t).clock_s for t in (whistle.live_end_s + 0.5, whistle.end_s - 0.5)]
    assert stopped[0] == stopped[1]


def test_the_camera_keeps_its_centre_and_follows_with_a_bounded_lag(plan: FilmPlan) -> None:
    path = plan.cameras[0]
    cameras = [plan.cameras[0].camera(float(t), SIZE) for t in np.arange(0, 20, 0.5)]
    assert all((c.centre_ft == cameras[0].centre_ft).all() for c in cameras)
    assert np.ptp(path.pan_deg) > 3
    live_steps = int(plan.game.stretches[1].live_end_s / CAMERA_STEP_S)
    seen = 0
    for k in range(0, live_steps, 10):
        t = k * CAMERA_STEP_S
        possession, local = plan.game.at(t)
        step = min(round(local / possession.dt_s), len(possession.ball_ft) - 1)
        px = path.camera(t, SIZE).project(possession.ball_ft[step][None])[0]
        seen += bool((px > 0).all() and (px < np.array(SIZE)).all())
    assert seen / len(range(0, live_steps, 10)) > 0.97


def test_the_follower_is_late_but_arrives() -> None:
    step = np.r_[np.zeros(50), np.full(400, 10.0)]
    out = follow(step, 0.3, 34.0, 60.0)
    assert out[55] < 2.0
    assert abs(out[-1] - 10.0) < 0.05
    rate = np.diff(out) / CAMERA_STEP_S
    assert rate.max() <= 34.0 + 1e-6
    assert np.abs(np.diff(rate)).max() <= 60.0 * CAMERA_STEP_S + 1e-6


def test_another_seed_is_another_crew(game: Game, plan: FilmPlan) -> None:
    other = edit(game, 22, style=Style.BROADCAST, rate=Fraction(25), size_px=SIZE, k1=0.05)
    assert other.cameras[0].stand != plan.cameras[0].stand
    assert other.numbers != plan.numbers
    same = edit(game, 21, style=Style.BROADCAST, rate=Fraction(25), size_px=SIZE, k1=0.05)
    assert same.shots == plan.shots
    np.testing.assert_array_equal(same.cameras[0].pan_deg, plan.cameras[0].pan_deg)


@pytest.mark.parametrize("seed", range(8))
def test_a_gym_has_its_cameras_within_its_walls(seed: int, game: Game) -> None:
    gym = edit(game, seed, style=Style.BROADCAST, rate=Fraction(25), size_px=SIZE, k1=0.05, venue=Venue.GYM)
    for path in gym.cameras:
        x, y, z = path.stand.centre_ft
        assert -22 < x < game.book.length_ft + 22
        assert -90 < y < 0
        assert 0 < z < 30
    arena = edit(game, seed, style=Style.BROADCAST, rate=Fraction(25), size_px=SIZE, k1=0.05)
    assert [s.view for s in gym.shots] == [s.view for s in arena.shots]
    assert gym.numbers == arena.numbers
