"""Jersey numbers: what a small network reads off the torsos of a picture.

A torso is a square cut from a body's box. The network says how likely a number is wholly in view, and which digits
it has; their product is a reading's score, the probability that the text is the number worn. It is trained to be
calibrated on pictures as poor as broadcast film, so most torsos give no reading at all, and one reading proves
nothing: :mod:`pipeline.players.jersey_votes` lets all readings of a track vote.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import cv2
import numpy as np
import pyarrow as pa

from pipeline.errors import ModelError, ShapeError
from pipeline.networks import open_network, shipped_weights
from pipeline.players.settings import ReadingSettings
from pipeline.players.tables import BOX_CLASSES, NUMBERS_SEEN

TORSO_TOP = 0.10
"""Where the torso's square begins, as a share of the box's height from its top: just below the chin."""

TORSO_SIDE = 0.46
"""Side of the square as a share of the box's height: the shoulders' breadth and a margin on both sides."""

NUMBER_CLASSES = ("seen", "none", *(f"{d}_" for d in range(10)), *(f"_{d}" for d in range(10)))
"""Outputs of the network: whether a whole number is in view; the tens (none, 0 to 9); the ones (0 to 9)."""

PLAYER = BOX_CLASSES.index("player")
BODIES = (PLAYER, BOX_CLASSES.index("official"))


@dataclass(frozen=True, slots=True, eq=False)
class Readings:
    """What was read off N torsos.

    Attributes
    ----------
    texts : tuple of str
        The likeliest number of each: "0" to "99", or "00".
    scores : (N,) float
        Probability that a whole number is in view and is this one.
    """

    texts: tuple[str, ...]
    scores: np.ndarray


class NumberReader(Protocol):
    """Anything that reads numbers off torsos."""

    def read(self, torsos_bgr: np.ndarray) -> Readings:
        """Read torsos (N, side, side, 3) uint8, as :func:`torsos` cuts them."""
        ...

    @property
    def side_px(self) -> int:
        """Side of the torsos it takes, pixels."""
        ...


class OnnxNumbers:
    """The number network on onnxruntime."""

    def __init__(self, weights: Path | None = None, *, threads: int | None = None) -> None:
        path = weights or shipped_weights("numbers", "onnx")
        self._network = open_network(path, "numbers", threads=threads)
        if self._network.classes != NUMBER_CLASSES:
            raise ModelError(f"{path}: its classes are {self._network.classes}, wanted {NUMBER_CLASSES}; retrain it.")

    @property
    def side_px(self) -> int:
        """Side of the torsos it takes, pixels."""
        return self._network.input_px[0]

    def read(self, torsos_bgr: np.ndarray) -> Readings:
        """See `NumberReader.read`."""
        if not len(torsos_bgr):
            return Readings((), np.zeros(0))
        images = torsos_bgr[..., ::-1].transpose(0, 3, 1, 2).astype(np.float32) / 255
        (found,) = self._network.run(np.ascontiguousarray(images))
        return readings(found)


def readings(probabilities: np.ndarray) -> Readings:
    """The likeliest number of each row of probabilities (N, 22), in the order of `NUMBER_CLASSES`.

    Of the two-digit numbers that begin with 0 there is only 00.
    """
    if probabilities.ndim != 2 or probabilities.shape[1] != len(NUMBER_CLASSES):
        raise ShapeError(f"probabilities must be (N, {len(NUMBER_CLASSES)}), got {probabilities.shape}.")
    seen, tens, ones = probabilities[:, 0], probabilities[:, 1:12], probabilities[:, 12:]
    joint = tens[:, :, None] * ones[:, None, :]
    joint[:, 1, 1:] = 0
    flat = joint.reshape(len(joint), -1)
    best = np.argmax(flat, axis=1)
    texts = tuple(f"{'' if ten == 0 else ten - 1}{one}" for ten, one in zip(best // 10, best % 10, strict=True))
    return Readings(texts, seen * flat[np.arange(len(flat)), best])


def torsos(frame_bgr: np.ndarray, boxes: np.ndarray, side_px: int) -> np.ndarray:
    """Cut the torsos out of boxes (N, 4): (N, side_px, side_px, 3) uint8; the edge is repeated beyond the picture."""
    found = np.empty((len(boxes), side_px, side_px, 3), np.uint8)
    height, width = frame_bgr.shape[:2]
    for row, (x1, y1, x2, y2) in enumerate(boxes):
        side = max(TORSO_SIDE * (y2 - y1), 2.0)
        left, top = (x1 + x2) / 2 - side / 2, y1 + TORSO_TOP * (y2 - y1)
        first = np.floor([left, top]).astype(int)
        last = np.maximum(np.ceil([left + side, top + side]).astype(int), first + 1)
        inner = frame_bgr[max(first[1], 0) : max(last[1], 0), max(first[0], 0) : max(last[0], 0)]
        if not inner.size:
            found[row] = 0
            continue
        above, below = max(int(-first[1]), 0), max(int(last[1]) - height, 0)
        before, after = max(int(-first[0]), 0), max(int(last[0]) - width, 0)
        if above or below or before or after:
            inner = cv2.copyMakeBorder(inner, above, below, before, after, cv2.BORDER_REPLICATE)
        shrinks = side > side_px
        cv2.resize(
            inner, (side_px, side_px), dst=found[row], interpolation=cv2.INTER_AREA if shrinks else cv2.INTER_CUBIC
        )
    return found


def worth_reading(
    boxes: np.ndarray, classes: np.ndarray, scores: np.ndarray, size_px: tuple[int, int], settings: ReadingSettings
) -> np.ndarray:
    """Which boxes may show a number: players large and broad enough, within the picture, with a free torso.

    Parameters
    ----------
    boxes : (N, 4) ndarray
        x1, y1, x2, y2 in pixels.
    classes : (N,) int
        Index into `BOX_CLASSES`.
    scores : (N,) float
        Of the detector.
    size_px : width and height of the picture

    Returns
    -------
    (K,) int ndarray
        Rows of the boxes, from left to right.
    """
    wide, tall = boxes[:, 2] - boxes[:, 0], boxes[:, 3] - boxes[:, 1]
    fit = (classes == PLAYER) & (scores >= settings.least_body_score)
    fit &= (tall >= settings.least_height_px) & (wide >= settings.least_breadth * tall)
    middle = (boxes[:, 0] + boxes[:, 2]) / 2
    fit &= (middle > 0) & (middle < size_px[0]) & (boxes[:, 1] > -0.1 * tall)
    bodies = np.isin(classes, BODIES) & (scores >= settings.least_body_score)
    half = np.minimum(wide, 0.3 * tall) / 2
    torso = np.column_stack([middle - half, boxes[:, 1] + 0.15 * tall, middle + half, boxes[:, 1] + 0.45 * tall])
    for row in np.flatnonzero(fit):
        nearer = bodies & (boxes[:, 3] > boxes[row, 3])
        inner = np.minimum(boxes[nearer, 2:], torso[row, 2:]) - np.maximum(boxes[nearer, :2], torso[row, :2])
        covered = np.prod(np.clip(inner, 0, None), axis=1) / np.prod(torso[row, 2:] - torso[row, :2])
        fit[row] = not np.any(covered > settings.most_covered)
    rows = np.flatnonzero(fit)
    return rows[np.argsort(middle[rows], kind="stable")]


class NumberGatherer:
    """Reads jersey numbers during the vision pass, a few torsos at a time, and keeps what was read.

    Parameters
    ----------
    reader : NumberReader
    settings : ReadingSettings
    """

    def __init__(self, reader: NumberReader, settings: ReadingSettings | None = None) -> None:
        self._reader = reader
        self._settings = settings or ReadingSettings()
        self._last_s = -np.inf
        self._looks = 0
        self._rows: list[pa.Table] = [NUMBERS_SEEN.empty()]

    def look(
        self,
        frame_bgr: np.ndarray,
        index: int,
        t_s: float,
        boxes_xyxy: np.ndarray,
        classes: np.ndarray,
        scores: np.ndarray,
    ) -> None:
        """Look at an analysed frame; most are passed over (``looks_per_s``).

        Parameters
        ----------
        frame_bgr : (H, W, 3) uint8
        index, t_s : of the frame
        boxes_xyxy, classes, scores : (N, 4), (N,), (N,)
            What the detector saw in it.
        """
        settings = self._settings
        if 0 <= t_s - self._last_s < 1 / settings.looks_per_s - 1e-6:
            return
        size = (frame_bgr.shape[1], frame_bgr.shape[0])
        rows = worth_reading(boxes_xyxy, classes, scores, size, settings)
        if not len(rows):
            return
        self._last_s = t_s
        if len(rows) > settings.most_torsos:
            rows = np.roll(rows, -self._looks * settings.most_torsos)[: settings.most_torsos]
        self._looks += 1
        chosen = boxes_xyxy[rows]
        found = self._reader.read(torsos(frame_bgr, chosen, self._reader.side_px))
        kept = np.flatnonzero(found.scores >= settings.least_score)
        if not len(kept):
            return
        x1, y1, x2, y2 = chosen[kept].astype(np.float32).T
        self._rows.append(
            NUMBERS_SEEN.from_columns(
                {
                    "frame": np.full(len(kept), index),
                    "t_s": np.full(len(kept), t_s),
                    "shot": np.zeros(len(kept), int),
                    "x1_px": x1,
                    "y1_px": y1,
                    "x2_px": x2,
                    "y2_px": y2,
                    "text": [found.texts[k] for k in kept],
                    "score": found.scores[kept].astype(np.float32),
                }
            )
        )

    def table(self) -> pa.Table:
        """Hand over what was read since the last call; the shots are not known yet and stay 0."""
        table = pa.concat_tables(self._rows)
        self._rows = [NUMBERS_SEEN.empty()]
        return table
