"""court_frames: how far the found floor lies from hand-labelled floors, in feet.

The folder holds ``polygons.json`` and ``images/`` in the form of the README's data section: per picture its game, size,
whether it is augmented, and polygons of the court, the paint, the three-point area and the centre circle. Augmented
pictures are left out.

What is measured, per registered picture: labelled points are freed of the lens's bending, taken through the found
homography to the floor, and compared with the rule book of the labels:

- three-point line: points every ``step`` pixels along the labelled three-point area's border, without the parts that
  are cut by the picture's edge or close the area along the court's edge; distance to the nearest point of that line
  (outer edge) at either end.
- paint corners: labelled paint corners that lie inside the picture (not where its edge cuts the paint); distance to
  the nearest of the rule book's eight. A polygon called paint whose middle lies in no labelled three-point area is a
  mislabelled one (centre circles were found so) and is left out.

A picture's number is the mean over its three-point points and corners, each of the two groups weighing the same; a
game's ``median_ft`` and ``p90_ft`` are over its registered pictures. The homography is that of the found rule book, so
a wrong book shows as error (at the right end also by the difference in length).

Pictures are registered one by one, each by itself, and, as ``together``, once more all of a game as one film: they
vote on its rule book and share the camera's place and lens, each picture a shot of its own.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from pipeline.court.area_network import AreaNetwork
from pipeline.court.camera import Camera, NoCourt, camera_from_row
from pipeline.court.geometry import ENDS, areas
from pipeline.court.marks import FloorEvidence, areas_row, floor_evidence, marks_table
from pipeline.court.registration import CourtFit, find_camera, register
from pipeline.court.rule_books import RuleBook, rule_book
from pipeline.court.settings import MarkSettings, RegistrationSettings
from pipeline.court.tables import AREAS, MARKS
from pipeline.errors import DataError
from pipeline.user_files import read_json, shown

Array = NDArray[np.float64]

STEP_PX = 8.0
"""Distance between the compared points of the labelled three-point line."""

EDGE_SHARE = 0.012
"""Points nearer to the picture's edge, or paint and three-point points nearer to the court's labelled border, than this
share of the picture's width are not compared."""


_APART_S = 100.0  # pictures of a game are far apart in time


@dataclass(frozen=True, slots=True, eq=False)
class LabelledFrame:
    """One labelled picture."""

    file: str
    game: str
    size_px: tuple[int, int]
    polygons: tuple[tuple[str, Array], ...]

    def of(self, area: str) -> list[Array]:
        """Polygons of one area, each (V, 2) pixels."""
        return [points for name, points in self.polygons if name == area]


def read_labelled_frames(folder: Path) -> list[LabelledFrame]:
    """The pictures of a folder that are not augmented.

    Raises
    ------
    DataError
        If ``polygons.json`` is missing or not in the documented form.
    """
    path = folder / "polygons.json"
    if not path.is_file():
        raise DataError(f"{path} does not exist; give a folder with images/ and polygons.json.")
    rows = read_json(path, DataError, advice="repair it")
    try:
        return [_labelled(row) for row in rows if not row["augmented"]]
    except (KeyError, TypeError, ValueError, OverflowError) as error:
        raise DataError(
            f"{path} is not a list of pictures with file, game, width, height, augmented and polygons (trouble with "
            f"{shown(str(error))}); see the data section of the README."
        ) from error


GREATEST_PX = 1e5


def _labelled(row: Mapping[str, Any]) -> LabelledFrame:
    polygons = tuple(
        (str(p["area"]), np.asarray(p["points"], dtype=np.float64).reshape(-1, 2)) for p in row["polygons"]
    )
    if not all((np.abs(points) < GREATEST_PX).all() for _, points in polygons):
        raise ValueError("a point that no picture has")
    return LabelledFrame(str(row["file"]), str(row["game"]), (int(row["width"]), int(row["height"])), polygons)


def label_errors_ft(frame: LabelledFrame, camera: Camera, book: RuleBook) -> tuple[Array, Array]:
    """Distances in feet of a picture's labelled three-point points (T,) and paint corners (C,) to the rule book's.

    A labelled point that the camera cannot take to the floor counts as infinitely far.
    """
    line = _three_point_points(frame)
    corners = _paint_corners(frame)
    known = areas(book)
    outlines = [known[f"three_point_{end}"] for end in ENDS]
    line_floor = camera.to_floor(line)
    line_miss = np.min([_distance_to_path(line_floor, outline) for outline in outlines], axis=0, initial=np.inf)
    wanted = np.vstack([known[f"paint_{end}"] for end in ENDS])
    corner_floor = camera.to_floor(corners)
    corner_miss = np.linalg.norm(corner_floor[:, None] - wanted[None], axis=2).min(axis=1, initial=np.inf)
    return np.nan_to_num(line_miss, nan=np.inf), np.nan_to_num(corner_miss, nan=np.inf)


def frame_error_ft(line_ft: Array, corners_ft: Array) -> float:
    """One number for a picture: mean of the group means; NaN where nothing is labelled."""
    means = [float(group.mean()) for group in (line_ft, corners_ft) if len(group)]
    return float(np.mean(means)) if means else float("nan")


def evaluate_court_frames(
    folder: Path,
    network: AreaNetwork,
    *,
    settings: RegistrationSettings | None = None,
    marking: MarkSettings | None = None,
    book_name: str = "fiba",
    games: Sequence[str] = (),
    on_progress: Callable[[float, float], None] | None = None,
) -> dict[str, Any]:
    """Register every labelled picture of a folder and compare it with its labels.

    Parameters
    ----------
    folder : Path
        With ``polygons.json`` and ``images/``.
    network : AreaNetwork
    settings : RegistrationSettings
        The rule book is recognised from each picture unless the settings name it.
    book_name : str
        Rule book that the labelled floors are painted by.
    games : sequence of str
        Only these games; all if empty.
    on_progress : callable
        Called after each picture with pictures done and pictures to do.

    Returns
    -------
    dict
        ``{"games": {NAME: {"frames", "registered", "median_ft", "p90_ft", ..., "together": {...}}}, "all": {...}}``;
        ``together`` has the same keys for the pictures registered as one film; ``registered`` is a
        share 0..1, ``line_median_ft`` and ``corner_median_ft`` are medians over all compared points and corners,
        ``rule_books`` how many registered pictures were taken for each rule book.
    """
    book = rule_book(book_name)
    alone: dict[str, list[_Outcome]] = defaultdict(list)
    seen: dict[str, list[tuple[LabelledFrame, FloorEvidence]]] = defaultdict(list)
    chosen = settings or RegistrationSettings()
    frames = _of_games(read_labelled_frames(folder), games, folder)
    for number, frame in enumerate(frames, start=1):
        picture = _read_picture(folder / "images" / frame.file, frame)
        (probability,) = network.areas([picture])
        evidence = floor_evidence(probability, frame.size_px, marking)
        seen[frame.game].append((frame, evidence))
        found = find_camera(evidence.marks, evidence.areas, frame.size_px, chosen)
        alone[frame.game].append(_compare(frame, found, book))
        if on_progress is not None:
            on_progress(number, len(frames))
    together = {name: _as_one_film(looked, book, chosen) for name, looked in seen.items()}
    scores = {name: _summary(alone[name]) | {"together": _summary(together[name])} for name in sorted(alone)}
    every = [_summary([row for rows in outcomes.values() for row in rows]) for outcomes in (alone, together)]
    return {"games": scores, "all": every[0] | {"together": every[1]}}


def _as_one_film(
    looked: Sequence[tuple[LabelledFrame, FloorEvidence]], book: RuleBook, settings: RegistrationSettings
) -> list[_Outcome]:
    """Compare a game's pictures after registering them as one film in which each is a shot."""
    marks, areas_seen = [MARKS.empty()], [AREAS.empty()]
    for number, (frame, evidence) in enumerate(looked):
        t_s = _APART_S * number
        marks.append(marks_table(evidence.marks, frame=number, t_s=t_s, shot=number))
        areas_seen.append(areas_row(evidence, frame.size_px, frame=number, t_s=t_s, shot=number))
    cameras = register(pa.concat_tables(marks), pa.concat_tables(areas_seen), settings).to_pylist()
    found = []
    for (frame, _), row in zip(looked, cameras, strict=True):
        camera = camera_from_row(row)
        if isinstance(camera, NoCourt):
            found.append(_refused(frame, camera))
        else:
            found.append(_measured(frame, camera, row["rule_book"], book))
    return found


def _of_games(frames: list[LabelledFrame], games: Sequence[str], folder: Path) -> list[LabelledFrame]:
    known = sorted({frame.game for frame in frames})
    for game in games:
        if game not in known:
            raise DataError(f"{folder} has no game '{game}'; its games: {', '.join(known) or 'none'}.")
    return [frame for frame in frames if not games or frame.game in games]


@dataclass(frozen=True, slots=True, eq=False)
class _Outcome:
    file: str
    reason: str  # empty when registered
    found_book: str
    error_ft: float
    line_ft: Array
    corners_ft: Array


def _compare(frame: LabelledFrame, found: CourtFit | NoCourt, book: RuleBook) -> _Outcome:
    if isinstance(found, NoCourt):
        return _refused(frame, found)
    return _measured(frame, found.camera, found.rule_book, book)


def _refused(frame: LabelledFrame, why: NoCourt) -> _Outcome:
    return _Outcome(frame.file, why.reason, "", float("nan"), np.zeros(0), np.zeros(0))


def _measured(frame: LabelledFrame, camera: Camera, found_book: str, book: RuleBook) -> _Outcome:
    line, corners = label_errors_ft(frame, camera, book)
    return _Outcome(frame.file, "", found_book, frame_error_ft(line, corners), line, corners)


def _summary(rows: list[_Outcome]) -> dict[str, Any]:
    good = [row for row in rows if not row.reason]
    errors = np.array([row.error_ft for row in good if not np.isnan(row.error_ft)])
    return {
        "frames": len(rows),
        "registered": len(good) / len(rows) if rows else 0.0,
        "median_ft": _quantile(errors, 0.5),
        "p90_ft": _quantile(errors, 0.9),
        "line_median_ft": _quantile(np.concatenate([np.zeros(0), *(r.line_ft for r in good)]), 0.5),
        "corner_median_ft": _quantile(np.concatenate([np.zeros(0), *(r.corners_ft for r in good)]), 0.5),
        "rule_books": {name: sum(r.found_book == name for r in good) for name in sorted({r.found_book for r in good})},
    }


def _quantile(values: Array, q: float) -> float | None:
    return float(np.quantile(values, q)) if len(values) and np.isfinite(np.quantile(values, q)) else None


def _read_picture(path: Path, frame: LabelledFrame) -> NDArray[np.uint8]:
    picture = cv2.imread(str(path), cv2.IMREAD_COLOR)
    if picture is None:
        raise DataError(f"{path} cannot be read as a picture; polygons.json lists it.")
    if (picture.shape[1], picture.shape[0]) != frame.size_px:
        raise DataError(
            f"{path} is {picture.shape[1]}x{picture.shape[0]}, but polygons.json says "
            f"{frame.size_px[0]}x{frame.size_px[1]}; correct one of them."
        )
    return np.asarray(picture, dtype=np.uint8)


def _away_from_edge(points: Array, size_px: tuple[int, int]) -> NDArray[np.bool_]:
    margin = EDGE_SHARE * size_px[0]
    x, y = points[:, 0], points[:, 1]
    return (x > margin) & (x < size_px[0] - margin) & (y > margin) & (y < size_px[1] - margin)


def _three_point_points(frame: LabelledFrame) -> Array:
    found = [np.zeros((0, 2))]
    for polygon in frame.of("three_point_area"):
        points = np.concatenate(list(_along(polygon)))
        inside = _away_from_edge(points, frame.size_px)
        found.append(points[inside & ~_on_court_edge(points, frame)])
    return np.concatenate(found)


def _along(polygon: Array) -> Iterator[Array]:
    for a, b in zip(polygon, np.roll(polygon, -1, axis=0), strict=True):
        count = max(1, int(np.hypot(*(b - a)) / STEP_PX))
        yield a + (b - a) * ((np.arange(count) + 0.5) / count)[:, None]


def _on_court_edge(points: Array, frame: LabelledFrame) -> NDArray[np.bool_]:
    near = np.full(len(points), np.inf)
    for court in frame.of("court"):
        near = np.minimum(near, _distance_to_path(points, court))
    return near < EDGE_SHARE * frame.size_px[0]


def _paint_corners(frame: LabelledFrame) -> Array:
    """Corners of labelled paints: vertices inside the picture of polygons that are not cut by its edge nearby."""
    found = [np.zeros((0, 2))]
    for polygon in frame.of("paint"):
        if not any(_holds(area, polygon.mean(axis=0)) for area in frame.of("three_point_area")):
            continue
        corners = polygon[:-1] if len(polygon) > 1 and np.allclose(polygon[0], polygon[-1]) else polygon
        if len(corners) == 4 or not _away_from_edge(corners, frame.size_px).all():
            found.append(corners[_away_from_edge(corners, frame.size_px)])
    return np.concatenate(found)


def _holds(polygon: Array, point: Array) -> bool:
    outline = polygon.astype(np.float32)
    return cv2.pointPolygonTest(outline, (float(point[0]), float(point[1])), measureDist=False) >= 0


def _distance_to_path(points: Array, path: Array) -> Array:
    """Distance of points (N, 2) to a closed polyline (V, 2), shape (N,)."""
    a, b = path, np.roll(path, -1, axis=0)
    along = b - a
    length2 = np.maximum(np.sum(along**2, axis=1), 1e-12)
    offset = points[:, None] - a[None]
    t = np.clip(np.sum(offset * along, axis=2) / length2, 0, 1)
    return np.linalg.norm(offset - t[..., None] * along, axis=2).min(axis=1, initial=np.inf)
