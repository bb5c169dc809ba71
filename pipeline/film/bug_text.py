"""Reads short lines of text in score graphics: figures, Latin letters, colon and full stop.

One small public network (``models/bug_text.md``) looks at a strip 48 pixels high and of any width and says for every
eighth pixel column which character is there; a run of one character is one character (connectionist temporal
classification, Graves et al., ICML 2006). It finds no text: it is shown where to look.
"""

from __future__ import annotations

import string
from dataclasses import dataclass

import cv2
import numpy as np

from pipeline.errors import ShapeError
from pipeline.networks import open_network, shipped_weights

HEIGHT_PX = 48
"""Height of the strip that the network sees."""

COLUMN_PX = 8
"""Pixel columns of the strip to one column of the network's answer."""

LEAST_WIDTH_PX = 32
"""Narrower strips are widened with their own edge."""

ALPHABET = string.digits + ":." + string.ascii_uppercase + string.ascii_lowercase + " "
"""Characters of the network; its answer 0 is "nothing here", 1 the first of these."""

FIGURES = string.digits + ":. "
"""Characters of clocks and scores."""


@dataclass(frozen=True, slots=True)
class Line:
    """A line of text as read.

    Attributes
    ----------
    text : str
        Characters of :data:`ALPHABET`; empty when nothing is there.
    score : float
        Mean probability of its characters, 0..1; 0 for an empty line.
    places : tuple of float
        Middle of each character along the strip's width, 0..1.
    """

    text: str
    score: float
    places: tuple[float, ...]


def read_out(chance: np.ndarray, allowed: str = ALPHABET) -> Line:
    """The likeliest line from a network's answer.

    Parameters
    ----------
    chance : ndarray of shape (T, 1 + len(ALPHABET))
        Probabilities, or anything that grows with them.
    allowed : str
        Characters that can be there; the others are left out of the question.
    """
    open_answers = np.array([0] + [ALPHABET.index(c) + 1 for c in allowed])
    kept = chance[:, open_answers]
    best, height = kept.argmax(axis=1), kept.max(axis=1)
    text, scores, columns = "", [], []
    before = 0
    for column, (answer, share) in enumerate(zip(best, height, strict=True)):
        if answer and answer != before:
            text += allowed[answer - 1]
            scores.append(float(share))
            columns.append([column, column])
        elif answer:
            scores[-1] = max(scores[-1], float(share))
            columns[-1][1] = column
        before = answer
    letters = [k for k, c in enumerate(text) if c != " "]
    score = float(np.mean([scores[k] for k in letters])) if letters else 0.0
    return Line(text, score, tuple((a + b + 1) / 2 / len(chance) for a, b in columns))


def strip_of(picture_bgr: np.ndarray, box_px: tuple[int, int, int, int]) -> np.ndarray:
    """A box x1, y1, x2, y2 of a picture as a strip (HEIGHT_PX, W, 3) uint8 of the box's shape."""
    x1, y1, x2, y2 = box_px
    crop = picture_bgr[max(0, y1) : y2, max(0, x1) : x2]
    if crop.size == 0:
        raise ShapeError(f"box {box_px} lies outside the picture {picture_bgr.shape[1]} x {picture_bgr.shape[0]}.")
    width = max(LEAST_WIDTH_PX, round(crop.shape[1] * HEIGHT_PX / crop.shape[0]))
    way = cv2.INTER_AREA if crop.shape[0] > HEIGHT_PX else cv2.INTER_CUBIC
    return cv2.resize(crop, (width, HEIGHT_PX), interpolation=way)


class TextReader:
    """Reads strips with the shipped network, on one thread."""

    def __init__(self) -> None:
        self._network = open_network(shipped_weights("bug_text", "onnx"), "bug_text", threads=1)

    def read(self, strip_bgr: np.ndarray, allowed: str = ALPHABET) -> Line:
        """Read one strip (HEIGHT_PX, W, 3) uint8."""
        if strip_bgr.ndim != 3 or strip_bgr.shape[0] != HEIGHT_PX:
            raise ShapeError(f"a strip must be ({HEIGHT_PX}, W, 3), got {strip_bgr.shape}; make it with strip_of.")
        level = (strip_bgr.astype(np.float32) - 127.5) / 127.5
        chance = self._network.run(np.ascontiguousarray(level.transpose(2, 0, 1)[None]))[0][0]
        return read_out(chance, allowed)
