"""Tracks in feet on made-up play, and on play of the simulator's kind of movement."""

from dataclasses import replace

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pytest
from made_up_play import SIZE, camera_at, make_play

from pipeline.court.rule_books import RULE_BOOKS
from pipeline.evaluate.tracking_scores import SequenceMatch, floor_similarity, score_sequences
from pipeline.players.placing import (
    SOLE_FT,
    USUAL_BOX_FT,
    below_the_edge,
    feet_on_court,
    floor_errors,
    place_boxes,
)
from pipeline.players.settings import TrackSettings
from pipeline.players.tables import BOXES, TRACKS
from pipeline.players.tracking import track


@pytest.fixture(scope="module")
def play():
    return make_play(2, seconds=8)


@pytest.fixture(scope="module")
def tracks(play):
    return track(play.boxes, play.cameras, play.shots)


def _columns(table, *names):
    return [table[n].to_numpy(zero_copy_only=False) for n in names]


def _scores(play, tracks):
    frame, ids, x, y = _columns(tracks, "frame", "track", "x_ft", "y_ft")
    truth, found, similarity = [], [], []
    for k, t in enumerate(play.times_s):
        px = camera_at(t).project_floor(play.places_ft[k])
        shown = np.flatnonzero((px[:, 0] > 0) & (px[:, 0] < SIZE[0]))
        rows = np.flatnonzero(frame == 3 * k)
        truth.append(shown)
        found.append(ids[rows].astype(np.int64))
        similarity.append(floor_similarity(play.places_ft[k][shown], np.column_stack([x[rows], y[rows]])))
    return score_sequences([SequenceMatch(tuple(truth), tuple(found), tuple(similarity))])


def test_made_up_play_is_followed(play, tracks):
    scores = _scores(play, tracks)
    assert scores["HOTA"] > 0.9
    assert scores["IDF1"] > 0.95
    assert len(set(tracks["track"].to_pylist())) == 12


def test_places_are_good_and_their_uncertainty_is_honest(play, tracks):
    frame, x, y, sigma = _columns(tracks, "frame", "x_ft", "y_ft", "sigma_ft")
    miss = np.array(
        [
            np.min(np.linalg.norm(play.places_ft[f // 3] - [px, py], axis=1))
            for f, px, py in zip(frame, x, y, strict=True)
        ]
    )
    assert np.median(miss) < 0.4
    assert 0.5 < np.mean(miss < 2 * sigma) <= 1
    assert np.median(sigma) < 0.6


def test_teams_and_officials(play, tracks):
    frame, x, y, team = _columns(tracks, "frame", "x_ft", "y_ft", "team")
    role = tracks["role"].to_pylist()
    right = []
    for row in range(tracks.num_rows):
        actor = int(np.argmin(np.linalg.norm(play.places_ft[frame[row] // 3] - [x[row], y[row]], axis=1)))
        wanted = ("official", -1) if actor >= 10 else ("player", actor // 5)
        right.append((role[row], team[row]) == wanted)
    assert np.mean(right) > 0.97


def test_filled_in_rows_have_no_box_and_say_so(tracks):
    hidden = tracks.filter(pc.invert(tracks["observed"]))
    assert 0 < hidden.num_rows < 0.2 * tracks.num_rows
    assert hidden["x1_px"].null_count == hidden.num_rows
    assert tracks.filter(tracks["observed"])["x1_px"].null_count == 0
    worst = np.mean(hidden["sigma_ft"].to_numpy())
    assert worst > np.mean(tracks.filter(tracks["observed"])["sigma_ft"].to_numpy())


def test_the_order_of_rows_does_not_matter(play, tracks):
    rng = np.random.default_rng(0)
    boxes = play.boxes.take(pa.array(rng.permutation(play.boxes.num_rows)))
    cameras = play.cameras.take(pa.array(rng.permutation(play.cameras.num_rows)))
    again = track(boxes, cameras, play.shots)
    assert again.equals(tracks)


def test_frames_without_a_camera_are_bridged(play):
    cameras = play.cameras.to_pylist()
    for row in cameras[40:46]:
        row.update(status="unknown", reason="hidden", image_to_court=None, focal_px=None)
    tracks = track(play.boxes, pa.Table.from_pylist(cameras, schema=play.cameras.schema), play.shots)
    gap = tracks.filter(pc.is_in(tracks["frame"], value_set=pa.array(range(120, 138, 3))))
    assert gap.num_rows >= 50
    assert not any(gap["observed"].to_pylist())
    assert _scores(play, tracks)["HOTA"] > 0.85


def test_people_off_the_floor_are_dropped(play):
    rows = play.boxes.to_pylist()
    for k, t in enumerate(play.times_s):
        camera = camera_at(t)
        foot = camera.project_floor(np.array([[25.0, 53.0]]))[0]
        head = camera.project(np.array([[25.0, 53.0, 6.0]]))[0]
        half = 0.2 * (foot[1] - head[1])
        box = {"x1_px": foot[0] - half, "y1_px": head[1], "x2_px": foot[0] + half, "y2_px": foot[1]}
        rows.append(
            {"frame": 3 * k, "t_s": float(t), "shot": 1, "class": "player", "score": 0.9, "kit_lab": None} | box
        )
    tracks = track(BOXES.from_rows(rows), play.cameras, play.shots)
    assert np.max(tracks["y_ft"].to_numpy()) < 52
    assert len(set(tracks["track"].to_pylist())) == 12


def test_nothing_in_gives_nothing_out(play):
    for boxes, shots in ((BOXES.empty(), play.shots), (play.boxes, play.shots.slice(0, 0))):
        empty = track(boxes, play.cameras, shots)
        assert empty.num_rows == 0
        assert empty.schema == TRACKS.schema
    replay = play.shots.set_column(play.shots.schema.get_field_index("live"), "live", pa.array([False]))
    assert track(play.boxes, play.cameras, replay).num_rows == 0


def test_one_body_for_a_moment_is_no_track(play):
    assert track(play.boxes.slice(0, 1), play.cameras, play.shots).num_rows == 0


def test_broken_boxes_are_left_out(play):
    rows = play.boxes.to_pylist()[:200]
    for row in rows[:100]:
        row["x1_px"] = float("nan")
    for row in rows[100:]:
        row["x1_px"], row["x2_px"] = row["x2_px"], row["x1_px"]
    cameras = {0: camera_at(0.0)}
    assert len(place_boxes(BOXES.from_rows(rows), cameras, RULE_BOOKS["nba"], TrackSettings()).row) == 0


def _soles(places: np.ndarray, camera) -> np.ndarray:
    """Where the near edges of the shoes are."""
    towards = camera.centre_ft[:2] - places
    return places + SOLE_FT * towards / np.linalg.norm(towards, axis=1, keepdims=True)


def test_feet_and_their_errors():
    camera = camera_at(0.0)
    places = np.array([[10.0, 5.0], [20.0, 45.0]])
    feet = camera.project_floor(_soles(places, camera))
    boxes = np.column_stack([feet[:, 0] - 20, feet[:, 1] - 120, feet[:, 0] + 20, feet[:, 1]])
    np.testing.assert_allclose(feet_on_court(boxes, camera), places, atol=1e-3)
    assert feet_on_court(np.zeros((0, 4)), camera).shape == (0, 2)
    covariance = floor_errors(boxes, camera, TrackSettings())
    depth_error = np.sqrt(covariance[:, 1, 1])
    assert depth_error[1] > depth_error[0]  # farther from the camera a pixel is more feet
    # against simulation: boxes disturbed by the stated errors
    rng = np.random.default_rng(0)
    placing = TrackSettings().placing
    sigma_x, sigma_y = placing.across_sigma * 40, placing.down_sigma * 120
    shift = rng.normal(0, 1, (20000, 2)) * [sigma_x, sigma_y]
    moved = boxes[0] + np.column_stack([shift[:, 0], shift[:, 1], shift[:, 0], shift[:, 1]])
    spread = np.cov(feet_on_court(moved, camera, 0.0).T) + placing.floor_sigma_ft**2 * np.eye(2)
    np.testing.assert_allclose(covariance[0], spread, rtol=0.1, atol=0.02)


def test_feet_below_the_picture_are_put_where_a_body_of_usual_height_stands():
    camera = camera_at(3.0)
    places = np.array([[40.0, 20.0], [50.0, 30.0]])
    floor, head = (camera.project(np.column_stack([places, np.full(2, z)])) for z in (0.0, USUAL_BOX_FT))
    half = 0.2 * (floor[:, 1] - head[:, 1])
    boxes = np.column_stack([floor[:, 0] - half, head[:, 1], floor[:, 0] + half, floor[:, 1]])
    edge = 0.5 * (head[0, 1] + floor[0, 1])
    tight = replace(camera, size_px=(camera.size_px[0], int(edge) + 1))
    seen = boxes.copy()
    seen[0, 3] = edge
    whole, cut = below_the_edge(seen[:1], tight)
    assert cut.tolist() == [True]
    np.testing.assert_allclose(whole[0], boxes[0], atol=3.0)
    unchanged, cut = below_the_edge(boxes[1:], camera)
    assert not cut.any()
    np.testing.assert_array_equal(unchanged, boxes[1:])
    assert below_the_edge(np.zeros((0, 4)), camera)[0].shape == (0, 4)


def test_a_coach_at_the_line_is_no_eleventh_player():
    play = make_play(4, seconds=6, loss=0.0, false=0.0)
    rows = play.boxes.to_pylist()
    shade = np.array([50.0, 0.0, 0.0, 20.0, 0.0, 0.0])
    place = np.array([[40.0, -0.6]])
    for k, t in enumerate(play.times_s):
        camera = camera_at(t)
        feet, head = (camera.project(np.column_stack([place, [z]]))[0] for z in (0.0, 6.3))
        half = 0.2 * (feet[1] - head[1])
        box = {"x1_px": feet[0] - half, "y1_px": head[1], "x2_px": feet[0] + half, "y2_px": feet[1]}
        about = {"frame": 3 * k, "t_s": float(t), "shot": rows[0]["shot"], "class": "player", "score": 0.9}
        rows.append(about | box | {"kit_lab": shade.tolist()})
    found = track(BOXES.from_rows(rows), play.cameras, play.shots)
    players = found.filter(pc.equal(found["role"], "player"))
    frame, y = _columns(players, "frame", "y_ft")
    assert np.unique(frame, return_counts=True)[1].max() <= 10
    assert np.mean(y < 0) < 0.03, "the coach is left out, not a player"


def test_a_body_hidden_by_another_is_put_behind_it():
    play = make_play(4, seconds=5, loss=0.0, false=0.0)
    shot = play.boxes["shot"][0].as_py()
    front, beside = np.array([[45.0, 20.0]]), np.array([[45.8, 19.0]])
    kits = ([90.0, 0, 0, 90, 0, 0], [30.0, 30, -50, 30, 30, -50])
    rows = []
    for k, t in enumerate(play.times_s):
        camera = camera_at(t)
        for place, kit in zip((front, beside), kits, strict=True):
            if place is beside and 1.8 <= t <= 3.2:
                continue
            feet, head = (camera.project(np.column_stack([place, [z]]))[0] for z in (0.0, 6.3))
            half = 0.2 * (feet[1] - head[1])
            box = {"x1_px": feet[0] - half, "y1_px": head[1], "x2_px": feet[0] + half, "y2_px": feet[1]}
            about = {"frame": 3 * k, "t_s": float(t), "shot": shot, "class": "player", "score": 0.9}
            rows.append(about | box | {"kit_lab": kit})
    found = track(BOXES.from_rows(rows), play.cameras, play.shots)
    assert len(set(found["track"].to_pylist())) == 2
    hidden = found.filter(pc.and_(pc.invert(found["observed"]), pc.less(pc.abs(pc.subtract(found["t_s"], 2.5)), 0.3)))
    assert hidden.num_rows >= 5
    (y,) = _columns(hidden, "y_ft")
    assert np.all(y > 20.0 - SOLE_FT + 0.5), "the camera looks along y: behind is more"
