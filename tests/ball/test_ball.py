"""The ball's path, its holder, touches and possessions."""

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_up_play import FLIGHT_S, HELD_S, camera_at, make_play

from pipeline.ball.path import NOBODY, ball_path, beside_players, best_path, likely_holders, runs
from pipeline.ball.settings import BallPathSettings, BallSettings, HolderSettings, SideSettings
from pipeline.ball.sides import attacked_sides, attacking_teams
from pipeline.ball.tables import BALL, POSSESSIONS, TOUCHES
from pipeline.ball.touches import attacked_end, possessions, touches
from pipeline.court.rule_books import RULE_BOOKS
from pipeline.players.tables import BOXES, TRACKS
from pipeline.players.tracking import track

PATH = BallPathSettings()


@pytest.fixture(scope="module")
def play():
    return make_play(1, seconds=10)


@pytest.fixture(scope="module")
def tracks(play):
    return track(play.boxes, play.cameras, play.shots)


@pytest.fixture(scope="module")
def ball(play, tracks):
    return ball_path(play.boxes, play.cameras, tracks)


def _actors(play, tracks):
    """The true actor of every track."""
    frame, ids, x, y = (tracks[n].to_numpy() for n in ("frame", "track", "x_ft", "y_ft"))
    found = {}
    for name in np.unique(ids):
        rows = np.flatnonzero(ids == name)
        near = [int(np.argmin(np.linalg.norm(play.places_ft[frame[r] // 3] - [x[r], y[r]], axis=1))) for r in rows]
        found[int(name)] = max(set(near), key=near.count)
    return found


# ---- path ----


def test_a_steady_path_beats_stronger_strays():
    times = np.arange(20) * 0.08
    moment = np.repeat(np.arange(20), 2)
    places = np.zeros((40, 2))
    places[0::2] = np.column_stack([np.arange(20) * 0.8, np.full(20, 5.0)])
    places[1::2] = np.random.default_rng(0).uniform(-40, 40, (20, 2))
    scores = np.tile([0.5, 0.7], 20)
    np.testing.assert_array_equal(best_path(moment, times, places, scores, PATH), np.arange(0, 40, 2))


@given(st.permutations(range(3)))
@settings(max_examples=6, deadline=None)
def test_order_within_a_frame_does_not_matter(order):
    rng = np.random.default_rng(1)
    times = np.arange(10) * 0.08
    moment = np.repeat(np.arange(10), 3)
    places, scores = rng.uniform(-5, 5, (30, 2)), rng.uniform(0.2, 0.9, 30)
    turn = np.concatenate([3 * k + np.array(order) for k in range(10)])
    plain = best_path(moment, times, places, scores, PATH)
    turned = turn[best_path(moment, times, places[turn], scores[turn], PATH)]
    np.testing.assert_array_equal(plain, turned)


def test_a_path_never_needs_an_impossible_flight_without_paying_for_a_jump():
    times = np.arange(6) * 0.04
    places = np.array([[0, 0], [0.5, 0], [60, 0], [60.5, 0], [1.5, 0], [2.0, 0]], dtype=float)
    chosen = best_path(np.arange(6), times, places, np.full(6, 0.6), PATH)
    np.testing.assert_array_equal(chosen, [0, 1, 4, 5])


def test_weak_lonely_or_no_detections_are_no_path():
    assert len(best_path(np.zeros(0, int), np.arange(3.0), np.zeros((0, 2)), np.zeros(0), PATH)) == 0
    assert len(best_path(np.array([1]), np.arange(3.0), np.zeros((1, 2)), np.array([0.15]), PATH)) == 0
    np.testing.assert_array_equal(
        best_path(np.array([1]), np.arange(3.0), np.zeros((1, 2)), np.array([0.9]), PATH), [0]
    )


def test_a_ball_put_at_its_own_players_depth_is_at_his_side():
    camera = camera_at(0.0)
    places = np.array([[20.0, 10.0], [22.0, 30.0]])
    ball = np.array([20.0, 10.0, 4.0])
    aside_height = beside_players(camera.project(ball[None])[0], places, camera)
    np.testing.assert_allclose(aside_height[0], [0, 4], atol=1e-6)
    right_of_him = camera.rotation()[0] * 2.0
    shifted = beside_players(camera.project((ball + right_of_him)[None])[0], places, camera)
    assert shifted[0, 0] == pytest.approx(2, abs=0.1)


# ---- holder ----


def _two_players(frames=30):
    times = np.arange(frames) * 0.08
    aside_height = np.zeros((frames, 2, 2))
    aside_height[..., 1] = 3.5
    aside_height[:15, 1, 0] = aside_height[15:, 0, 0] = 8.0
    return times, aside_height


def test_holder_changes_once():
    times, aside_height = _two_players()
    found = likely_holders(times, aside_height, np.array([0, 0]), HolderSettings())
    np.testing.assert_array_equal(found, [0] * 15 + [1] * 15)


def test_players_order_and_mirror_do_not_matter():
    times, aside_height = _two_players()
    plain = likely_holders(times, aside_height, np.array([0, 1]), HolderSettings())
    swapped = likely_holders(times, aside_height[:, ::-1], np.array([1, 0]), HolderSettings())
    np.testing.assert_array_equal(plain, np.where(swapped == NOBODY, NOBODY, 1 - swapped))
    mirrored = likely_holders(times, aside_height * [-1, 1], np.array([0, 1]), HolderSettings())
    np.testing.assert_array_equal(plain, mirrored)


def test_an_unseen_ball_stays_with_its_holder_and_a_high_one_is_nobodys():
    times, aside_height = _two_players()
    aside_height[5:9] = np.nan
    assert (likely_holders(times, aside_height, np.array([0, 0]), HolderSettings())[:15] == 0).all()
    aside_height[:, :, 1] = 15.0
    assert (likely_holders(times, aside_height, np.array([0, 0]), HolderSettings()) == NOBODY).all()


def test_nobody_there():
    assert len(likely_holders(np.zeros(0), np.zeros((0, 2, 2)), np.zeros(2), HolderSettings())) == 0
    assert (likely_holders(np.arange(3.0), np.zeros((3, 0, 2)), np.zeros(0), HolderSettings()) == NOBODY).all()
    assert runs(np.array([1, 1, 2])) == [(0, 2), (2, 3)]
    assert runs(np.zeros(0)) == []


# ---- made-up play ----


def test_the_made_up_holder_is_found(play, tracks, ball):
    actor = _actors(play, tracks)
    holder = {f // 3: h for f, h in zip(ball["frame"].to_pylist(), ball["holder"].to_pylist(), strict=True)}
    held = np.flatnonzero(play.holder >= 0)
    right = [holder.get(int(k)) is not None and actor[holder[int(k)]] == play.holder[k] for k in held]
    assert np.mean(right) > 0.9


def test_heights_and_places_are_sane(ball):
    assert ball["frame"].to_pylist() == sorted(ball["frame"].to_pylist())
    height = ball["z_ft"].drop_null().to_numpy()
    assert len(height) > 50
    assert ((height >= 0) & (height < 15)).all()
    assert 0.5 < np.mean(ball["observed"].to_numpy(zero_copy_only=False)) < 1


def test_passes_in_turn(play, tracks, ball):
    actor = _actors(play, tracks)
    rows = touches(ball, play.boxes, tracks).to_pylist()
    assert [r["touch"] for r in rows] == list(range(len(rows)))
    passes = [r for r in rows if r["kind"] == "pass"]
    hits = 0
    for turn in range(3):
        leaves = turn * (HELD_S + FLIGHT_S) + HELD_S
        hits += any(
            abs(r["start_s"] - leaves) < 0.6 and actor[r["track"]] == turn and actor[r["to_track"]] == turn + 1
            for r in passes
        )
    assert hits >= 2
    assert {r["team"] for r in passes} == {0}


def test_the_passing_team_has_the_possession(play, tracks, ball):
    table = touches(ball, play.boxes, tracks)
    rows = possessions(table, tracks, RULE_BOOKS["nba"]).to_pylist()
    own = [r for r in rows if r["team"] == 0]
    assert sum(r["end_s"] - r["start_s"] for r in own) > 8
    assert own[0]["start_s"] < 0.5
    assert {r["attacked_end"] for r in rows} == {"left"}


def test_nothing_in_gives_nothing_out(play):
    empty = ball_path(BOXES.empty(), play.cameras, TRACKS.empty())
    assert empty.num_rows == 0
    assert empty.schema == BALL.schema
    assert touches(empty, BOXES.empty(), TRACKS.empty()).schema == TOUCHES.schema
    assert possessions(TOUCHES.empty(), TRACKS.empty(), RULE_BOOKS["nba"]).schema == POSSESSIONS.schema


def test_ball_without_players_is_still_a_path(play):
    found = ball_path(play.boxes, play.cameras, TRACKS.empty())
    assert found.num_rows > 80
    assert found["holder"].null_count == found.num_rows


# ---- touches and possessions by hand ----


def _ball_rows(holders, step=0.1, y_px=400.0):
    return [
        {
            "frame": k,
            "t_s": k * step,
            "shot": 1,
            "x_px": 600.0,
            "y_px": y_px if np.isscalar(y_px) else float(y_px[k]),
            "holder": h,
            "observed": True,
            "score": 0.8,
        }
        for k, h in enumerate(holders)
    ]


def _tracks(teams, x_ft=20.0, frames=60):
    return TRACKS.from_rows(
        [
            {
                "frame": k,
                "t_s": k * 0.1,
                "shot": 1,
                "track": t,
                "role": "player",
                "team": team,
                "x_ft": x_ft,
                "y_ft": 9.0,
            }
            | {"observed": True, "y1_px": 300.0, "y2_px": 400.0}
            for k in range(frames)
            for t, team in teams.items()
        ]
    )


def _kinds(table):
    return [(r["kind"], r["track"], r["to_track"]) for r in table.to_pylist()]


def test_pass_to_a_teammate_and_loss_to_the_other_team():
    holders = [1] * 10 + [None] * 4 + [2] * 10 + [None] * 4 + [7] * 10
    table = touches(BALL.from_rows(_ball_rows(holders)), BOXES.empty(), _tracks({1: 0, 2: 0, 7: 1}))
    assert _kinds(table) == [
        ("hold", 1, None),
        ("pass", 1, 2),
        ("hold", 2, None),
        ("loose", None, None),
        ("hold", 7, None),
    ]
    rows = table.to_pylist()
    assert rows[1]["start_s"] == pytest.approx(1.0)
    assert rows[1]["end_s"] == pytest.approx(1.4)
    spans = possessions(table, _tracks({1: 0, 2: 0, 7: 1}, x_ft=80.0), RULE_BOOKS["nba"]).to_pylist()
    assert [(s["team"], s["attacked_end"]) for s in spans] == [(0, "right"), (1, "right")]


def test_the_same_holder_again_is_no_pass_and_too_long_a_flight_is_none():
    same = touches(BALL.from_rows(_ball_rows([1] * 10 + [None] * 3 + [1] * 10)), BOXES.empty(), _tracks({1: 0}))
    assert _kinds(same) == [("hold", 1, None), ("hold", 1, None)]
    holders = [1] * 10 + [None] * 27 + [2] * 10
    slow = touches(BALL.from_rows(_ball_rows(holders)), BOXES.empty(), _tracks({1: 0, 2: 0}))
    assert _kinds(slow)[1] == ("loose", None, None)


def test_a_ball_that_rises_to_the_ring_is_a_shot_and_ends_the_possession():
    holders = [1] * 10 + [None] * 12 + [7] * 10
    heights = np.r_[np.full(10, 400.0), np.linspace(390, 150, 6), np.linspace(160, 300, 6), np.full(10, 400.0)]
    ring = BOXES.from_rows(
        [
            {"frame": k, "t_s": k * 0.1, "shot": 1, "class": "ring", "score": 0.9}
            | {"x1_px": 570.0, "y1_px": 130.0, "x2_px": 630.0, "y2_px": 190.0}
            for k in range(32)
        ]
    )
    table = touches(BALL.from_rows(_ball_rows(holders, y_px=heights)), ring, _tracks({1: 0, 7: 1}))
    assert _kinds(table) == [("hold", 1, None), ("shot", 1, None), ("hold", 7, None)]
    spans = possessions(table, _tracks({1: 0, 7: 1}), RULE_BOOKS["nba"]).to_pylist()
    assert spans[0]["team"] == 0
    assert spans[0]["end_s"] == pytest.approx(2.2)


def test_a_touch_in_passing_by_the_other_team_is_no_possession():
    holders = [1] * 20 + [7] * 3 + [1] * 20
    table = touches(BALL.from_rows(_ball_rows(holders)), BOXES.empty(), _tracks({1: 0, 7: 1}))
    spans = possessions(table, _tracks({1: 0, 7: 1}), RULE_BOOKS["nba"]).to_pylist()
    assert [s["team"] for s in spans] == [0]
    assert spans[0]["end_s"] == pytest.approx(4.3)


def test_nobody_known_means_no_end():
    assert attacked_end(TRACKS.empty(), 0.0, 1.0, RULE_BOOKS["nba"]) == (None, 0.0)
    assert BallSettings().holder.least_hold_s == 0.2
    assert isinstance(ball_path(BOXES.empty(), make_play(0, seconds=1).cameras, TRACKS.empty()), pa.Table)


# ---- sides ----


def _game(flip_s=1e9, seconds=240.0, step=0.5):
    """Team 0 attacks the left ring and team 1 the right one in turns of 20 s; a third of the holders is misread."""
    rng = np.random.default_rng(0)
    times = np.arange(0, seconds, step)
    team = (times // 20 % 2).astype(int)
    side = np.where(times < flip_s, team, 1 - team)
    seen = np.where(rng.random(len(times)) < 0.33, 1 - team, team)
    return times, side, team, seen


def test_the_team_that_mostly_holds_the_ball_at_a_side_attacks_it():
    times, side, team, seen = _game()
    found = attacking_teams(times, side, seen, np.full(len(times), 0.5), SideSettings())
    np.testing.assert_array_equal(found, team)


def test_teams_may_change_sides_at_half_time():
    times, side, team, seen = _game(flip_s=1200.0, seconds=2400.0)
    found = attacking_teams(times, side, seen, np.full(len(times), 0.5), SideSettings())
    away = np.abs(times - 1200)
    np.testing.assert_array_equal(found[away > 300], team[away > 300])
    wrong = (found != team) & (found >= 0)
    assert not wrong[away > 60].any()  # near the change it is unsure, not wrong


def test_an_unclear_vote_or_none_says_nothing():
    times = np.arange(40.0)
    even = np.arange(40) % 2
    weights = np.ones(40)
    assert (attacking_teams(times, np.zeros(40, int), even, weights, SideSettings()) == -1).all()
    assert (attacking_teams(times, np.full(40, -1), even, weights, SideSettings()) == -1).all()
    assert (attacking_teams(times, np.zeros(40, int), np.full(40, -1), weights, SideSettings()) == -1).all()
    assert len(attacking_teams(np.zeros(0), np.zeros(0, int), np.zeros(0, int), np.zeros(0), SideSettings())) == 0


def test_play_is_where_the_players_will_be():
    times = np.arange(10) * 1.0
    x = np.tile(np.where(times < 5, 20.0, 70.0)[:, None], (1, 4))
    x[9] = np.nan
    sides = attacked_sides(times, x, RULE_BOOKS["nba"], SideSettings())
    np.testing.assert_array_equal(sides, [0, 0, 0, 1, 1, 1, 1, -1, -1, -1])
    np.testing.assert_array_equal(attacked_sides(times, 94 - x, RULE_BOOKS["nba"], SideSettings())[:7], 1 - sides[:7])
    assert (attacked_sides(times, np.zeros((10, 0)), RULE_BOOKS["nba"], SideSettings()) == -1).all()


def test_between_equals_the_attackers_have_the_ball():
    times = np.arange(20) * 0.08
    aside_height = np.zeros((20, 2, 2))
    aside_height[..., 1] = 3.5
    aside_height[:, 1, 0] = 0.3  # the defender is a little nearer by the picture alone
    aside_height[:, 0, 0] = 0.5
    teams = np.array([0, 1])
    assert (likely_holders(times, aside_height, teams, HolderSettings()) == 1).all()
    assert (likely_holders(times, aside_height, teams, HolderSettings(), np.zeros(20, int)) == 0).all()


def test_a_short_rebound_at_the_end_is_no_possession_yet():
    heights = np.r_[np.full(20, 400.0), np.linspace(390, 150, 6), np.linspace(160, 300, 6), np.full(10, 400.0)]
    ring = BOXES.from_rows(
        [
            {"frame": k, "t_s": k * 0.1, "shot": 1, "class": "ring", "score": 0.9}
            | {"x1_px": 570.0, "y1_px": 130.0, "x2_px": 630.0, "y2_px": 190.0}
            for k in range(42)
        ]
    )
    rows = _ball_rows([1] * 20 + [None] * 12 + [7] * 10, y_px=heights)
    table = touches(BALL.from_rows(rows), ring, _tracks({1: 0, 7: 1}))
    assert [s["team"] for s in possessions(table, _tracks({1: 0, 7: 1}), RULE_BOOKS["nba"]).to_pylist()] == [0]
