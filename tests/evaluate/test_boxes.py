"""Scoring boxes: by hand on small cases, and average precision against supervision's own COCO metric."""

import cv2
import numpy as np
import pytest
import supervision as sv
from supervision.metrics import MeanAveragePrecision

from pipeline.errors import DataError
from pipeline.evaluate.boxes import (
    Scored,
    average_precision,
    box_overlap,
    evaluate_boxes,
    feet_on_floor,
    match_boxes,
    people_on_floor,
    read_labels,
    recall_precision,
)
from pipeline.players.settings import DetectorSettings


def test_overlap_of_known_boxes():
    a = np.array([[0.0, 0, 10, 10], [0, 0, 0, 0]])
    b = np.array([[5.0, 0, 15, 10], [0, 0, 10, 10], [20, 20, 30, 30]])
    np.testing.assert_allclose(box_overlap(a, b), [[1 / 3, 1, 0], [0, 0, 0]])


def test_a_label_is_found_once():
    labels = np.array([[0.0, 0, 10, 10]])
    boxes = np.array([[0.0, 0, 10, 9], [0, 0, 10, 10], [50, 0, 60, 10]])
    hits = match_boxes(labels, boxes, np.array([0.9, 0.8, 0.7]))
    assert hits.tolist() == [True, False, False]
    assert not match_boxes(np.empty((0, 4)), boxes, np.array([0.9, 0.8, 0.7])).any()


def test_average_precision_by_hand():
    # Two labels; sightings right, wrong, right: precision 1 up to recall 0.5, then 2/3 up to recall 1.
    found = Scored(np.array([0.9, 0.8, 0.7]), np.array([True, False, True]), 2)
    assert average_precision(found) == pytest.approx((51 * 1 + 50 * 2 / 3) / 101)
    assert average_precision(Scored(np.zeros(0), np.zeros(0, bool), 3)) == 0.0
    assert average_precision(Scored(np.zeros(0), np.zeros(0, bool), 0)) is None


def test_recall_and_precision_at_a_threshold():
    found = Scored(np.array([0.9, 0.8, 0.3]), np.array([True, False, True]), 4)
    assert recall_precision(found, 0.5) == (0.25, 0.5)
    assert recall_precision(found, 0.95) == (0.0, None)
    assert recall_precision(Scored(np.zeros(0), np.zeros(0, bool), 0), 0.5) == (None, None)


class AllFloor:
    """A court network to which the lower half of every picture is floor."""

    def areas(self, frames_bgr):
        found = np.zeros((6, 10, 10), np.float32)
        found[0, :5], found[1, 5:] = 1, 1
        return [found] * len(frames_bgr)


def test_people_on_the_floor_by_hand():
    areas = AllFloor().areas([None])[0]
    labels = np.array([[0.0, 20, 10, 80], [20, 20, 30, 80], [40, 0, 50, 30]])  # two on the floor, one above it
    np.testing.assert_array_equal(feet_on_floor(labels, areas, (100, 100)), [True, True, False])
    seen = np.array(
        [
            [0.0, 20, 10, 80],  # finds the first
            [0, 22, 10, 80],  # the first again: a false alarm
            [40, 0, 50, 30],  # finds the one beside the floor: neither
            [70, 0, 80, 30],  # a false alarm, but not on the floor
        ]
    )
    assert people_on_floor(labels, seen, np.array([0.9, 0.8, 0.7, 0.6]), areas, (100, 100)) == (2, 1, 2)
    assert people_on_floor(np.empty((0, 4)), seen[:1], np.ones(1), areas, (100, 100)) == (0, 0, 1)
    assert people_on_floor(labels, np.empty((0, 4)), np.empty(0), areas, (100, 100)) == (2, 0, 0)


class Remembered:
    """A detector that answers what it was given, picture by picture."""

    def __init__(self, answers):
        self._answers = list(answers)

    def detect(self, frames_bgr):
        return [self._answers.pop(0) for _ in frames_bgr]


def write_folder(folder, labels, classes=("player", "official", "ball", "ring"), size=(200, 100)):
    (folder / "images").mkdir()
    (folder / "labels").mkdir()
    (folder / "classes.txt").write_text("\n".join(classes) + "\n")
    for number, rows in enumerate(labels):
        cv2.imwrite(str(folder / "images" / f"{number:03d}.png"), np.zeros((size[1], size[0], 3), np.uint8))
        text = ""
        for kind, x1, y1, x2, y2 in rows:
            text += f"{kind} {(x1 + x2) / 2 / size[0]} {(y1 + y2) / 2 / size[1]} "
            text += f"{(x2 - x1) / size[0]} {(y2 - y1) / size[1]}\n"
        (folder / "labels" / f"{number:03d}.txt").write_text(text)
    return folder


def random_case(rng, pictures=12):
    """Labels and noisy sightings of two classes."""
    labels, answers = [], []
    for _ in range(pictures):
        rows, boxes, kinds, scores = [], [], [], []
        for _ in range(rng.integers(0, 6)):
            kind = int(rng.integers(0, 2))
            corner = rng.uniform(0, [150, 60])
            box = np.array([*corner, *(corner + rng.uniform(12, 40, 2))])
            rows.append((kind, *box))
            for _ in range(rng.integers(0, 3)):
                boxes.append(box + rng.normal(0, 3.0, 4))
                kinds.append(kind if rng.random() < 0.9 else 1 - kind)
                scores.append(rng.uniform(0.02, 1))
        for _ in range(rng.integers(0, 3)):
            corner = rng.uniform(0, [150, 60])
            boxes.append([*corner, *(corner + 20)])
            kinds.append(int(rng.integers(0, 2)))
            scores.append(rng.uniform(0.02, 1))
        labels.append(rows)
        answers.append(
            sv.Detections(
                xyxy=np.array(boxes, float).reshape(-1, 4),
                class_id=np.array(kinds, int),
                confidence=np.array(scores, float),
            )
        )
    return labels, answers


@pytest.mark.parametrize("seed", range(4))
def test_average_precision_agrees_with_supervision(seed, tmp_path):
    labels, answers = random_case(np.random.default_rng(seed))
    folder = write_folder(tmp_path, labels)
    ours = evaluate_boxes(folder, detector=Remembered(answers), court=AllFloor())
    metric = MeanAveragePrecision()
    targets = [
        sv.Detections(
            xyxy=np.array([r[1:] for r in rows], float).reshape(-1, 4), class_id=np.array([r[0] for r in rows], int)
        )
        for rows in labels
    ]
    theirs = metric.update(answers, targets).compute()
    assert len(theirs.matched_classes) == 2
    for place, kind in enumerate(theirs.matched_classes):
        name = ("player", "official")[int(kind)]
        assert ours["classes"][name]["ap50"] == pytest.approx(theirs.ap_per_class[place, 0], abs=1e-3)


def test_report_counts_and_uses_the_given_thresholds(tmp_path):
    folder = write_folder(tmp_path, [[(0, 10, 10, 30, 60), (3, 100, 10, 120, 40)], []])
    seen = sv.Detections(
        xyxy=np.array([[10.0, 10, 30, 58], [60, 10, 80, 60]]),
        class_id=np.array([0, 0]),
        confidence=np.array([0.9, 0.4]),
    )
    report = evaluate_boxes(
        folder,
        detector=Remembered([seen, sv.Detections.empty()]),
        court=AllFloor(),
        settings=DetectorSettings(min_player=0.5),
    )
    assert report["pictures"] == 2
    assert report["classes"]["player"] == {
        "labels": 1,
        "ap50": pytest.approx(1.0),
        "recall": 1.0,
        "precision": 1.0,
        "threshold": 0.5,
    }
    assert report["people_on_floor"]["labels"] == 1
    assert report["people_on_floor"]["recall"] == 1.0
    assert report["classes"]["ring"]["recall"] == 0.0
    assert report["classes"]["official"]["ap50"] is None


def test_classes_in_another_order_and_unknown_ones(tmp_path):
    folder = write_folder(tmp_path, [[(1, 10, 10, 30, 60), (0, 5, 5, 9, 9)]], classes=("mascot", "player"))
    seen = sv.Detections(xyxy=np.array([[10.0, 10, 30, 60]]), class_id=np.array([0]), confidence=np.array([0.9]))
    report = evaluate_boxes(folder, detector=Remembered([seen]), court=AllFloor())
    assert report["not_scored"] == ["mascot"]
    assert report["classes"]["player"]["ap50"] == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("damage", "message"),
    [
        (lambda f: (f / "classes.txt").unlink(), r"classes\.txt is missing"),
        (lambda f: (f / "classes.txt").write_text("mascot\n"), "names mascot"),
        (lambda f: (f / "images" / "000.png").unlink(), "holds no .jpg or .png"),
        (lambda f: (f / "labels" / "000.txt").unlink(), "no label file"),
        (lambda f: (f / "labels" / "000.txt").write_text("0 0.5 x 1 1\n"), "wanted five numbers"),
        (lambda f: (f / "labels" / "000.txt").write_text("7 0.5 0.5 1 1\n"), "class number"),
    ],
)
def test_damaged_folders_are_named(damage, message, tmp_path):
    folder = write_folder(tmp_path, [[(0, 10, 10, 30, 60)]])
    damage(folder)
    with pytest.raises(DataError, match=message):
        read_labels(folder)
