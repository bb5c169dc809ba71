"""A season's games: what is told of play has the errors that were measured, and a game is a game."""

from itertools import pairwise

import numpy as np
import pytest

from pipeline.court.rule_books import RULE_BOOKS
from pipeline.sim.season import DAYS_BETWEEN, OWN_CLUB, Drawn, fixtures, game_tables, turned
from pipeline.sim.seen_error import Play, SeenError, Touch, told_of

NBA = RULE_BOOKS["nba"]
STEP_S = 0.08
MOMENTS = 150


def made_up_play(rng: np.random.Generator, offence: int = 0) -> Play:
    """Ten players and three officials wander about the left half; the ball goes round by holds of 3.4 s."""
    t_s = np.arange(MOMENTS) * STEP_S
    middle = rng.uniform([4, 4], [40, 46], (13, 2))
    phase, size = rng.uniform(0, 6, (13, 2)), rng.uniform(1, 5, (13, 2))
    places = middle + size * np.sin(0.6 * t_s[:, None, None] + phase)
    velocities = 0.6 * size * np.cos(0.6 * t_s[:, None, None] + phase)
    five = [offence * 5 + k for k in range(5)]
    touches: list[Touch] = []
    ball = np.full((MOMENTS, 3), 4.0)
    at = 0.0
    while at + 4.0 < t_s[-1] + 0.1:
        by = five[len(touches) // 2 % 5]
        touches.append(Touch("hold", at, at + 3.4, by))
        touches.append(Touch("pass", at + 3.4, at + 4.0, by, five[(len(touches) // 2 + 1) % 5]))
        own = (t_s >= at) & (t_s < at + 4.0)
        ball[own, :2] = places[own, by]
        at += 4.0
    return Play(t_s, places, velocities, np.array([0] * 5 + [1] * 5 + [-1] * 3), ball, tuple(touches[:-1]))


@pytest.fixture(scope="module")
def told():
    rng = np.random.default_rng(3)
    plays = [made_up_play(rng) for _ in range(120)]
    return [(play, told_of(play, SeenError(), rng)) for play in plays]


def test_places_are_as_wrong_as_they_were_measured(told):
    off = np.stack([(one.places_ft - play.places_ft)[:, :10] for play, one in told])
    away = np.linalg.norm(off, axis=-1)
    away = away[np.isfinite(away)]
    assert np.median(away) == pytest.approx(0.38, rel=0.15)
    assert np.quantile(away, 0.95) == pytest.approx(1.2, rel=0.15)
    assert np.isfinite(off[..., 0]).mean() == pytest.approx(0.991, abs=0.004)
    spread = 1.4826 * np.nanmedian(np.abs(off), axis=(0, 1, 2))
    assert spread == pytest.approx([0.25, 0.41], rel=0.1)


def test_errors_last_as_long_as_they_were_measured(told):
    off = np.stack([(one.places_ft - play.places_ft)[:, :10] for play, one in told])
    for after_s, wanted in ((0.32, 0.81), (0.56, 0.62), (1.36, 0.30), (2.72, 0.21)):
        k = round(after_s / STEP_S)
        alike = np.nanmean(off[:, k:] * off[:, :-k]) / np.nanmean(off**2)
        assert alike == pytest.approx(wanted, abs=0.09), after_s


def test_velocities_are_as_wrong_as_they_were_measured(told):
    off = np.stack([(one.velocities_ft_s - play.velocities_ft_s)[:, :10] for play, one in told])
    assert 1.4826 * np.nanmedian(np.abs(off), axis=(0, 1, 2)) == pytest.approx([0.43, 0.58], rel=0.2)


def test_losses_are_short_and_rare(told):
    lengths = []
    for _, one in told:
        lost = np.isnan(one.places_ft[:, :10, 0]).astype(int)
        for body in range(10):
            edge = np.diff(np.concatenate([[0], lost[:, body], [0]]))
            lengths += list((np.flatnonzero(edge == -1) - np.flatnonzero(edge == 1)) * STEP_S)
    minutes = len(told) * MOMENTS * STEP_S * 10 / 60
    assert len(lengths) / minutes == pytest.approx(0.8, abs=0.25)
    assert np.median(lengths) == pytest.approx(0.33, abs=0.1)


def test_names_teams_and_officials(told):
    right = np.concatenate([(one.name_teams[one.names[:, :10]] == play.teams[:10]).ravel() for play, one in told])
    assert right.mean() == pytest.approx(0.989, abs=0.008)
    changes = sum(int((np.diff(one.names[:, :10], axis=0) != 0).sum()) for _, one in told)
    assert changes / (len(told) * MOMENTS * STEP_S * 10 / 60) == pytest.approx(0.8, abs=0.5)
    for _, one in told:
        assert all(len(set(row)) == len(row) for row in one.names[::10])
    officials = np.mean([np.isfinite(one.places_ft[:, 10:, 0]).mean() for _, one in told])
    assert officials == pytest.approx(0.66, abs=0.06)


def test_the_holder_is_right_as_often_as_in_film(told):
    right, many = 0, 0
    for play, one in told:
        true = np.full(MOMENTS, -1)
        for touch in play.touches:
            if touch.kind == "hold":
                true[np.searchsorted(play.t_s, touch.start_s) : np.searchsorted(play.t_s, touch.end_s)] = touch.by
        right += int((one.holding_bodies == true)[true >= 0].sum())
        many += int((true >= 0).sum())
    assert right / many == pytest.approx(0.89, abs=0.03)


def test_passes_are_missed_and_made_up(told):
    found = false = true = 0
    for play, one in told:
        truly = [t.start_s for t in play.touches if t.kind == "pass"]
        said = [t.start_s for t in one.touches if t.kind == "pass"]
        true += len(truly)
        found += sum(any(abs(a - b) < 0.8 for b in said) for a in truly)
        false += sum(not any(abs(a - b) < 0.8 for a in truly) for b in said)
    assert found / true == pytest.approx(0.87, abs=0.08)
    assert 0 < false / true < 0.15


def test_without_errors_everything_is_as_it_was():
    rng = np.random.default_rng(1)
    none = SeenError(
        along_ft=0, away_ft=0, filled_share=1e-9, losses_per_min=0, swaps_per_min=0, officials_seen=1,
        ball_gap_held=0, ball_gap_free=0, hold_given_away=0, strays_per_min=0, unheld_share=0,
        catch_early_s=0, release_late_s=0, edge_spread_s=0,
    )  # fmt: skip
    play = made_up_play(rng)
    one = told_of(play, none, rng)
    assert np.allclose(one.places_ft, play.places_ft)
    assert np.allclose(one.velocities_ft_s, play.velocities_ft_s)
    assert [(t.kind, t.by, t.to) for t in one.touches] == [(t.kind, t.by, t.to) for t in play.touches]
    assert (one.names == np.arange(13)).all()


def test_a_season_has_days_opponents_and_people():
    season = fixtures(82, 7)
    assert len({one.name for one in season}) == 82
    assert all(OWN_CLUB in (club.name for club in one.clubs) for one in season)
    assert {one.opponent for one in season} == {one.opponent for one in season[:9]}
    assert (season[1].day - season[0].day).days == DAYS_BETWEEN
    assert all(len(club.roster) == 12 for one in season for club in one.clubs)
    assert fixtures(3, 7) == season[:3]


def test_a_game_is_whole_and_the_same_again():
    rng = np.random.default_rng(2)
    pool = [
        Drawn(made_up_play(rng, team), team, "left" if team == 0 else "right", 0.2, 11.0, 3.0)
        for team in (0, 1)
        for _ in range(4)
    ]
    one, again = (game_tables(fixtures(1, 7)[0], pool, NBA, SeenError(), 7, possessions=12) for _ in range(2))
    assert all(one[name].equals(again[name]) for name in one)
    possessions = one["possessions"].to_pylist()
    assert [row["team"] for row in possessions[:4]] in ([0, 1, 0, 1], [1, 0, 1, 0])
    shots = {row["shot"]: row for row in one["shots"].to_pylist()}
    assert all(shots[row["shot"]]["live"] for row in possessions)
    assert all(a["end_s"] == pytest.approx(b["start_s"]) for a, b in pairwise(shots.values()))
    assert sorted(set(one["clock"]["period"].to_pylist())) == [1, 2, 3, 4]
    assert max(one["clock"]["game_clock_s"].to_pylist()) <= 720
    told = one["tracks"].select(["frame", "track"])
    assert told.group_by(["frame", "track"]).aggregate([]).num_rows == told.num_rows
    assert all(row["track"] is not None for row in one["touches"].to_pylist() if row["kind"] == "hold")


def test_after_half_time_the_ends_are_changed():
    rng = np.random.default_rng(4)
    drawn = Drawn(made_up_play(rng), 0, "left", 0.0, 10.0, None)
    there = turned(drawn, NBA)
    assert there.end == "right"
    assert np.allclose(turned(there, NBA).play.places_ft, drawn.play.places_ft)
    assert np.allclose(there.play.places_ft[..., 0], NBA.length_ft - drawn.play.places_ft[..., 0])
