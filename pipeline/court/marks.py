"""Read marks, sub-pixel points on the floor's borders, off the area network's probabilities.

Two things are read. Where two areas meet, the border is where their probabilities are equal, refined to the crest of
the painted line between them; the two areas name the border and tell its inner side. Where a painted line runs through
one area, the crest of the line probability is a mark of the border ``line``.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from pipeline.court.fitting import MarkSet
from pipeline.court.floor_lines import BORDER_NAMES
from pipeline.court.settings import MarkSettings
from pipeline.court.tables import AREAS, MARKS
from pipeline.court.view_bank import MAP_SIZE
from pipeline.errors import ShapeError

Array = NDArray[np.float64]

OUTSIDE, FLOOR, THREE, PAINT, CIRCLE, LINE = range(6)
"""Classes of the area network, see ``area_network.AREA_CLASSES``."""

_INNER_OF_PAIR = {
    (OUTSIDE, FLOOR): (0, FLOOR),
    (OUTSIDE, THREE): (0, THREE),
    (OUTSIDE, PAINT): (0, PAINT),
    (OUTSIDE, CIRCLE): (0, CIRCLE),
    (FLOOR, THREE): (1, THREE),
    (THREE, PAINT): (2, PAINT),
    (FLOOR, CIRCLE): (3, CIRCLE),
}
_BORDER_OF = np.full((5, 5), -1, dtype=np.intp)
_INNER_OF = np.full((5, 5), -1, dtype=np.intp)
for (_a, _b), (_border, _inner) in _INNER_OF_PAIR.items():
    _BORDER_OF[_a, _b] = _BORDER_OF[_b, _a] = _border
    _INNER_OF[_a, _b] = _INNER_OF[_b, _a] = _inner
_LINE_BORDER = BORDER_NAMES.index("line")
_WORK_WIDTH = 320


@dataclass(frozen=True, slots=True, eq=False)
class FloorEvidence:
    """What one picture shows of the floor.

    Attributes
    ----------
    marks : MarkSet
    areas : ndarray of uint8, shape (36, 64)
        Label map: 0 outside, 1 floor, 2 three-point area, 3 paint, 4 centre circle.
    """

    marks: MarkSet
    areas: NDArray[np.uint8]


def floor_evidence(
    probability: NDArray[np.float32], size_px: tuple[int, int], settings: MarkSettings | None = None
) -> FloorEvidence:
    """Marks and label map of one picture.

    Parameters
    ----------
    probability : ndarray of shape (6, h, w)
        Probabilities of the area classes; h and w cover the whole picture at any resolution.
    size_px : tuple of int
        Picture width and height.
    """
    chosen = settings or MarkSettings()
    if probability.ndim != 3 or probability.shape[0] != 6:
        raise ShapeError(f"Area probabilities must be (6, h, w), got {probability.shape}.")
    planes = _working_size(np.asarray(probability, dtype=np.float32))
    share = _area_shares(planes)
    return FloorEvidence(_find_marks(planes, share, size_px, chosen), _label_map(share))


def marks_from_areas(
    probability: NDArray[np.float32], size_px: tuple[int, int], settings: MarkSettings | None = None
) -> MarkSet:
    """Marks of one picture, see :func:`floor_evidence`."""
    return floor_evidence(probability, size_px, settings).marks


def _working_size(planes: NDArray[np.float32]) -> NDArray[np.float32]:
    height, width = planes.shape[1:]
    if width <= _WORK_WIDTH * 1.25:
        return planes
    size = (_WORK_WIDTH, max(2, round(height * _WORK_WIDTH / width)))
    return np.stack([cv2.resize(p, size, interpolation=cv2.INTER_AREA) for p in planes])


def _area_shares(planes: NDArray[np.float32]) -> NDArray[np.float32]:
    """Probabilities of the five areas with lines and their ragged edges filled from beside them, (5, h, w)."""
    blurred = np.stack([cv2.GaussianBlur(p, (0, 0), 1.0) for p in planes[:LINE]])
    wide = np.stack([cv2.GaussianBlur(p, (0, 0), 2.5) for p in planes[:LINE]])
    share = blurred + 0.02 * wide + 1e-6
    return share / share.sum(axis=0)


def _label_map(share: NDArray[np.float32]) -> NDArray[np.uint8]:
    cells = np.stack([cv2.resize(p, MAP_SIZE, interpolation=cv2.INTER_AREA) for p in share])
    return cells.argmax(axis=0).astype(np.uint8)


def _sample(plane: NDArray[np.float32], points: Array) -> NDArray[np.float32]:
    """Bilinear values at map points (N, 2)."""
    if not len(points):
        return np.zeros(0, dtype=np.float32)
    xy = points.astype(np.float32)
    out = []
    for begin in range(0, len(xy), 16_000):  # cv2.remap takes no more than 32,767 columns
        part = xy[begin : begin + 16_000]
        out.append(
            cv2.remap(plane, part[None, :, 0], part[None, :, 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)[0]
        )
    return np.concatenate(out)


def _gradient(plane: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    by_x = cv2.Sobel(plane, cv2.CV_32F, 1, 0, ksize=3, scale=1 / 8)
    by_y = cv2.Sobel(plane, cv2.CV_32F, 0, 1, ksize=3, scale=1 / 8)
    return np.asarray(by_x, dtype=np.float32), np.asarray(by_y, dtype=np.float32)


def _find_marks(
    planes: NDArray[np.float32], share: NDArray[np.float32], size_px: tuple[int, int], settings: MarkSettings
) -> MarkSet:
    borders = _area_borders(planes, share, settings)
    lines = _line_crests(planes, share, settings)
    points, normal, border, weight = (np.concatenate([a, b]) for a, b in zip(borders, lines, strict=True))
    height, width = planes.shape[1:]
    scale = np.array([size_px[0] / width, size_px[1] / height])
    px = (points + 0.5) * scale - 0.5
    normal = normal / scale
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-9)
    margin = 0.012 * size_px[0]
    away = np.minimum(np.minimum(px[:, 0], size_px[0] - px[:, 0]), np.minimum(px[:, 1], size_px[1] - px[:, 1]))
    marks = MarkSet(px, normal, border, weight).only(away > margin)
    return _thinned(marks, settings.most_marks)


def _thinned(marks: MarkSet, most: int) -> MarkSet:
    """At most ``most`` marks, every border given an equal right to its share."""
    counts = np.bincount(marks.border, minlength=len(BORDER_NAMES))
    quota = np.zeros(len(counts), dtype=np.intp)
    left, open_borders = most, [i for i in np.argsort(counts) if counts[i]]
    for position, i in enumerate(open_borders):
        quota[i] = min(counts[i], left // (len(open_borders) - position))
        left -= quota[i]
    kept = []
    for i, number in enumerate(quota):
        if number:
            rows = np.flatnonzero(marks.border == i)
            rows = rows[np.argsort(marks.px[rows, 0], kind="stable")]
            kept.append(rows[np.linspace(0, len(rows) - 1, number).round().astype(np.intp)])
    keep = np.sort(np.concatenate(kept)) if kept else np.zeros(0, dtype=np.intp)
    return marks.only(keep)  # type: ignore[arg-type]


def _area_borders(
    planes: NDArray[np.float32], share: NDArray[np.float32], settings: MarkSettings
) -> tuple[Array, Array, NDArray[np.intp], Array]:
    label = share.argmax(axis=0)
    points, pairs = [], []
    for dy, dx in ((0, 1), (1, 0)):
        first = label[: label.shape[0] - dy, : label.shape[1] - dx]
        second = label[dy:, dx:]
        y, x = np.nonzero((first != second) & (_BORDER_OF[first, second] >= 0))
        a, b = first[y, x], second[y, x]
        here = share[a, y, x] - share[b, y, x]
        there = share[b, y + dy, x + dx] - share[a, y + dy, x + dx]
        fraction = here / np.maximum(here + there, 1e-6)
        points.append(np.column_stack([x + dx * fraction, y + dy * fraction]))
        pairs.append(np.column_stack([a, b]))
    point, pair = np.concatenate(points).astype(np.float64), np.concatenate(pairs)
    inner = _INNER_OF[pair[:, 0], pair[:, 1]]
    outer = np.where(inner == pair[:, 0], pair[:, 1], pair[:, 0])
    border = _BORDER_OF[pair[:, 0], pair[:, 1]]
    smooth = [cv2.GaussianBlur(p, (0, 0), 1.2) for p in share]
    gradients = [_gradient(p) for p in smooth]
    normal = np.zeros((len(point), 2))
    for area in range(LINE):
        for rows, sign in ((inner == area, 1.0), (outer == area, -1.0)):
            if rows.any():
                for axis in (0, 1):
                    normal[rows, axis] += sign * _sample(gradients[area][axis], point[rows])
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-9)
    inside, outside = point + normal * settings.side_px, point - normal * settings.side_px
    sure = np.zeros(len(point))
    side_in, side_out = np.zeros(len(point)), np.zeros(len(point))
    for area in range(LINE):
        rows = inner == area
        side_in[rows] = _sample(share[area], inside[rows])
        rows = outer == area
        side_out[rows] = _sample(share[area], outside[rows])
    sure = np.minimum(side_in, side_out)
    point, crest = _to_crest(planes[LINE], point, normal)
    keep = sure > settings.least_contrast
    weight = np.clip(sure * (0.4 + 0.6 * crest), 0, 1)  # a border without a painted line is the network's word only
    return point[keep], normal[keep], border[keep], weight[keep]


def _to_crest(line: NDArray[np.float32], point: Array, normal: Array) -> tuple[Array, Array]:
    """Move points along their normals to the middle of the painted line there, if one is within two map pixels.

    Returns the points and how clear the line is, 0..1. The middle is the centroid of the line's probability.
    """
    if not len(point):
        return point, np.zeros(0)
    reach = np.linspace(-2.0, 2.0, 9)
    samples = np.stack([_sample(line, point + normal * r) for r in reach]).astype(np.float64)
    window = np.array([0.5, 1, 1, 1, 1, 1, 1, 1, 0.5])[:, None]
    mass = (samples * window).sum(axis=0)
    shift = (samples * window * reach[:, None]).sum(axis=0) / np.maximum(mass, 1e-6)
    clear = np.clip(samples.max(axis=0), 0, 1)
    moved = np.where(clear > 0.3, shift, 0.0)
    return point + normal * moved[:, None], clear


def _line_crests(
    planes: NDArray[np.float32], share: NDArray[np.float32], settings: MarkSettings
) -> tuple[Array, Array, NDArray[np.intp], Array]:
    """Crests of the line probability inside one area: halfway line, circles and arcs within the areas."""
    line = cv2.GaussianBlur(planes[LINE], (0, 0), 0.8)
    ys, xs = np.nonzero(line > settings.least_line * 0.6)
    nothing = (np.zeros((0, 2)), np.zeros((0, 2)), np.zeros(0, dtype=np.intp), np.zeros(0))
    if not len(ys):
        return nothing
    gx, gy = _gradient(cv2.GaussianBlur(planes[LINE], (0, 0), 1.2))
    xx = cv2.GaussianBlur(gx * gx, (0, 0), 2.0)[ys, xs]
    yy = cv2.GaussianBlur(gy * gy, (0, 0), 2.0)[ys, xs]
    xy = cv2.GaussianBlur(gx * gy, (0, 0), 2.0)[ys, xs]
    # Across the line: the direction of the structure tensor's larger eigenvalue (Bigün & Granlund 1987).
    angle = 0.5 * np.arctan2(2 * xy, xx - yy)
    normal = np.column_stack([np.cos(angle), np.sin(angle)]).astype(np.float64)
    straight = np.hypot(xx - yy, 2 * xy) / np.maximum(xx + yy, 1e-9)
    point = np.column_stack([xs, ys]).astype(np.float64)
    here = line[ys, xs]
    before, after = _sample(line, point - normal), _sample(line, point + normal)
    bend = before - 2 * here + after
    shift = np.where(bend < -1e-6, 0.5 * (before - after) / np.minimum(bend, -1e-6), 9.0)
    label = share.argmax(axis=0)
    sides = []
    for sign in (-1, 1):
        beside = np.round(point + sign * 1.6 * settings.side_px * normal).astype(np.intp)
        bx, by = beside[:, 0].clip(0, label.shape[1] - 1), beside[:, 1].clip(0, label.shape[0] - 1)
        sides.append(label[by, bx])
    crest = (np.abs(shift) <= 0.6) & (here >= settings.least_line) & (straight > 0.5)
    keep = crest & (sides[0] == sides[1]) & (sides[0] != OUTSIDE)
    point = point + normal * np.clip(shift, -0.6, 0.6)[:, None]
    border = np.full(int(keep.sum()), _LINE_BORDER, dtype=np.intp)
    return point[keep], normal[keep], border, np.clip(here[keep] * straight[keep] * 0.7, 0, 1).astype(np.float64)


def marks_table(marks: MarkSet, *, frame: int, t_s: float, shot: int) -> pa.Table:
    """The marks of one frame as rows of the ``marks`` table."""
    count = len(marks)
    return MARKS.from_columns(
        {
            "frame": np.full(count, frame, dtype=np.int64),
            "t_s": np.full(count, t_s),
            "shot": np.full(count, shot, dtype=np.int32),
            "border": np.array(BORDER_NAMES)[marks.border],
            "x_px": marks.px[:, 0].astype(np.float32),
            "y_px": marks.px[:, 1].astype(np.float32),
            "nx": marks.normal[:, 0].astype(np.float32),
            "ny": marks.normal[:, 1].astype(np.float32),
            "weight": marks.weight.astype(np.float32),
        }
    )


def areas_row(evidence: FloorEvidence, size_px: tuple[int, int], *, frame: int, t_s: float, shot: int) -> pa.Table:
    """The label map of one frame as a row of the ``areas`` table."""
    return AREAS.from_rows(
        [
            {
                "frame": frame,
                "t_s": t_s,
                "shot": shot,
                "width_px": size_px[0],
                "height_px": size_px[1],
                "labels": evidence.areas.tobytes(),
                "floor_share": float((evidence.areas > 0).mean()),
                "sureness": float(np.mean(evidence.marks.weight)) if len(evidence.marks) else 0.0,
            }
        ]
    )


def marks_by_frame(table: pa.Table) -> dict[int, MarkSet]:
    """The marks of each frame of a ``marks`` table."""
    MARKS.check(table)
    if not table.num_rows:
        return {}
    number = {name: i for i, name in enumerate(BORDER_NAMES)}
    border = np.array([number[name] for name in table["border"].to_pylist()], dtype=np.intp)
    px = np.column_stack([table["x_px"].to_numpy(), table["y_px"].to_numpy()]).astype(np.float64)
    normal = np.column_stack([table["nx"].to_numpy(), table["ny"].to_numpy()]).astype(np.float64)
    weight = table["weight"].to_numpy().astype(np.float64)
    frame = table["frame"].to_numpy()
    order = np.argsort(frame, kind="stable")
    frames, starts = np.unique(frame[order], return_index=True)
    return {
        int(f): MarkSet(px[rows], normal[rows], border[rows], weight[rows])
        for f, rows in zip(frames, np.split(order, starts[1:]), strict=True)
    }
