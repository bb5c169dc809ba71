"""Scoring a film: a perfect game scores one, known spoilings score what arithmetic says."""

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pytest
from made_up_play import camera_at, make_play

from pipeline.ball.tables import BALL, POSSESSIONS, TOUCHES
from pipeline.court.camera import camera_to_row
from pipeline.court.tables import CAMERAS
from pipeline.errors import DataError
from pipeline.evaluate.film import candidate_scores, evaluate_film, match_times, nearest_frames
from pipeline.film.tables import FRAMES, SHOTS
from pipeline.players.tables import BOXES, TRACKS
from pipeline.spacing.tables import FAULTS


def _fault(t_s, kind="crowded_paint", event=0):
    row = dict.fromkeys(FAULTS.schema.names)
    return row | {"event": event, "kind": kind, "shot": 1, "start_s": t_s, "end_s": t_s, "t_s": t_s, "score": 1.0}


def _truth_tables(play):
    frames = 3 * np.arange(len(play.times_s))
    tracks, boxes = [], []
    for k, t in enumerate(play.times_s):
        camera = camera_at(t)
        feet = camera.project_floor(play.places_ft[k])
        for actor in range(12):
            x, y = play.places_ft[k, actor]
            tracks.append(
                {
                    "frame": frames[k],
                    "t_s": t,
                    "shot": 1,
                    "track": 100 + actor,
                    "role": "official" if actor >= 10 else "player",
                    "team": -1 if actor >= 10 else actor // 5,
                    "jersey": None if actor >= 10 else str(actor % 5),
                    "x_ft": x,
                    "y_ft": y,
                    "vx_ft_s": 0.0,
                    "vy_ft_s": 0.0,
                    "sigma_ft": 0.1,
                    "observed": True,
                    "score": 1.0,
                }
            )
            boxes.append(
                {
                    "frame": frames[k],
                    "t_s": t,
                    "shot": 1,
                    "class": "official" if actor >= 10 else "player",
                    "x1_px": feet[actor, 0] - 20,
                    "y1_px": feet[actor, 1] - 110,
                    "x2_px": feet[actor, 0] + 20,
                    "y2_px": feet[actor, 1],
                    "score": 0.9,
                }
            )
    ball = [
        {
            "frame": frames[k],
            "t_s": t,
            "shot": 1,
            "holder": None if play.holder[k] < 0 else 100 + int(play.holder[k]),
            "observed": True,
            "score": 1.0,
        }
        for k, t in enumerate(play.times_s)
    ]
    touches = [
        {"touch": 0, "shot": 1, "kind": "pass", "start_s": 2.0, "end_s": 2.7, "track": 100, "to_track": 101, "team": 0}
    ]
    possessions = [{"possession": 0, "shot": 1, "team": 0, "attacked_end": "left", "start_s": 0.0, "end_s": 6.0}]
    return {
        SHOTS: play.shots,
        FRAMES: FRAMES.from_columns({"frame": frames, "t_s": play.times_s, "shot": np.ones(len(frames), np.int32)}),
        CAMERAS: play.cameras,
        BOXES: BOXES.from_rows(boxes),
        TRACKS: TRACKS.from_rows(tracks),
        BALL: BALL.from_rows(ball),
        TOUCHES: TOUCHES.from_rows(touches),
        POSSESSIONS: POSSESSIONS.from_rows(possessions),
        FAULTS: FAULTS.from_rows([_fault(3.0)]),
    }


def _write(tables, folder):
    for spec, table in tables.items():
        spec.write(table, folder)
    return folder


@pytest.fixture(scope="module")
def play():
    return make_play(0, seconds=6)


@pytest.fixture
def truth(play, tmp_path):
    return _write(_truth_tables(play), tmp_path / "truth")


def test_the_truth_scores_one_against_itself(play, truth, tmp_path):
    game = tmp_path / "game"
    _write(_truth_tables(play), game / "tables")
    scores = evaluate_film(game, truth)
    assert scores["court"]["median_ft"] < 1e-6
    assert scores["court"]["registered"] == 1
    assert scores["court"]["live_frames"] == len(play.times_s)
    players = scores["players"]
    assert players["position_ft"]["p95"] == pytest.approx(0, abs=1e-9)
    assert players["on_floor"]["precision"] == players["on_floor"]["recall"] == 1
    assert players["players_on_floor"]["precision"] == players["players_on_floor"]["recall"] == 1
    assert players["identity"]["HOTA"] == pytest.approx(1)
    assert players["identity"]["IDF1"] == pytest.approx(1)
    assert players["team"] == {"right": 1.0, "count": players["identity"]["truth"]}
    assert players["officials_kept_out"]["share"] == 1
    numbers = {"tracks": 10, "with_number": 1.0, "right": 1.0, "wrong": 0, "time_with_number": 1.0}
    assert scores["numbers"] == numbers
    assert scores["detection"]["bodies"]["f1"] == 1
    assert scores["shots"]["live"]["f1"] == 1
    assert scores["ball"]["holder"]["right"] == 1
    assert scores["ball"]["passes"]["f1"] == 1
    assert scores["ball"]["possessions"]["f1"] == 1
    assert scores["candidates"]["all"]["f1"] == 1


def test_numbers_missing_and_wrong(play, truth, tmp_path):
    tables = _truth_tables(play)
    tracks = tables[TRACKS]
    worn = {100: "44", 101: None, 102: None}
    names = zip(tracks["track"].to_pylist(), tracks["jersey"].to_pylist(), strict=True)
    changed = pa.array([worn.get(track, jersey) for track, jersey in names], pa.string())
    tables[TRACKS] = tracks.set_column(tracks.schema.get_field_index("jersey"), "jersey", changed)
    _write(tables, tmp_path / "game")
    numbers = evaluate_film(tmp_path / "game", truth)["numbers"]
    assert numbers["tracks"] == 10
    assert numbers["with_number"] == pytest.approx(0.8)
    assert numbers["wrong"] == 1
    assert numbers["right"] == pytest.approx(7 / 8)
    assert numbers["time_with_number"] == pytest.approx(0.8)


def test_known_spoilings(play, truth, tmp_path):
    tables = _truth_tables(play)
    tracks = tables[TRACKS]
    moved = pc.add(tracks["x_ft"], 1.5)
    swapped = pc.if_else(pc.greater_equal(tracks["team"], 0), pc.subtract(1, tracks["team"]), tracks["team"])
    tracks = tracks.set_column(tracks.schema.get_field_index("x_ft"), "x_ft", moved)
    tracks = tracks.set_column(tracks.schema.get_field_index("team"), "team", swapped.cast(pa.int8()))
    roles = pa.array(["player"] * tracks.num_rows)
    tables[TRACKS] = tracks.set_column(tracks.schema.get_field_index("role"), "role", roles)
    times = play.times_s
    rows = [
        camera_to_row(camera_at(t, k1=0.0), frame=3 * k, t_s=float(t), shot=1, rule_book="nba")
        for k, t in enumerate(times)
        if k % 2
    ]
    tables[CAMERAS] = CAMERAS.from_rows(rows)
    tables[FAULTS] = FAULTS.from_rows([_fault(3.9), _fault(5.5, event=1), _fault(3.0, "twins", event=2)])
    game = _write(tables, tmp_path / "game")
    scores = evaluate_film(game, truth)
    assert scores["players"]["position_ft"]["median"] == pytest.approx(1.5)
    assert scores["players"]["team"]["right"] == 1  # the names of the teams do not matter
    assert scores["players"]["officials_kept_out"]["share"] == 0
    assert scores["players"]["players_on_floor"]["recall"] == 1
    assert scores["players"]["players_on_floor"]["precision"] < 1, "officials stand there as players"
    assert scores["court"]["registered"] == pytest.approx((len(times) // 2) / len(times))
    assert 0.01 < scores["court"]["median_ft"] < 2  # only the lens is left out
    assert scores["candidates"]["kinds"]["crowded_paint"]["right"] == 1
    assert scores["candidates"]["told"] == ["crowded_paint"]
    assert scores["candidates"]["all"]["found"] == 2, "its truth tells no twins"
    assert scores["candidates"]["all"]["precision"] == pytest.approx(1 / 2)


def test_half_the_film_shifted_in_frame_numbers_still_joins_by_time(play, truth, tmp_path):
    tables = _truth_tables(play)
    kept = np.arange(0, len(play.times_s), 2)

    def renumbered(table):
        table = table.filter(pc.is_in(table["frame"], value_set=pa.array(3 * kept)))
        return table.set_column(0, "frame", pc.add(table["frame"], 7))

    for spec in (FRAMES, BOXES, TRACKS, BALL, CAMERAS):
        tables[spec] = renumbered(tables[spec])
    scores = evaluate_film(_write(tables, tmp_path / "game"), truth)
    assert scores["analysed_live_frames"] == len(kept)
    assert scores["players"]["identity"]["HOTA"] == pytest.approx(1)


def test_nothing_found_is_nulls_and_zeros(truth, tmp_path):
    game = tmp_path / "game"
    for spec in (SHOTS, FRAMES, CAMERAS, BOXES, TRACKS):
        spec.write(spec.empty(), game)
    scores = evaluate_film(game, truth)
    assert scores["court"]["median_ft"] is None
    assert scores["analysed_live_frames"] == 0
    assert scores["shots"]["live"]["recall"] == 0
    assert scores["ball"] is None
    assert scores["candidates"] is None


def test_a_folder_without_truth_is_refused(tmp_path):
    with pytest.raises(DataError, match="no folder"):
        evaluate_film(tmp_path, tmp_path / "none")
    with pytest.raises(DataError, match=r"shots\.parquet"):
        evaluate_film(tmp_path, tmp_path)


def test_times_match_one_to_one_and_nearest():
    assert match_times(np.array([1.0, 1.2]), np.array([1.1]), 0.5) in ([(0, 0)], [(1, 0)])
    assert match_times(np.array([0.0, 1.0]), np.array([0.9, 1.9]), 1.0) == [(0, 0), (1, 1)]
    assert match_times(np.zeros(0), np.array([1.0]), 1.0) == []
    np.testing.assert_array_equal(nearest_frames(np.array([0.0, 0.051, 0.2]), np.arange(4) * 0.04), [0, 1, -1])


def test_candidates_of_another_kind_do_not_match():
    scores = candidate_scores(FAULTS.from_rows([_fault(1.0)]), FAULTS.from_rows([_fault(1.0, "twins")]), 1.0)
    assert scores["all"]["right"] == 0
    assert scores["all"]["found"] == scores["all"]["truth"] == 1


def test_candidates_of_kinds_that_the_truth_does_not_tell_count_neither_way():
    true, found = FAULTS.from_rows([_fault(1.0)]), FAULTS.from_rows([_fault(1.0), _fault(1.0, "twins", event=1)])
    scores = candidate_scores(true, found, 1.0, frozenset({"crowded_paint"}))
    assert scores["all"]["precision"] == scores["all"]["recall"] == 1
    assert candidate_scores(true, found, 1.0)["all"]["precision"] == pytest.approx(1 / 2)
