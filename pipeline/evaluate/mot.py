"""How well bodies keep their identity when only their boxes are known.

Real boxes with real identities are disturbed with a seed (jitter, losses, false boxes); then this project's
tracker and three public ones (ByteTrack, OC-SORT and C-BIoU of the ``trackers`` package, with their default
settings and the film's frame rate) get the same boxes. No pictures are read: motion only.
"""

from __future__ import annotations

import configparser
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import BaseModel, ConfigDict, Field

from pipeline.errors import DataError
from pipeline.evaluate.tracking_scores import SequenceMatch, iou, score_sequences
from pipeline.players.box_tracking import BoxTracks, track_boxes
from pipeline.user_files import read_text, shown

GREATEST = 1e6
"""No frame, name or pixel of a sequence is greater."""

SHOWN_CONFIDENCE = 0.9
"""Confidence given to every disturbed box, true or false, so that no tracker can tell them by it."""


class DisturbanceSettings(BaseModel):
    """How true boxes are spoiled before they are tracked."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    edge_jitter: float = Field(
        0.03, ge=0, description="Standard deviation of each edge's error, as a share of the box's width or height."
    )
    loss_rate: float = Field(0.02, ge=0, le=1, description="Chance per frame that a seen body begins to be lost.")
    loss_frames: float = Field(6.0, ge=1, description="Mean length of a loss in frames (geometric).")
    false_boxes: float = Field(0.3, ge=0, description="Mean number of false boxes a frame (Poisson).")


@dataclass(frozen=True, slots=True, eq=False)
class BoxSequence:
    """One sequence of boxes with identities.

    Attributes
    ----------
    name : str
    frame_rate : float
        Frames per second.
    size_px : tuple of int
        Width and height of the picture.
    ids : tuple of ndarray of shape (n_t,), int64
        One array per frame.
    boxes : tuple of ndarray of shape (n_t, 4), float64
        x1, y1, x2, y2 in pixels.
    """

    name: str
    frame_rate: float
    size_px: tuple[int, int]
    ids: tuple[np.ndarray, ...]
    boxes: tuple[np.ndarray, ...]


def read_sequence(folder: Path) -> BoxSequence:
    """Read one sequence in MOTChallenge form (``seqinfo.ini`` and ``gt/gt.txt``).

    Rows whose confidence column is 0 are left out, as that form prescribes.
    """
    info_path, truth_path = folder / "seqinfo.ini", folder / "gt" / "gt.txt"
    if not info_path.is_file() or not truth_path.is_file():
        raise DataError(f"{folder} holds no sequence: it needs seqinfo.ini and gt/gt.txt.")
    info = configparser.ConfigParser(interpolation=None)
    try:
        info.read_string(read_text(info_path, DataError))
        section = info["Sequence"]
        frame_rate, length = float(section["frameRate"]), int(section["seqLength"])
        size = (int(section["imWidth"]), int(section["imHeight"]))
        if not (0 < frame_rate < 1000 and 0 <= length < 10**6 and all(0 < side < 10**5 for side in size)):
            raise ValueError("a number that no film has")
    except (configparser.Error, KeyError, ValueError) as error:
        raise DataError(
            f"{info_path} is not a sequence description ({shown(str(error))}); it needs [Sequence] with frameRate, "
            "seqLength, imWidth and imHeight."
        ) from error
    try:
        lines = [line for line in read_text(truth_path, DataError, largest_mb=256).split("\n") if line.strip()]
        rows = np.loadtxt(lines, delimiter=",", ndmin=2, dtype=np.float64) if lines else np.empty((0, 7))
    except ValueError as error:
        raise DataError(
            f"{truth_path} cannot be read ({shown(str(error))}); each line is frame, id, left, top, width, height, "
            "conf."
        ) from error
    if rows.size and rows.shape[1] < 7:
        raise DataError(
            f"{truth_path} has {rows.shape[1]} columns; it needs frame, id, left, top, width, height, conf."
        )
    rows = rows.reshape(-1, rows.shape[1] if rows.size else 7)
    rows = rows[rows[:, 6] != 0]
    if not (np.abs(rows[:, :6]) < GREATEST).all():
        raise DataError(f"{truth_path} holds a number that no picture has (nan, infinite or huge); correct it.")
    frames = rows[:, 0].astype(np.int64)
    if len(frames) and (frames.min() < 1 or frames.max() > length):
        raise DataError(f"{truth_path} has frames {frames.min()}..{frames.max()}, seqinfo.ini says 1..{length}.")
    ids, boxes = [], []
    for frame in range(1, length + 1):
        here = rows[frames == frame]
        ids.append(here[:, 1].astype(np.int64))
        boxes.append(np.column_stack([here[:, 2:4], here[:, 2:4] + here[:, 4:6]]))
    return BoxSequence(folder.name, frame_rate, size, tuple(ids), tuple(boxes))


def read_sequences(folder: Path) -> tuple[BoxSequence, ...]:
    """All sequences below a folder, by name."""
    if not folder.is_dir():
        raise DataError(f"{folder} is no folder; give one with a sub-folder per sequence.")
    found = sorted(p.parent for p in folder.glob("*/seqinfo.ini"))
    if not found:
        raise DataError(f"{folder} holds no sequences; each is a sub-folder with seqinfo.ini and gt/gt.txt.")
    return tuple(read_sequence(p) for p in found)


def disturb(sequence: BoxSequence, rng: np.random.Generator, settings: DisturbanceSettings) -> tuple[np.ndarray, ...]:
    """Jitter, lose and add boxes.

    Each edge moves by a normal error (share of the box's width for left and right, of its height for top and
    bottom), independent in every frame. In each frame a seen body begins with ``loss_rate`` to be lost for a
    geometric number of frames of mean ``loss_frames``. False boxes have the size of a random true box of the
    sequence and a uniform place inside the picture. The order within a frame is shuffled.

    Returns
    -------
    tuple of ndarray of shape (n_t, 4)
    """
    every = np.concatenate([np.zeros((0, 4)), *sequence.boxes])
    sizes = every[:, 2:] - every[:, :2]
    lost_until: dict[int, int] = {}
    disturbed = []
    for frame, (ids, boxes) in enumerate(zip(sequence.ids, sequence.boxes, strict=True)):
        kept = []
        for row, name in enumerate(ids.tolist()):
            if lost_until.get(name, -1) >= frame:
                continue
            if rng.random() < settings.loss_rate:
                lost_until[name] = frame + int(rng.geometric(1.0 / settings.loss_frames)) - 1
                continue
            kept.append(row)
        seen = boxes[kept]
        size = np.tile(seen[:, 2:] - seen[:, :2], 2)
        seen = seen + rng.normal(0.0, settings.edge_jitter, seen.shape) * size
        count = int(rng.poisson(settings.false_boxes)) if len(sizes) else 0
        if count:
            false_size = np.minimum(sizes[rng.integers(0, len(sizes), count)], sequence.size_px)
            corner = rng.uniform(0.0, 1.0, (count, 2)) * (np.array(sequence.size_px) - false_size)
            seen = np.vstack([seen, np.hstack([corner, corner + false_size])])
        disturbed.append(seen[rng.permutation(len(seen))])
    return tuple(disturbed)


def _public_tracks(tracker: Any, boxes: tuple[np.ndarray, ...]) -> BoxTracks:
    """Run a tracker of the ``trackers`` package frame by frame and keep the boxes that it gives an identity."""
    import supervision as sv

    ids, kept = [], []
    for here in boxes:
        detections = sv.Detections(
            xyxy=here.astype(np.float32),
            confidence=np.full(len(here), SHOWN_CONFIDENCE, dtype=np.float32),
            class_id=np.zeros(len(here), dtype=int),
        )
        tracked = tracker.update(detections)
        names = np.full(len(tracked), -1) if tracked.tracker_id is None else np.asarray(tracked.tracker_id)
        named = names >= 0
        ids.append(names[named].astype(np.int64))
        kept.append(np.asarray(tracked.xyxy, dtype=np.float64)[named].reshape(-1, 4))
    return BoxTracks(tuple(ids), tuple(kept))


def public_trackers() -> dict[str, Callable[[BoxSequence, tuple[np.ndarray, ...]], BoxTracks]]:
    """The public trackers by name, each with its package's defaults at the sequence's frame rate."""
    from trackers import ByteTrackTracker, CBIoUTracker, OCSORTTracker

    kinds: dict[str, Any] = {"bytetrack": ByteTrackTracker, "ocsort": OCSORTTracker, "cbiou": CBIoUTracker}

    def runner(kind: Any) -> Callable[[BoxSequence, tuple[np.ndarray, ...]], BoxTracks]:
        return lambda sequence, boxes: _public_tracks(kind(frame_rate=sequence.frame_rate), boxes)

    return {name: runner(kind) for name, kind in kinds.items()}


def _our_tracks(sequence: BoxSequence, boxes: tuple[np.ndarray, ...]) -> BoxTracks:
    times = np.arange(len(boxes)) / sequence.frame_rate
    return track_boxes(boxes, times, sequence.size_px)


def match_by_iou(sequence: BoxSequence, tracks: BoxTracks) -> SequenceMatch:
    """Found tracks against a sequence's truth, similarity by intersection over union."""
    similarities = tuple(iou(t, f) for t, f in zip(sequence.boxes, tracks.boxes, strict=True))
    return SequenceMatch(sequence.ids, tracks.ids, similarities)


def evaluate_mot(
    folder: Path,
    seed: int = 0,
    *,
    names: tuple[str, ...] | None = None,
    settings: DisturbanceSettings | None = None,
    on_step: Callable[[str, int, int], None] | None = None,
) -> dict[str, Any]:
    """Score this project's tracker and three public ones on the same disturbed boxes.

    Parameters
    ----------
    folder : Path
        One sub-folder per sequence in MOTChallenge form.
    seed : int
        Of the disturbance; each sequence has its own stream, so a part of the sequences gets the same boxes as all.
    names : tuple of str, optional
        Only these sequences.
    on_step : callable, optional
        Called with the sequence's name, how many are done and how many there are.

    Returns
    -------
    dict
        ``ours``, ``bytetrack``, ``ocsort``, ``cbiou``: each HOTA, AssA, DetA, LocA, IDF1 (0..1) and switches;
        ``best_public``, ``gain_hota``, ``per_sequence`` (HOTA of ours), ``sequences``, ``frames``, ``boxes``, ``seed``.
    """
    chosen = read_sequences(folder)
    if names is not None:
        unknown = set(names) - {s.name for s in chosen}
        if unknown:
            raise DataError(f"{folder} has no sequences {sorted(unknown)}; it has {[s.name for s in chosen]}.")
        chosen = tuple(s for s in chosen if s.name in names)
    disturbance = settings or DisturbanceSettings()
    runners = {"ours": _our_tracks, **public_trackers()}
    matches: dict[str, dict[str, SequenceMatch]] = {name: {} for name in runners}
    for done, sequence in enumerate(chosen):
        if on_step:
            on_step(sequence.name, done, len(chosen))
        rng = np.random.default_rng([seed, *sequence.name.encode()])
        boxes = disturb(sequence, rng, disturbance)
        for name, runner in runners.items():
            matches[name][sequence.name] = match_by_iou(sequence, runner(sequence, boxes))
    keys = ("HOTA", "AssA", "DetA", "LocA", "IDF1", "switches")
    result: dict[str, Any] = {}
    for name, of_tracker in matches.items():
        scores = score_sequences(of_tracker)
        result[name] = {key: scores[key] for key in keys}
    best = max((n for n in runners if n != "ours"), key=lambda n: result[n]["HOTA"])
    result["best_public"] = best
    result["gain_hota"] = 100 * (result["ours"]["HOTA"] - result[best]["HOTA"])
    result["per_sequence"] = {n: score_sequences({n: m})["HOTA"] for n, m in matches["ours"].items()}
    result["sequences"] = len(chosen)
    result["frames"] = sum(len(s.boxes) for s in chosen)
    result["boxes"] = sum(len(b) for s in chosen for b in s.boxes)
    result["seed"] = seed
    return result
