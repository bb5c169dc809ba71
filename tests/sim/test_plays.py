"""Movement: limits, repeatability, mirror, and dials that hold."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.court.geometry import in_paint
from pipeline.court.rule_books import RULE_BOOKS
from pipeline.sim.plays import Execution, Quality, Script, random_moment, simulate
from pipeline.sim.plays.ball_screens import CLEAR_DRIVE, CROWDED_DRIVE
from pipeline.sim.plays.free_play import TRANSITION, UNSCRIPTED
from pipeline.sim.plays.game import After, Call, drive_execution, play_game
from pipeline.sim.plays.moments import random_possession
from pipeline.sim.plays.motion import Limits, arrival_velocity, keep_apart, smooth
from pipeline.sim.plays.paint_count import WINDOW_S, border_distance, find_drives
from pipeline.sim.plays.places import places, to_attack, to_court
from pipeline.sim.plays.possession import Possession
from pipeline.sim.plays.scripts import GAME_SCRIPTS
from pipeline.sim.plays.stoppages import FREE_THROWS
from pipeline.sim.plays.weak_side import WEAK_SIDE_MOTION

NBA = RULE_BOOKS["nba"]


def _uv(p: Possession) -> np.ndarray:
    """Paths with attackers first, in the attack frame of side +1."""
    order = np.r_[0:5, 5:10] if p.offence == 0 else np.r_[5:10, 0:5]
    return to_attack(p.xy_ft[:, order], p.book, p.end) * np.array([1.0, p.side])


@pytest.mark.parametrize("script", GAME_SCRIPTS)
def test_bodies_keep_their_limits(script: Script) -> None:
    p = simulate(script, 4, NBA)
    limits = Limits()
    speed = np.linalg.norm(p.velocity_ft_s, axis=-1)
    assert speed.max() <= limits.sprint_ft_s + 0.5
    acceleration = np.linalg.norm(np.gradient(p.velocity_ft_s, p.dt_s, axis=0), axis=-1)
    # contact between bodies comes on top of what legs can do
    assert np.quantile(acceleration, 0.98) <= limits.acceleration_ft_s2 + 1.0
    assert acceleration.max() < 60.0
    gaps = np.linalg.norm(p.xy_ft[:, :10, None] - p.xy_ft[:, None, :10], axis=-1) + 9 * np.eye(10)
    assert gaps.min() > 1.5
    step = np.linalg.norm(np.diff(p.xy_ft, axis=0), axis=-1)
    assert step.max() <= (limits.sprint_ft_s + 0.5) * p.dt_s
    assert p.seconds > 6


@pytest.mark.parametrize("script", GAME_SCRIPTS)
def test_the_ball_never_jumps_and_stays_above_the_floor(script: Script) -> None:
    p = simulate(script, 9, NBA)
    step = np.linalg.norm(np.diff(p.ball_ft, axis=0), axis=-1)
    assert step.max() < 60 * p.dt_s + 0.45, f"at {step.argmax() * p.dt_s:.2f} s"
    assert p.ball_ft[:, 2].min() > 0.35
    held = p.holder >= 0
    near = np.linalg.norm(p.ball_ft[held, :2] - p.xy_ft[held, p.holder[held]], axis=1)
    assert np.quantile(near, 0.98) < 2.5


def test_same_seed_same_movement_other_seed_other_movement() -> None:
    a, b, c = (simulate(UNSCRIPTED, s, NBA) for s in (5, 5, 6))
    np.testing.assert_array_equal(a.xy_ft, b.xy_ft)
    np.testing.assert_array_equal(a.ball_ft, b.ball_ft)
    assert a.xy_ft.shape != c.xy_ft.shape or not np.allclose(a.xy_ft, c.xy_ft)


@pytest.mark.parametrize("end", ["left", "right"])
def test_the_other_side_is_the_mirror_image(end: str) -> None:
    one = simulate(WEAK_SIDE_MOTION, 2, NBA, side=1, end=end)
    other = simulate(WEAK_SIDE_MOTION, 2, NBA, side=-1, end=end)
    mirrored = one.xy_ft * [1, -1] + [0, NBA.width_ft]
    np.testing.assert_allclose(other.xy_ft, mirrored, atol=1e-9)
    turn = (other.facing_rad + one.facing_rad + np.pi) % (2 * np.pi) - np.pi
    np.testing.assert_allclose(turn, 0.0, atol=1e-6)


def test_the_other_end_is_a_turned_floor_and_the_other_team_swaps_actors() -> None:
    left = simulate(CLEAR_DRIVE, 1, NBA, execution=Execution(bodies=2), end="left", offence=0)
    right = simulate(CLEAR_DRIVE, 1, NBA, execution=Execution(bodies=2), end="right", offence=1)
    turned = np.array([NBA.length_ft, NBA.width_ft]) - left.xy_ft
    np.testing.assert_allclose(right.xy_ft[:, np.r_[5:10, 0:5, 10:13]], turned, atol=1e-9)


@pytest.mark.parametrize("book", ["fiba", "nba", "ncaa"])
@pytest.mark.parametrize("bodies", [1, 3, 4, 5, 6])
def test_a_drive_meets_exactly_the_promised_bodies(book: str, bodies: int) -> None:
    """The count is taken again here with the court room's own paint, from the court-frame paths."""
    script = CROWDED_DRIVE if bodies >= 4 else CLEAR_DRIVE
    p = simulate(script, 11, RULE_BOOKS[book], execution=Execution(bodies=bodies), side=-1, end="right", offence=1)
    entry = next(c for c in p.paint_counts if c.kind == "entry")
    handler = entry.drive.handler
    half = round(WINDOW_S / 2 / p.dt_s)
    for step in range(entry.moment - half, entry.moment + half + 1):
        inside = in_paint(p.xy_ft[step, :10], p.book, p.end)
        inside[handler] = False
        assert inside.sum() == bodies
    assert in_paint(p.xy_ft[entry.moment, [handler]], p.book, p.end)[0]
    assert not in_paint(p.xy_ft[entry.moment - 2, [handler]], p.book, p.end)[0]
    assert p.holder[entry.moment] == handler
    corners = [c for c in p.paint_counts if c.kind == "corner"]
    assert all(c.most <= bodies for c in corners)


def test_officials_keep_out_of_the_paint_in_play() -> None:
    for script in (WEAK_SIDE_MOTION, CROWDED_DRIVE, UNSCRIPTED):
        p = simulate(script, 3, NBA, walk_in=True)
        for official in (10, 11, 12):
            assert not in_paint(p.xy_ft[:, official], NBA, p.end).any()


@pytest.mark.parametrize("quality", [Quality.GOOD, Quality.BAD])
def test_the_dials_of_the_set_show_in_what_happens(quality: Quality) -> None:
    for seed in range(3):
        rng = np.random.default_rng(seed)
        dials = WEAK_SIDE_MOTION.draw(rng, quality) | {"ending": "post_entry"}
        p = simulate(WEAK_SIDE_MOTION, seed, NBA, dials=dials, quality=quality)
        (run,) = p.sets
        assert not run.missing
        measures = dict(run.measures)
        assert measures["return_catch"] == pytest.approx(dials["return_catch_ft"], abs=0.5)
        assert measures["top_wait"] == pytest.approx(dials["top_wait_s"], abs=0.15)
        faults = {f.kind for f in p.faults if f.certain}
        assert ({"pushed_out_catch", "stalled_ball"} <= faults) == (quality is Quality.BAD)


def test_play_goes_on_where_it_ended() -> None:
    rng = np.random.default_rng(0)
    calls = [
        Call(UNSCRIPTED, Execution(made=False)),
        Call(TRANSITION, Execution()),
        Call(CROWDED_DRIVE, drive_execution(rng, 5), After.WHISTLE),
        Call(FREE_THROWS, Execution(), same_team=True),
    ]
    game = play_game(calls, 8, NBA)
    assert [s.possession.offence for s in game.stretches] == [0, 1, 0, 0]
    for before, after in zip(game.stretches[:2], game.stretches[1:3], strict=True):
        assert after.start_s == before.end_s
        np.testing.assert_allclose(before.possession.xy_ft[-1], after.possession.xy_ft[0], atol=1e-6)
        assert np.linalg.norm(before.possession.ball_ft[-1] - after.possession.ball_ft[0]) < 1.0
    assert game.stretches[2].live_end_s < game.stretches[2].end_s


def test_random_moments_are_fast_and_in_one_piece() -> None:
    rng = np.random.default_rng(1)
    for _ in range(20):
        moment = random_moment(rng, RULE_BOOKS["fiba"])
        assert len(moment.actors) == 13
        assert all(np.isfinite(a.position_ft).all() and 0 <= a.phase <= 1 for a in moment.actors)
        assert np.isfinite(moment.ball_ft).all()


def test_a_drive_of_one_made_path_is_found() -> None:
    floor = places(NBA)
    dt = 0.02
    u = np.r_[np.full(50, 25.0), 25 - np.cumsum(np.full(80, 14.0 * dt)), np.full(50, 25 - 80 * 14.0 * dt)]
    uv = np.full((len(u), 13, 2), 60.0)
    uv[:, 0] = np.column_stack([u, np.zeros(len(u))])
    holder = np.zeros(len(u), dtype=int)
    (drive,) = find_drives(uv, holder, dt, floor, [])
    assert drive.entry is not None
    assert u[drive.entry] <= floor.line_u_ft < u[drive.entry - 1]
    assert drive.length_ft == pytest.approx(80 * 14.0 * dt, abs=0.6)
    assert drive.corner is None
    slow = uv * 1.0
    slow[:, 0, 0] = 25 - np.arange(len(u)) * dt * 5.0
    assert find_drives(slow, holder, dt, floor, []) == []


def test_border_distance_agrees_with_in_paint() -> None:
    floor = places(NBA)
    points = np.random.default_rng(0).uniform(-20, 20, (300, 2))
    away = border_distance(points, floor)
    assert (away >= 0).all()
    grown, shrunk = floor.in_paint(points, margin_ft=1.0), floor.in_paint(points, margin_ft=-1.0)
    inside = floor.in_paint(points)
    assert (away[inside & ~shrunk] <= 1.0 + 1e-9).all()
    assert (away[~inside & ~grown] >= 1.0 - 1e-9).all()


@settings(max_examples=40, deadline=None)
@given(st.floats(-30, 30), st.floats(-40, 40), st.sampled_from(["left", "right"]), st.sampled_from(sorted(RULE_BOOKS)))
def test_attack_frame_and_back(u: float, v: float, end: str, book: str) -> None:
    there = to_court(np.array([[[u, v]]]), RULE_BOOKS[book], end)
    np.testing.assert_allclose(to_attack(there, RULE_BOOKS[book], end), [[[u, v]]], atol=1e-9)


def test_arrival_brakes_and_runs_through() -> None:
    at, goal = np.zeros((2, 2)), np.array([[0.5, 0.0], [0.5, 0.0]])
    velocity = arrival_velocity(at, goal, np.array([15.0, 15.0]), np.array([True, False]), 13.0)
    assert velocity[0, 0] < 3.0
    assert velocity[1, 0] == pytest.approx(15.0)
    np.testing.assert_array_equal(arrival_velocity(at, at, np.full(2, 9.0), np.array([True, True]), 13.0), 0.0)


def test_a_set_screen_does_not_give_way() -> None:
    position, velocity = np.array([[0.0, 0.0], [1.0, 0.0]]), np.array([[0.0, 0.0], [-8.0, 0.0]])
    moved, after = keep_apart(position, velocity, 1.8, np.array([0.02, 1.0]))
    assert abs(moved[0, 0]) < 0.05
    assert moved[1, 0] > 1.0
    assert after[1, 0] > -1.0


def test_smoothing_keeps_ends_and_lines() -> None:
    line = np.arange(20.0)[:, None] * 2
    np.testing.assert_allclose(smooth(line, 3.0), line, atol=1e-9)


REAL = Path(__file__).parents[2] / ".." / "shared" / "data" / "possessions" / "tracks.parquet"


def _real_possessions(count: int) -> list[np.ndarray]:
    """Paths (T, 11, 2) in the attack frame, ball first, of the first real possessions."""
    table = pq.read_table(REAL)
    name = table["possession"].combine_chunks().dictionary_encode().indices.to_numpy()
    columns = {c: table[c].to_numpy() for c in ("t_s", "agent", "x_ft", "y_ft")}
    found = []
    for number in range(count):
        rows = np.flatnonzero(name == number)
        order = rows[np.lexsort((columns["agent"][rows], columns["t_s"][rows]))]
        if len(order) % 11:
            continue
        xy = np.column_stack([columns["x_ft"][order], columns["y_ft"][order]]).reshape(-1, 11, 2)
        end = "right" if xy[-10:, 0, 0].mean() > NBA.length_ft / 2 else "left"
        found.append(to_attack(xy, NBA, end))
    return found


def _set_play(uv: np.ndarray, step_s: float) -> tuple[np.ndarray, np.ndarray]:
    """Speeds (T, 10) and places (T, 10, 2) while everybody is in the half court."""
    speed = np.linalg.norm(np.gradient(uv, step_s, axis=0), axis=-1)[:, 1:]
    here = (uv[:, 0, 0] < 36) & (uv[:, 1:, 0].max(axis=1) < 38)
    return speed[here], uv[here, 1:]


@pytest.mark.skipif(not REAL.is_file(), reason="the folder of real possessions (../shared/data) is not here")
def test_movement_is_like_real_movement() -> None:
    """Against optical tracking of real play at the same 0.12 s steps: speeds, spacing, distance to defenders."""
    rng = np.random.default_rng(3)
    simulated = []
    for _ in range(14):
        p = random_possession(rng, NBA)
        if p.script is FREE_THROWS:
            continue
        uv = np.concatenate([to_attack(p.ball_ft[:, None, :2].copy(), NBA, p.end) * [1, p.side], _uv(p)], axis=1)
        simulated.append(uv[: round(p.marks["ring_s"] / p.dt_s) : 6])
    real = _real_possessions(60)
    figures = []
    for group in (simulated, real):
        parts = [_set_play(uv, 0.12) for uv in group if len(uv) > 10]
        speed = np.concatenate([s for s, _ in parts])
        place = np.concatenate([x for _, x in parts])
        between = np.linalg.norm(place[:, :, None] - place[:, None], axis=-1) + 99 * np.eye(10)
        figures.append(
            {
                "attack speed": np.mean(speed[:, :5]),
                "attack fast": np.quantile(speed[:, :5], 0.95),
                "defence speed": np.mean(speed[:, 5:]),
                "nearest mate": np.mean(between[:, :5, :5].min(axis=-1)),
                "nearest defender": np.mean(between[:, :5, 5:].min(axis=-1)),
            }
        )
    for name, value in figures[0].items():
        assert 0.62 < value / figures[1][name] < 1.4, f"{name}: simulated {value:.2f}, real {figures[1][name]:.2f}"
