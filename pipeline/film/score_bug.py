"""The score graphic of a film: where it is, which of its cells is what, and what they say.

:func:`scout` finds it before the film is decoded, from a few dozen pictures got by seeking: upright edges that stay in
place while the camera moves say where to look for lines of text; the lines are read in all pictures, and how the
readings behave tells a game clock (runs down or stands still) from a shot clock (runs down and is set again), a period
(a word that hardly changes) and scores (never fall). :class:`BugReader` then reads those cells, and only those, while
the film passes by. What the readings mean for the game is decided afterwards, in :mod:`pipeline.film.clock`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
import pyarrow as pa

from pipeline.film.bug_cells import line_slots, name_slots
from pipeline.film.bug_text import ALPHABET, FIGURES, Line, TextReader, strip_of
from pipeline.film.probe import FilmInfo, probe
from pipeline.film.settings import BugSettings
from pipeline.film.spread import spread_pictures
from pipeline.film.tables import BUG_READINGS
from pipeline.film.text_regions import TextFinder

WORK_WIDTH_PX = 1280
"""Wider films are shrunk to this while the graphic is looked for."""

SLOW_FIELDS = frozenset({"period", "score_a", "score_b"})
"""Fields that change a few times in minutes."""

CHANGE_WINDOW_PX = (14, 14)
"""About half a figure of a strip: where its edges are compared."""

Box = tuple[int, int, int, int]


@dataclass(frozen=True, slots=True)
class BugCell:
    """One cell: what it holds (one of :data:`~pipeline.film.tables.BUG_FIELDS`) and its box x1, y1, x2, y2, pixels."""

    field: str
    box_px: Box


@dataclass(frozen=True, slots=True, eq=False)
class BugLayout:
    """Where a film's score graphic lies.

    Attributes
    ----------
    cells : tuple of BugCell
        The game clock first; at most one of each field.
    size_px : (width, height)
        Size of the film's pictures.
    edges_px : ndarray of shape (K, 2), int64
        Pixels x, y of upright edges of the graphic that are there whenever it is.
    edges : ndarray of shape (K,), float32
        Their usual sideways gradient, grey levels per pixel.
    """

    cells: tuple[BugCell, ...]
    size_px: tuple[int, int]
    edges_px: np.ndarray
    edges: np.ndarray

    def cell(self, field: str) -> BugCell | None:
        """The cell of a field, if the graphic has one."""
        return next((c for c in self.cells if c.field == field), None)


# Finding it ---------------------------------------------------------------------------------------------------------


def scout(path: Path, info: FilmInfo | None = None, settings: BugSettings | None = None) -> BugLayout | None:
    """Find a film's score graphic.

    Parameters
    ----------
    path : Path
        The film.
    info : FilmInfo, optional
        What is known about it.
    settings : BugSettings, optional

    Returns
    -------
    BugLayout or None
        None when no game clock was found.
    """
    settings = settings or BugSettings()
    frames = spread_pictures(info or probe(path), settings.pictures)
    if len(frames) < 2:
        return None
    return find_bug([f.image for f in frames], [f.t_s for f in frames], settings)


def find_bug(
    pictures_bgr: Sequence[np.ndarray], times_s: Sequence[float], settings: BugSettings | None = None
) -> BugLayout | None:
    """Find the score graphic in pictures of one film, in order of time; as :func:`scout`."""
    settings = settings or BugSettings()
    height, width = pictures_bgr[0].shape[:2]
    scale = min(1.0, WORK_WIDTH_PX / width)
    small = [
        p if scale == 1 else cv2.resize(p, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) for p in pictures_bgr
    ]
    mask, gradient = standing_edges(small)
    regions = edge_regions(mask, settings.largest_share)
    shown = _presence(small, mask, gradient)
    chosen = _spread_best(shown, settings.finding_pictures)
    finder = TextFinder()
    lines = _lasting([_lines(finder, small[k], regions) for k in chosen])
    reader = _text_reader()
    reading = sorted(_spread_best(shown, settings.pictures // 2))
    texts = [[reader.read(strip_of(small[k], _whole(box))) for k in reading] for box in lines]
    slots = [slot for box, read in zip(lines, texts, strict=True) for slot in line_slots(box, read)]
    fields = name_slots(slots, np.array([times_s[k] for k in reading]), settings)
    if "clock" not in fields:
        return None
    cells = tuple(
        BugCell(name, _scaled(fields[name].box_px, 1 / scale, (width, height)))
        for name in ("clock", "period", "shot_clock", "score_a", "score_b")
        if name in fields
    )
    region = _bug_box([fields[name].box_px for name in fields], mask.shape)
    full = [k for k in reading if shown[k] >= 0.5 * np.median(shown[reading])]
    edges_px, edges = _bug_edges([pictures_bgr[k] for k in full], _scaled(region, 1 / scale, (width, height)))
    return BugLayout(cells, (width, height), edges_px, edges)


def standing_edges(pictures_bgr: Sequence[np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """Upright edges that stay in place.

    Returns
    -------
    mask : ndarray of shape (H, W), bool
    gradient : ndarray of shape (H, W), float32
        Mean sideways gradient, grey levels per pixel.
    """
    total = np.zeros(pictures_bgr[0].shape[:2], np.float32)
    for picture in pictures_bgr:
        total += _sideways(picture)
    mean = total / len(pictures_bgr)
    sign = np.sign(mean)
    least = 0.4 * np.abs(mean)
    there = np.zeros_like(mean)
    for picture in pictures_bgr:
        there += _sideways(picture) * sign > least
    return (np.abs(mean) > 4.0) & (there >= 0.5 * len(pictures_bgr)), mean


def edge_regions(mask: np.ndarray, largest_share: float) -> list[Box]:
    """Boxes round clusters of standing edges; the whole picture when there are none or they fill too much of it."""
    height, width = mask.shape
    whole = [(0, 0, width, height)]
    dense = cv2.boxFilter(mask.astype(np.float32), -1, (9, 9), normalize=False) >= 4
    joined = cv2.dilate(dense.astype(np.uint8), np.ones((15, 71), np.uint8))
    count, _, stats, _ = cv2.connectedComponentsWithStats(joined, connectivity=8)
    found: list[Box] = []
    for x, y, w, h, _ in stats[1:count]:
        if mask[y : y + h, x : x + w].sum() >= 60:
            found.append((max(0, x - 20), max(0, y - 14), min(width, x + w + 20), min(height, y + h + 14)))
    covered = sum((b[2] - b[0]) * (b[3] - b[1]) for b in found)
    return found if found and covered <= largest_share * height * width else whole


def _sideways(picture_bgr: np.ndarray) -> np.ndarray:
    """Gradient along x of the brightness, grey levels per pixel, (H, W) float32."""
    return cv2.Sobel(cv2.cvtColor(picture_bgr, cv2.COLOR_BGR2GRAY), cv2.CV_32F, 1, 0) / 8


def _presence(pictures_bgr: Sequence[np.ndarray], mask: np.ndarray, gradient: np.ndarray) -> np.ndarray:
    """How much of the standing edges each picture has, (N,)."""
    if not mask.any():
        return np.ones(len(pictures_bgr))
    return np.array([np.clip(_sideways(p)[mask] / gradient[mask], -1, 1).mean() for p in pictures_bgr])


def _spread_best(shown: np.ndarray, count: int) -> list[int]:
    """Of each of `count` even stretches of the pictures the one that shows most of the edges."""
    parts = np.array_split(np.arange(len(shown)), min(count, len(shown)))
    return [int(part[np.argmax(shown[part])]) for part in parts]


def _lines(finder: TextFinder, picture: np.ndarray, regions: Sequence[Box]) -> np.ndarray:
    found = [np.zeros((0, 4))]
    for x1, y1, x2, y2 in regions:
        zoom = 2.0 if x2 - x1 <= 480 else (1.5 if x2 - x1 <= 800 else 1.0)
        found.append(finder.lines(picture[y1:y2, x1:x2], zoom=zoom) + np.array([x1, y1, x1, y1]))
    return np.concatenate(found)


def _lasting(found: list[np.ndarray]) -> list[np.ndarray]:
    """Boxes of lines seen in the same place in two pictures or more (in one, if that is all there is), joined."""
    boxes = np.concatenate(found)
    owner = np.repeat(np.arange(len(found)), [len(f) for f in found])
    group = np.arange(len(boxes))
    for a in range(len(boxes)):
        for b in range(a):
            if _same_line(boxes[a], boxes[b]):
                group[group == group[a]] = group[b]
    joined = []
    for g in np.unique(group):
        own = boxes[group == g]
        if len(np.unique(owner[group == g])) < min(2, len(found)):
            continue
        joined.append(np.array([own[:, 0].min(), np.median(own[:, 1]), own[:, 2].max(), np.median(own[:, 3])]))
    return joined


def _same_line(a: np.ndarray, b: np.ndarray) -> bool:
    tall = min(a[3], b[3]) - max(a[1], b[1])
    wide = min(a[2], b[2]) - max(a[0], b[0])
    return tall >= 0.6 * max(a[3] - a[1], b[3] - b[1]) and wide >= 0.4 * min(a[2] - a[0], b[2] - b[0])


# Its place in the picture -------------------------------------------------------------------------------------------


def _whole(box: np.ndarray) -> Box:
    x1, y1, x2, y2 = (round(float(v)) for v in box)
    return max(0, x1), max(0, y1), max(x2, x1 + 2), max(y2, y1 + 2)


def _scaled(box: Sequence[float], scale: float, size_px: tuple[int, int]) -> Box:
    x1, y1, x2, y2 = (round(float(v) * scale) for v in box)
    return max(0, x1), max(0, y1), min(size_px[0], max(x2, x1 + 2)), min(size_px[1], max(y2, y1 + 2))


def _bug_box(boxes: Sequence[Sequence[float]], shape: tuple[int, int]) -> tuple[float, float, float, float]:
    """A box round all cells and a little more."""
    b = np.array(boxes)
    tall = float(np.median(b[:, 3] - b[:, 1]))
    x1, y1 = max(0.0, b[:, 0].min() - tall), max(0.0, b[:, 1].min() - tall)
    return x1, y1, min(float(shape[1]), b[:, 2].max() + tall), min(float(shape[0]), b[:, 3].max() + tall)


def _bug_edges(pictures_bgr: Sequence[np.ndarray], box: Box) -> tuple[np.ndarray, np.ndarray]:
    """Standing edges of the graphic in the film's own pixels: places (K, 2) x, y and gradients (K,)."""
    x1, y1, x2, y2 = box
    mask, gradient = standing_edges([p[y1:y2, x1:x2] for p in pictures_bgr])
    # A lone pixel is chance, an outline is many.
    mask &= cv2.boxFilter(mask.astype(np.float32), -1, (5, 5), normalize=False) >= 3
    y, x = np.nonzero(mask)
    edges_px, edges = np.column_stack([x + x1, y + y1]), gradient[mask].astype(np.float32)
    for array in (edges_px, edges):
        array.setflags(write=False)
    return edges_px, edges


# Reading it ---------------------------------------------------------------------------------------------------------


@lru_cache(maxsize=1)
def _text_reader() -> TextReader:
    """One for all films of a process."""
    return TextReader()


class BugReader:
    """Reads the cells of a film's score graphic while its pictures pass by.

    Parameters
    ----------
    layout : BugLayout or None
        From :func:`scout`; with None nothing is read.
    settings : BugSettings, optional
    """

    def __init__(self, layout: BugLayout | None, settings: BugSettings | None = None) -> None:
        self._layout = layout
        self._settings = settings or BugSettings()
        self._reader = None if layout is None else _text_reader()
        self._before: dict[str, _Before] = {}
        self._next_s = -math.inf
        self._rows: list[dict[str, object]] = []

    def wants(self, t_s: float) -> bool:
        """Whether :meth:`look` would look at a picture of this time."""
        return self._layout is not None and t_s >= self._next_s

    def look(self, frame_bgr: np.ndarray, index: int, t_s: float) -> None:
        """Take a picture of the film; most are passed over.

        Parameters
        ----------
        frame_bgr : ndarray of shape (H, W, 3), uint8
            The whole picture in the film's own size.
        index : int
            Its place in the film.
        t_s : float
            Its presentation time. Pictures come in order of time.
        """
        if self._layout is None or not self.wants(t_s):
            return
        self._next_s = t_s + self._settings.read_every_s - 1e-6
        row = {"frame": index, "t_s": t_s}
        self._rows.append(row | {"field": "bug", "text": "", "score": self._shown(frame_bgr)})
        for cell in self._layout.cells:
            before = self._before.get(cell.field)
            if cell.field in SLOW_FIELDS and before and t_s - before.t_s < self._settings.read_slow_every_s:
                continue
            line = self._read(cell.field, strip_of(frame_bgr, cell.box_px), t_s)
            self._rows.append(row | {"field": cell.field, "text": line.text, "score": line.score})

    def table(self) -> pa.Table:
        """The readings since the last call of :meth:`restart`, :data:`~pipeline.film.tables.BUG_READINGS`."""
        return BUG_READINGS.from_rows(self._rows)

    def restart(self) -> None:
        """Forget everything but the layout: what comes next is read as if the film began there."""
        self._before, self._next_s, self._rows = {}, -math.inf, []

    def _shown(self, picture: np.ndarray) -> float:
        layout = self._layout
        assert layout is not None
        if not len(layout.edges):
            return 0.5
        x1, y1 = np.maximum(layout.edges_px.min(axis=0) - 1, 0)
        x2, y2 = layout.edges_px.max(axis=0) + 2
        found = _sideways(picture[y1:y2, x1:x2])[layout.edges_px[:, 1] - y1, layout.edges_px[:, 0] - x1]
        return float(np.clip(np.clip(found / layout.edges, -1, 1).mean(), 0, 1))

    def _read(self, field: str, strip: np.ndarray, t_s: float) -> Line:
        edges = _sideways(strip)
        before = self._before.get(field)
        if before is not None and t_s - before.t_s < self._settings.renew_s and before.edges.shape == edges.shape:
            usual = float(cv2.blur(np.abs(before.edges), CHANGE_WINDOW_PX).max()) + 2.0
            change = float(cv2.blur(np.abs(edges - before.edges), CHANGE_WINDOW_PX).max())
            if change < self._settings.same_change * usual:
                return before.line
        assert self._reader is not None
        line = self._reader.read(strip, ALPHABET if field == "period" else FIGURES)
        self._before[field] = _Before(t_s, edges, line)
        return line


@dataclass(frozen=True, slots=True, eq=False)
class _Before:
    """When a cell was last read, what its edges were then and what it said."""

    t_s: float
    edges: np.ndarray
    line: Line
