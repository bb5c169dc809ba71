"""Score the detector on labelled pictures: average precision, recall and precision per class.

A folder holds ``images/NAME.jpg`` (or ``.png``), ``labels/NAME.txt`` in YOLO form (class, then centre x, centre y,
width and height as shares of the picture) and ``classes.txt`` (one class name a line, in the order of the numbers).

Average precision at IoU 0.5 follows COCO: detections of all pictures sorted by score, each matched to the free label
it overlaps most (at least 0.5), precision made non-increasing in recall and averaged at the 101 recall levels 0, 0.01,
… 1 (Lin et al., "Microsoft COCO", 2014, and its published evaluation code, `COCOeval.accumulate`). Detections down to
a score of 0.01 enter it; recall and precision are those at the thresholds the product ships with.

Beside the classes, "people on the floor" counts players and officials as one, those whose feet (the middle of the box's
lower edge) the court network puts on the floor: whoever is taken for the other kind still counts as found. A body seen
twice, once as each kind, counts as one found and one false alarm.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from pipeline.court.area_network import AREA_CLASSES, AreaNetwork, FloorAreas
from pipeline.errors import DataError
from pipeline.players.detector import Detector, open_detector
from pipeline.players.settings import DetectorSettings
from pipeline.players.tables import BOX_CLASSES
from pipeline.user_files import read_text, shown

MATCH_IOU = 0.5
LOWEST_SCORE = 0.01
PEOPLE = ("player", "official")
RECALL_LEVELS = np.linspace(0, 1, 101)


@dataclass(frozen=True, slots=True, eq=False)
class Scored:
    """All detections of one class over a set of pictures, matched to labels.

    Attributes
    ----------
    scores : ndarray of shape (N,)
    hits : ndarray of bool, shape (N,)
        Whether each detection found a label of its own.
    labels : int
        How many labels there are.
    """

    scores: np.ndarray
    hits: np.ndarray
    labels: int


def match_boxes(labels: np.ndarray, boxes: np.ndarray, scores: np.ndarray, *, iou: float = MATCH_IOU) -> np.ndarray:
    """Match the detections of one class in one picture to its labels, surest first.

    Parameters
    ----------
    labels : ndarray of shape (M, 4), x1, y1, x2, y2
    boxes : ndarray of shape (N, 4)
    scores : ndarray of shape (N,)

    Returns
    -------
    ndarray of bool, shape (N,)
        True where the detection took a label that was still free.
    """
    hits = np.zeros(len(boxes), bool)
    if not len(labels) or not len(boxes):
        return hits
    overlap = box_overlap(boxes, labels)
    free = np.ones(len(labels), bool)
    for number in np.argsort(-scores, kind="stable"):
        candidates = np.where(free, overlap[number], -1.0)
        best = int(candidates.argmax())
        if candidates[best] >= iou:
            hits[number], free[best] = True, False
    return hits


def box_overlap(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Intersection over union of boxes (N, 4) and (M, 4), shape (N, M); 0 for boxes without area."""
    low = np.maximum(a[:, None, :2], b[None, :, :2])
    high = np.minimum(a[:, None, 2:], b[None, :, 2:])
    shared = np.prod(np.clip(high - low, 0, None), axis=2)
    area_a = np.prod(np.clip(a[:, 2:] - a[:, :2], 0, None), axis=1)
    area_b = np.prod(np.clip(b[:, 2:] - b[:, :2], 0, None), axis=1)
    union = area_a[:, None] + area_b[None] - shared
    return np.where(union > 0, shared / np.where(union > 0, union, 1), 0.0)


def average_precision(found: Scored) -> float | None:
    """COCO's 101-point average precision, or None where there are no labels."""
    if not found.labels:
        return None
    order = np.argsort(-found.scores, kind="stable")
    right = np.cumsum(found.hits[order])
    if not len(right):
        return 0.0
    recall = right / found.labels
    precision = right / np.arange(1, len(right) + 1)
    precision = np.maximum.accumulate(precision[::-1])[::-1]
    at = np.searchsorted(recall, RECALL_LEVELS, side="left")
    return float(np.where(at < len(precision), precision[np.minimum(at, len(precision) - 1)], 0.0).mean())


def recall_precision(found: Scored, threshold: float) -> tuple[float | None, float | None]:
    """Recall and precision of the detections scored at least `threshold`; None where they are not defined."""
    sure = found.scores >= threshold
    right, said = int(found.hits[sure].sum()), int(sure.sum())
    return (right / found.labels if found.labels else None), (right / said if said else None)


def read_labels(folder: Path) -> tuple[list[Path], list[np.ndarray], list[np.ndarray], tuple[str, ...]]:
    """Read a folder in the form of the module's text.

    Returns
    -------
    pictures : paths, sorted by name; only those that have a label file (an empty file says that nothing is there)
    classes : per picture ndarray of int, shape (M,)
    boxes : per picture ndarray of shape (M, 4), x1, y1, x2, y2 as shares of the picture
    names : class names

    Raises
    ------
    DataError
        Something is missing or not in the documented form.
    """
    names_file = folder / "classes.txt"
    if not names_file.is_file():
        raise DataError(
            f"{names_file} is missing; write one class name a line, in the order of the numbers in labels/."
        )
    names = tuple(line.strip() for line in read_text(names_file, DataError).split("\n") if line.strip())
    known = [name for name in names if name in BOX_CLASSES]
    if not known:
        raise DataError(
            f"{names_file} names {shown(', '.join(names)) or 'nothing'}, the detector knows {', '.join(BOX_CLASSES)}; "
            "rename the classes to match."
        )
    images = {p.stem: p for p in sorted((folder / "images").glob("*")) if p.suffix.lower() in {".jpg", ".jpeg", ".png"}}
    if not images:
        raise DataError(f"{folder / 'images'} holds no .jpg or .png picture; put the labelled pictures there.")
    pictures, classes, boxes = [], [], []
    for stem, picture in images.items():
        listing = folder / "labels" / f"{stem}.txt"
        if not listing.is_file():
            continue
        try:
            lines = read_text(listing, DataError).split("\n")
            rows = np.array([line.split() for line in lines if line.strip()], float).reshape(-1, 5)
            if not (np.abs(rows[:, 1:]) <= 2).all():
                raise ValueError("shares of a picture")
        except ValueError:
            raise DataError(
                f"{listing}: wanted five numbers a line (class, then x, y, width, height as shares); correct it."
            ) from None
        if len(rows) and not (rows[:, 0].min() >= 0 and rows[:, 0].max() < len(names) and (rows[:, 0] % 1 == 0).all()):
            raise DataError(f"{listing}: a class number is not one of 0…{len(names) - 1} of classes.txt; correct it.")
        pictures.append(picture)
        classes.append(rows[:, 0].astype(int))
        boxes.append(np.column_stack([rows[:, 1:3] - rows[:, 3:5] / 2, rows[:, 1:3] + rows[:, 3:5] / 2]))
    if not pictures:
        raise DataError(
            f"{folder / 'labels'} holds no label file named after a picture in images/; add NAME.txt files."
        )
    return pictures, classes, boxes, names


def feet_on_floor(boxes: np.ndarray, areas: np.ndarray, size_px: tuple[int, int]) -> np.ndarray:
    """Which boxes stand on the floor.

    Parameters
    ----------
    boxes : ndarray of shape (N, 4), x1, y1, x2, y2
    areas : ndarray of shape (6, h, w)
        Probabilities of `AREA_CLASSES` over the whole picture.
    size_px : width and height of the picture

    Returns
    -------
    ndarray of bool, shape (N,)
    """
    rows, columns = areas.shape[1:]
    across = ((boxes[:, 0] + boxes[:, 2]) / 2 / size_px[0] * columns).astype(int).clip(0, columns - 1)
    down = (boxes[:, 3] / size_px[1] * rows).astype(int).clip(0, rows - 1)
    return np.asarray(areas[AREA_CLASSES.index("outside"), down, across] < 0.5)


def people_on_floor(
    labels: np.ndarray, seen: np.ndarray, scores: np.ndarray, areas: np.ndarray, size_px: tuple[int, int]
) -> tuple[int, int, int]:
    """People on the floor of one picture: how many there are, were found, and were said to be there.

    Everybody seen is matched to everybody labelled, surest first. Whoever is labelled with feet on the floor counts;
    a sighting counts as said when its feet are on the floor or it found somebody who counts, but not when it found
    somebody labelled beside the floor.
    """
    labelled_on, seen_on = feet_on_floor(labels, areas, size_px), feet_on_floor(seen, areas, size_px)
    overlap = box_overlap(seen, labels)
    free = np.ones(len(labels), bool)
    found = said = 0
    for number in np.argsort(-scores, kind="stable"):
        candidates = np.where(free, overlap[number], -1.0) if len(labels) else np.array([-1.0])
        best = int(candidates.argmax())
        if candidates[best] >= MATCH_IOU:
            free[best] = False
            found += int(labelled_on[best])
            said += int(labelled_on[best])
        else:
            said += int(seen_on[number])
    return int(labelled_on.sum()), found, said


def evaluate_boxes(
    folder: Path,
    *,
    detector: Detector | None = None,
    court: AreaNetwork | None = None,
    settings: DetectorSettings | None = None,
    on_progress: Callable[[int, int], None] | None = None,
) -> dict[str, Any]:
    """Run the detector over a labelled folder and score it.

    Parameters
    ----------
    folder : folder in the form of the module's text
    detector : what to score; it must return boxes down to a score of 0.01. The shipped network if left out
    court : says where the floor is. The shipped network if left out
    settings : thresholds at which recall and precision are taken; the shipped ones if left out
    on_progress : called with pictures done and pictures in all

    Returns
    -------
    dict
        ``{"classes": {NAME: {"labels", "ap50", "recall", "precision", "threshold"}}, "people_on_floor": {"labels",
        "recall", "precision"}, "pictures", "match_iou", "not_scored"}``; ``not_scored`` names classes of the folder
        that the detector does not know. A value that is not defined (no label, no detection) is None.
    """
    pictures, classes, boxes, names = read_labels(folder)
    settings = settings or DetectorSettings()
    if detector is None:
        low = dict.fromkeys((f"min_{name}" for name in BOX_CLASSES), LOWEST_SCORE)
        detector = open_detector(settings=settings.model_copy(update=low))
    kept: dict[str, tuple[list[np.ndarray], list[np.ndarray]]] = {
        name: ([], []) for name in names if name in BOX_CLASSES
    }
    counted = dict.fromkeys(kept, 0)
    court = court or FloorAreas()
    on_floor = np.zeros(3, int)
    limits = settings.thresholds()
    people = [BOX_CLASSES.index(name) for name in PEOPLE]
    listed = [names.index(name) for name in PEOPLE if name in names]
    for done, (path, picture_classes, picture_boxes) in enumerate(zip(pictures, classes, boxes, strict=True), start=1):
        frame = cv2.imread(str(path), cv2.IMREAD_COLOR)
        if frame is None:
            raise DataError(f"{path}: not a readable picture; replace or remove it.")
        height, width = frame.shape[:2]
        seen = detector.detect([frame])[0]
        seen_class = np.zeros(0, int) if seen.class_id is None else seen.class_id
        seen_score = np.zeros(0) if seen.confidence is None else seen.confidence.astype(float)
        for name, (scores, hits) in kept.items():
            labels = picture_boxes[picture_classes == names.index(name)] * [width, height, width, height]
            of_class = seen_class == BOX_CLASSES.index(name)
            scores.append(seen_score[of_class])
            hits.append(match_boxes(labels, seen.xyxy[of_class].astype(float), seen_score[of_class]))
            counted[name] += len(labels)
        sure = np.isin(seen_class, people) & (seen_score >= limits[seen_class])
        labels = picture_boxes[np.isin(picture_classes, listed)] * [width, height, width, height]
        areas = court.areas([frame])[0]
        on_floor += people_on_floor(labels, seen.xyxy[sure].astype(float), seen_score[sure], areas, (width, height))
        if on_progress is not None:
            on_progress(done, len(pictures))
    report: dict[str, Any] = {"classes": {}}
    thresholds = dict(zip(BOX_CLASSES, settings.thresholds(), strict=True))
    for name, (scores, hits) in kept.items():
        found = Scored(np.concatenate(scores), np.concatenate(hits), counted[name])
        recall, precision = recall_precision(found, thresholds[name])
        report["classes"][name] = {
            "labels": counted[name],
            "ap50": average_precision(found),
            "recall": recall,
            "precision": precision,
            "threshold": float(thresholds[name]),
        }
    there, found_there, said = (int(n) for n in on_floor)
    report["people_on_floor"] = {
        "labels": there,
        "recall": found_there / there if there else None,
        "precision": found_there / said if said else None,
    }
    report["pictures"] = len(pictures)
    report["match_iou"] = MATCH_IOU
    report["not_scored"] = [name for name in names if name not in BOX_CLASSES]
    return report
