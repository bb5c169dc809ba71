"""The story's rules on play by hand: one camera, players who stand, a ball that is seen where we say."""

import sys

import numpy as np
import pytest
from made_up_play import camera_at

from pipeline.ball.flights import free_fall
from pipeline.ball.gains import worn
from pipeline.ball.path import ball_path
from pipeline.ball.settings import EvidenceSettings
from pipeline.court.camera import camera_to_row
from pipeline.court.tables import CAMERAS
from pipeline.players.tables import BOXES, TRACKS

STEP_S = 0.08
PLACES = np.array([[15.0, 20.0], [34.0, 26.0], [24.0, 38.0], [36.0, 20.0], [18.0, 30.0], [28.0, 18.0]])
"""Tracks 0 to 2 of team 0, 3 to 5 of team 1."""


def _film(ball_ft, hidden=(), false=()):
    """Tables of a film in which the ball (F, 3) is seen but for hidden frames; ``false``: frames, places of more."""
    camera = camera_at(0.0)
    frames = np.arange(len(ball_ft))
    cameras = [camera_to_row(camera, frame=k, t_s=k * STEP_S, shot=0, rule_book="nba", quality=1.0) for k in frames]
    tracks = [
        {"frame": int(k), "t_s": k * STEP_S, "shot": 0, "track": n, "role": "player", "team": n // 3}
        | {"x_ft": x, "y_ft": y, "observed": True}
        for k in frames
        for n, (x, y) in enumerate(PLACES)
    ]
    seen = [(k, ball_ft[k], 0.7) for k in frames if k not in hidden and np.isfinite(ball_ft[k]).all()]
    boxes = []
    for k, place, score in [*seen, *[(k, place, 0.4) for k, place in false]]:
        x, y = camera.project(np.asarray(place)[None])[0]
        boxes.append(
            {"frame": int(k), "t_s": k * STEP_S, "shot": 0, "class": "ball", "score": score}
            | {"x1_px": x - 5, "y1_px": y - 5, "x2_px": x + 5, "y2_px": y + 5}
        )
    return BOXES.from_rows(boxes), CAMERAS.from_rows(cameras), TRACKS.from_rows(tracks)


def _held(who, count):
    return np.tile([*(PLACES[who] + [0.8, 0.0]), 3.9], (count, 1))


def _thrown(start, end, count):
    share = (np.arange(count) + 0.5) / count
    ends = [np.tile(p, (count, 1)) for p in (start, end)]
    return free_fall(*ends, np.full(count, count * STEP_S), share)


def _hands(who, height=4.5):
    return np.array([*PLACES[who], height])


def _kinds(touches):
    return [(r["kind"], r["track"], r["to_track"]) for r in touches.to_pylist()]


@pytest.fixture(scope="module")
def passed():
    return np.vstack([_held(0, 20), _thrown(_hands(0), _hands(1), 8), _held(1, 20)])


def test_a_pass(passed):
    ball, touches = ball_path(*_film(passed))
    assert _kinds(touches) == [("hold", 0, None), ("pass", 0, 1), ("hold", 1, None)]
    row = touches.to_pylist()[1]
    assert row["start_s"] == pytest.approx(20 * STEP_S, abs=0.1)
    assert row["end_s"] == pytest.approx(28 * STEP_S, abs=0.1)
    # places in the air are the free fall's
    flying = np.column_stack([ball[name].to_numpy()[22:26] for name in ("x_ft", "y_ft", "z_ft")])
    np.testing.assert_allclose(flying, passed[22:26], atol=1.5)


def test_a_hidden_holder_keeps_the_ball_and_false_balls_do_not_take_it(passed):
    false = [(k, np.array([*PLACES[4], 6.3])) for k in range(30, 42)]  # a bald head
    touches = ball_path(*_film(passed, hidden=range(30, 42), false=false))[1]
    assert _kinds(touches) == [("hold", 0, None), ("pass", 0, 1), ("hold", 1, None)]


def test_a_man_in_between_whose_ball_nobody_sees_has_it_all_the_same():
    story = np.vstack(
        [
            _held(0, 20),
            _thrown(_hands(0), _hands(1), 9),
            _held(1, 10),
            _thrown(_hands(1), _hands(2), 9),
            _held(2, 20),
        ]
    )
    hidden = range(27, 41)  # from just before his catch until just after his throw
    touches = ball_path(*_film(story, hidden=hidden))[1]
    assert [one for one in _kinds(touches) if one[0] == "pass"] == [("pass", 0, 1), ("pass", 1, 2)]


def test_order_of_players_does_not_matter(passed):
    boxes, cameras, tracks = _film(passed)
    mixed = tracks.sort_by([("frame", "ascending"), ("track", "descending")])
    assert ball_path(boxes, cameras, mixed)[1].equals(ball_path(boxes, cameras, tracks)[1])


def test_a_shot_that_misses_is_a_shot_and_a_rebound():
    ring = np.array([5.25, 25.0, 10.0])
    story = np.vstack(
        [
            _held(0, 20),
            _thrown(_hands(0, 8.7), ring, 12),
            _thrown(ring, np.array([*PLACES[4], 6.5]), 11),
            _held(4, 25),
        ]
    )
    touches = ball_path(*_film(story))[1]
    assert _kinds(touches) == [("hold", 0, None), ("shot", 0, None), ("rebound", 4, None), ("hold", 4, None)]
    assert touches["end_s"][1].as_py() == pytest.approx(32 * STEP_S, abs=0.17)


def test_a_shooter_at_whom_nobody_sees_the_ball_has_shot_it_all_the_same():
    ring = np.array([5.25, 25.0, 10.0])
    story = np.vstack(
        [_held(0, 20), _thrown(_hands(0), _hands(2), 9), _held(2, 12), _thrown(_hands(2, 8.7), ring, 15), _held(4, 25)]
    )
    hidden = range(27, 46)  # from just before his catch until his shot is high in the air
    touches = ball_path(*_film(story, hidden=hidden))[1]
    given = [one for one in _kinds(touches) if one[0] in ("pass", "shot")]
    assert given == [("pass", 0, 2), ("shot", 2, None)]


def test_nobody_has_a_ball_the_moment_it_comes_to_the_ring():
    ring = np.array([5.25, 25.0, 10.0])
    story = np.vstack([_held(0, 20), _thrown(_hands(0, 8.7), ring, 12), _held(4, 25)])
    touches = ball_path(*_film(story, hidden=range(32, 40)))[1].to_pylist()
    came = next(row for row in touches if row["kind"] == "shot")
    taken = next(row for row in touches if row["kind"] == "hold" and row["start_s"] > came["start_s"])
    assert taken["start_s"] - came["end_s"] >= 0.25


def test_hands_to_hands_at_arms_length_is_a_handoff(monkeypatch):
    places = PLACES.copy()
    places[1] = PLACES[0] + [4.8, 0.0]
    monkeypatch.setattr(sys.modules[__name__], "PLACES", places)
    touches = ball_path(*_film(np.vstack([_held(0, 20), _held(1, 20)]), hidden=range(16, 24)))[1]
    assert _kinds(touches) == [("hold", 0, None), ("handoff", 0, 1), ("hold", 1, None)]


def test_a_ball_that_nobody_sees_is_nobodys_pass(passed):
    ball, touches = ball_path(*_film(np.full_like(passed, np.nan)))
    assert {"pass", "shot", "handoff"} & set(touches["kind"].to_pylist()) == set()
    assert not ball["observed"].to_numpy(zero_copy_only=False).any()


def test_a_frame_without_camera_or_a_lone_frame_is_no_error(passed):
    boxes, cameras, tracks = _film(passed)
    one = cameras.slice(0, 1)
    assert ball_path(boxes, one, tracks)[0].num_rows <= 1
    rows = cameras.to_pylist()
    for row in rows[10:14]:
        row["status"], row["focal_px"] = "unknown", None
    touches = ball_path(boxes, CAMERAS.from_rows(rows), tracks)[1]
    assert ("pass", 0, 1) in _kinds(touches)


def test_what_stays_at_a_shoe_is_worn_and_what_bounces_is_not():
    moment = np.repeat(np.arange(20), 2)
    body = np.tile([0, 1], 20)
    bounce = 0.4 + 2.3 * np.abs(np.cos(np.pi * np.arange(20) * STEP_S / 0.56))
    beside = np.zeros((40, 2))
    beside[0::2] = [0.6, 0.5]  # body 0: a shoe
    beside[1::2, 1] = bounce  # body 1: a dribble
    found = worn(moment, body, beside, STEP_S, EvidenceSettings())
    assert found[0::2].all()
    assert found[1::2].mean() < 0.2
    beside[0::2, 1] = 3.9  # held before the body for long is no head
    assert not worn(moment, body, beside, STEP_S, EvidenceSettings())[0::2].any()
    assert len(worn(np.zeros(0, int), np.zeros(0, int), np.zeros((0, 2)), STEP_S, EvidenceSettings())) == 0
