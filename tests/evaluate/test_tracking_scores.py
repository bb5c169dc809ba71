"""Tracking scores: hand-made cases, and the same numbers as TrackEval's own evaluator on files."""

import contextlib
import io

import numpy as np
import pytest

from pipeline.errors import ShapeError
from pipeline.evaluate.tracking_scores import SequenceMatch, floor_similarity, iou, score_sequences


def _match(truth, found):
    """Bodies far apart: identity k of the truth stands at place k; found is (identity, place) pairs."""
    similarities = []
    for t, f in zip(truth, found, strict=True):
        similarities.append(np.array([[float(place == name) for _, place in f] for name in t]).reshape(len(t), len(f)))
    ids = tuple(np.array([name for name, _ in f], dtype=int) for f in found)
    return SequenceMatch(tuple(np.array(t, dtype=int) for t in truth), ids, tuple(similarities))


def test_a_perfect_tracker_scores_one():
    scores = score_sequences([_match([[0, 1]] * 10, [[(7, 0), (3, 1)]] * 10)])
    assert scores["HOTA"] == scores["IDF1"] == scores["AssA"] == scores["DetA"] == 1
    assert scores["switches"] == 0
    assert (scores["truth"], scores["found"]) == (20, 20)


def test_identities_swapped_half_way():
    found = [[(0, 0), (1, 1)]] * 5 + [[(1, 0), (0, 1)]] * 5
    scores = score_sequences([_match([[0, 1]] * 10, found)])
    assert scores["DetA"] == 1
    assert scores["IDF1"] == pytest.approx(0.5)
    assert scores["switches"] == 2
    assert scores["AssA"] == pytest.approx(5 / 15)  # 5 shared of 10 + 10 - 5
    assert scores["HOTA"] == pytest.approx(np.sqrt(5 / 15))


def test_half_of_the_bodies_missed_and_as_many_false():
    scores = score_sequences([_match([[0, 1]] * 10, [[(0, 0), (1, 9)]] * 10)])
    assert scores["DetA"] == pytest.approx(10 / 30)
    assert scores["IDF1"] == pytest.approx(0.5)


def test_nothing_found_and_nothing_at_all():
    nothing = score_sequences([_match([[0, 1]] * 3, [[]] * 3)])
    assert nothing["HOTA"] == 0
    assert nothing["IDF1"] == 0
    empty = score_sequences([_match([[]] * 3, [[]] * 3)])
    assert np.isnan(empty["HOTA"])
    assert empty["truth"] == 0


def test_sequences_are_combined_by_their_detections():
    good, bad = _match([[0]] * 30, [[(0, 0)]] * 30), _match([[0]] * 10, [[(0, 5)]] * 10)
    both = score_sequences({"good": good, "bad": bad})
    assert both["DetA"] == pytest.approx(30 / 50)


def test_an_identity_twice_in_a_frame_is_refused():
    with pytest.raises(ShapeError, match="twice"):
        _match([[0, 0]], [[(0, 0)]])
    with pytest.raises(ShapeError, match="rows are truth"):
        SequenceMatch((np.array([1]),), (np.array([1]),), (np.zeros((2, 1)),))


def test_overlap_and_floor_similarity():
    boxes = np.array([[0, 0, 2, 2], [1, 0, 3, 2], [5, 5, 5, 5]], dtype=float)
    np.testing.assert_allclose(iou(boxes[:1], boxes), [[1, 1 / 3, 0]])
    assert iou(np.zeros((0, 4)), boxes).shape == (0, 3)
    np.testing.assert_allclose(floor_similarity(np.zeros((1, 2)), np.array([[3, 0], [0, 6], [9, 0.0]])), [[0.5, 0, 0]])


def test_same_numbers_as_trackevals_own_evaluator(tmp_path):
    """The reference: TrackEval reading MOTChallenge files, every step its own."""
    with contextlib.redirect_stdout(io.StringIO()):
        import trackeval
    rng = np.random.default_rng(0)
    frames = 40
    place = rng.uniform(100, 900, (4, 2))
    truth, found = [], []
    for k in range(frames):
        place = place + rng.normal(0, 3, (4, 2))
        boxes = np.hstack([place, place + np.array([50, 120])])
        names = np.arange(4) if k < 25 else np.array([1, 0, 2, 3])
        kept = rng.random(4) < 0.85
        truth.append((np.arange(4), boxes))
        found.append((names[kept], boxes[kept] + rng.normal(0, 4, (kept.sum(), 4))))
    match = SequenceMatch(
        tuple(t[0] for t in truth),
        tuple(f[0] for f in found),
        tuple(iou(t[1], f[1]) for t, f in zip(truth, found, strict=True)),
    )
    ours = score_sequences({"one": match})

    def lines(rows, path):
        path.parent.mkdir(parents=True)
        text = ""
        for k, (names, boxes) in enumerate(rows):
            for name, (x1, y1, x2, y2) in zip(names, boxes, strict=True):
                text += f"{k + 1},{name + 1},{x1:.9f},{y1:.9f},{x2 - x1:.9f},{y2 - y1:.9f},1,1,1\n"
        path.write_text(text)

    lines(truth, tmp_path / "gt" / "one" / "gt" / "gt.txt")
    lines(found, tmp_path / "tr" / "t" / "data" / "one.txt")
    with contextlib.redirect_stdout(io.StringIO()):
        dataset = trackeval.datasets.MotChallenge2DBox(
            {
                "GT_FOLDER": str(tmp_path / "gt"),
                "TRACKERS_FOLDER": str(tmp_path / "tr"),
                "TRACKERS_TO_EVAL": ["t"],
                "SEQ_INFO": {"one": frames},
                "SKIP_SPLIT_FOL": True,
                "DO_PREPROC": False,
                "PRINT_CONFIG": False,
            }
        )
        evaluator = trackeval.Evaluator(
            {
                "PRINT_RESULTS": False,
                "PRINT_CONFIG": False,
                "OUTPUT_SUMMARY": False,
                "OUTPUT_DETAILED": False,
                "PLOT_CURVES": False,
                "TIME_PROGRESS": False,
                "RETURN_ON_ERROR": False,
                "BREAK_ON_ERROR": True,
                "LOG_ON_ERROR": None,
            }
        )
        metrics = [
            trackeval.metrics.HOTA(),
            trackeval.metrics.CLEAR({"PRINT_CONFIG": False}),
            trackeval.metrics.Identity({"PRINT_CONFIG": False}),
        ]
        results, _ = evaluator.evaluate([dataset], metrics)
    theirs = results["MotChallenge2DBox"]["t"]["COMBINED_SEQ"]["pedestrian"]
    for key in ("HOTA", "AssA", "DetA"):
        assert ours[key] == pytest.approx(float(np.mean(theirs["HOTA"][key])), abs=1e-6)
    assert ours["IDF1"] == pytest.approx(theirs["Identity"]["IDF1"], abs=1e-9)
    assert ours["switches"] == theirs["CLEAR"]["IDSW"]
