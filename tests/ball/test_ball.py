"""The ball's story on made-up play: holder, passes, possessions, and the tables' form."""

import numpy as np
import pyarrow as pa
import pytest
from made_up_play import FLIGHT_S, HELD_S, make_play

from pipeline.ball.path import ball_path
from pipeline.ball.possessions import possessions
from pipeline.ball.tables import BALL, POSSESSIONS, TOUCH_KINDS, TOUCHES
from pipeline.court.rule_books import RULE_BOOKS
from pipeline.players.tables import BOXES, TRACKS
from pipeline.players.tracking import track


@pytest.fixture(scope="module")
def play():
    return make_play(1, seconds=10)


@pytest.fixture(scope="module")
def tracks(play):
    return track(play.boxes, play.cameras, play.shots)


@pytest.fixture(scope="module")
def told(play, tracks):
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


def test_the_made_up_holder_is_found(play, tracks, told):
    actor = _actors(play, tracks)
    ball = told[0]
    holder = {f // 3: h for f, h in zip(ball["frame"].to_pylist(), ball["holder"].to_pylist(), strict=True)}
    held = np.flatnonzero(play.holder >= 0)
    right = [holder.get(int(k)) is not None and actor[holder[int(k)]] == play.holder[k] for k in held]
    assert np.mean(right) > 0.9


def test_heights_and_places_are_sane(told):
    ball = told[0]
    assert ball["frame"].to_pylist() == sorted(ball["frame"].to_pylist())
    height = ball["z_ft"].drop_null().to_numpy()
    assert len(height) > 50
    assert ((height >= 0) & (height < 20)).all()
    assert 0.5 < np.mean(ball["observed"].to_numpy(zero_copy_only=False)) <= 1


def test_passes_in_turn(play, tracks, told):
    actor = _actors(play, tracks)
    rows = told[1].to_pylist()
    assert [r["touch"] for r in rows] == list(range(len(rows)))
    assert {r["kind"] for r in rows} <= set(TOUCH_KINDS)
    passes = [r for r in rows if r["kind"] == "pass"]
    hits = 0
    for turn in range(3):
        leaves = turn * (HELD_S + FLIGHT_S) + HELD_S
        hits += any(
            abs(r["start_s"] - leaves) < 0.4 and actor[r["track"]] == turn and actor[r["to_track"]] == turn + 1
            for r in passes
        )
    assert hits == 3
    assert {r["team"] for r in passes} == {0}


def test_the_passing_team_has_the_possession(tracks, told):
    rows = possessions(told[1], tracks, RULE_BOOKS["nba"]).to_pylist()
    own = [r for r in rows if r["team"] == 0]
    assert sum(r["end_s"] - r["start_s"] for r in own) > 8
    assert own[0]["start_s"] < 0.5
    assert {r["attacked_end"] for r in rows} == {"left"}


def test_nothing_in_gives_nothing_out(play):
    ball, touches = ball_path(BOXES.empty(), play.cameras, TRACKS.empty())
    assert ball.num_rows == 0
    assert ball.schema == BALL.schema
    assert touches.schema == TOUCHES.schema
    assert possessions(TOUCHES.empty(), TRACKS.empty(), RULE_BOOKS["nba"]).schema == POSSESSIONS.schema


def test_no_film_at_all():
    cameras = make_play(0, seconds=1).cameras
    for table in ball_path(BOXES.empty(), cameras.slice(0, 0), TRACKS.empty()):
        assert isinstance(table, pa.Table)
        assert table.num_rows == 0
    one = ball_path(BOXES.empty(), cameras.slice(0, 1), TRACKS.empty())
    assert one[0].num_rows == 0


def test_ball_without_players_is_held_by_nobody(play):
    found, touches = ball_path(play.boxes, play.cameras, TRACKS.empty())
    assert found["holder"].null_count == found.num_rows
    assert touches.num_rows == 0


def test_no_ball_seen_is_no_pass(play, tracks):
    boxes = play.boxes.filter(pa.compute.not_equal(play.boxes["class"], "ball"))
    _, touches = ball_path(boxes, play.cameras, tracks)
    assert not {"pass", "handoff", "shot"} & set(touches["kind"].to_pylist())
