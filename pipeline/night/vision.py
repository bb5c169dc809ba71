"""The vision pass: the film is decoded once, and everything that looks at pictures looks at them then.

Every frame goes, small, to the shot finder. The analysed frames (``analysed_frames_per_s``) go to the court network,
and where it sees enough floor also to the detector.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyarrow as pa
import supervision as sv

from pipeline.court.area_network import AreaNetwork
from pipeline.court.marks import areas_row, floor_evidence, marks_table
from pipeline.court.tables import AREAS, MARKS
from pipeline.film.decode import Decoding, Frame, Sampler, decode
from pipeline.film.shots import FoundShots, ShotFinder
from pipeline.film.tables import FRAMES
from pipeline.night.settings import NightSettings
from pipeline.night.stages import Progress
from pipeline.players.detector import Detector
from pipeline.players.kit import kits_lab
from pipeline.players.tables import BOX_CLASSES, BOXES
from pipeline.settings import Settings

WITH_KIT = tuple(BOX_CLASSES.index(name) for name in ("player", "official"))


@dataclass(frozen=True, slots=True)
class Seen:
    """What the vision pass saw.

    Attributes
    ----------
    found : FoundShots
        The film's shots as far as pictures alone tell them.
    frames, marks, areas, boxes : pa.Table
        As their rooms declare them; the shot of every row is set.
    damage : str
        What was lost to damage, one sentence; empty when nothing was.
    """

    found: FoundShots
    frames: pa.Table
    marks: pa.Table
    areas: pa.Table
    boxes: pa.Table
    damage: str


def see_film(film: Path, areas: AreaNetwork, detector: Detector, settings: Settings, progress: Progress) -> Seen:
    """Decode a film once and run the shot finder and both networks over it.

    Parameters
    ----------
    film : Path
    areas, detector : the two networks
    settings : Settings
    progress : callable
        Called with seconds of film done and in all.

    Raises
    ------
    FilmError
        If the film cannot be read to its end.
    """
    frames = decode(film, settings=settings.film.decode)
    finder = ShotFinder(settings.film.shots)
    sampler = Sampler(frames.info.times_s, 1 / settings.night.analysed_frames_per_s)
    looked = _Looked(areas, detector, settings)
    waiting: list[Frame] = []
    for frame in frames:
        finder.feed(frame.index, frame.t_s, frame.small(settings.film.shots.width_px))
        if sampler.takes(frame.index):
            waiting.append(frame)
            if len(waiting) >= settings.night.batch_frames:
                looked.take(waiting)
                waiting = []
        progress(frame.t_s, frames.info.duration_s)
    looked.take(waiting)
    progress(frames.info.duration_s, frames.info.duration_s)
    found = finder.finish(frames.info.duration_s)
    return looked.seen(found, _damage(frames))


def _damage(frames: Decoding) -> str:
    report = frames.report
    return report.sentence() if report.delivered < report.expected else ""


class _Looked:
    """Rows of the analysed frames, gathered batch by batch."""

    def __init__(self, areas: AreaNetwork, detector: Detector, settings: Settings) -> None:
        self._areas, self._detector = areas, detector
        self._night: NightSettings = settings.night
        self._marking = settings.court.marks
        self._marks: list[pa.Table] = [MARKS.empty()]
        self._maps: list[pa.Table] = [AREAS.empty()]
        self._boxes: list[pa.Table] = [BOXES.empty()]
        self._frames: list[int] = []
        self._times_s: list[float] = []

    def take(self, batch: list[Frame]) -> None:
        """Look at a batch of frames. Their shots are not known yet and are set at the end."""
        if not batch:
            return
        pictures = [frame.image for frame in batch]
        crowded: list[int] = []
        for number, (frame, probability) in enumerate(zip(batch, self._areas.areas(pictures), strict=True)):
            size = (pictures[number].shape[1], pictures[number].shape[0])
            evidence = floor_evidence(probability, size, self._marking)
            self._marks.append(marks_table(evidence.marks, frame=frame.index, t_s=frame.t_s, shot=0))
            self._maps.append(areas_row(evidence, size, frame=frame.index, t_s=frame.t_s, shot=0))
            self._frames.append(frame.index)
            self._times_s.append(frame.t_s)
            if (evidence.areas > 0).mean() >= self._night.least_floor_share:
                crowded.append(number)
        if crowded:
            found = self._detector.detect([pictures[n] for n in crowded])
            for number, detections in zip(crowded, found, strict=True):
                self._boxes.append(boxes_table(pictures[number], detections, batch[number].index, batch[number].t_s))

    def seen(self, found: FoundShots, damage: str) -> Seen:
        """All rows, each with the shot that its time lies in."""
        starts = np.array([boundary.t_s for boundary in found.boundaries])
        times = np.array(self._times_s)
        frames = FRAMES.from_columns({"frame": self._frames, "t_s": times, "shot": _shots(times, starts)})
        marks, maps, boxes = (
            _with_shots(pa.concat_tables(tables), starts) for tables in (self._marks, self._maps, self._boxes)
        )
        return Seen(found, frames, marks, maps, boxes, damage)


def boxes_table(picture: np.ndarray, detections: sv.Detections, frame: int, t_s: float) -> pa.Table:
    """What the detector saw in one frame as rows of the ``boxes`` table; the shot is left at 0."""
    count = len(detections)
    if not count:
        return BOXES.empty()
    assert detections.class_id is not None
    assert detections.confidence is not None
    dressed = np.isin(detections.class_id, WITH_KIT)
    kits: list[list[float] | None] = [None] * count
    for row, kit in zip(np.flatnonzero(dressed), kits_lab(picture, detections.xyxy[dressed]), strict=True):
        kits[row] = kit.tolist() if np.isfinite(kit).all() else None
    x1, y1, x2, y2 = detections.xyxy.T
    return BOXES.from_columns(
        {
            "frame": np.full(count, frame),
            "t_s": np.full(count, t_s),
            "shot": np.zeros(count, int),
            "class": [BOX_CLASSES[c] for c in detections.class_id],
            "x1_px": x1.astype(np.float32),
            "y1_px": y1.astype(np.float32),
            "x2_px": x2.astype(np.float32),
            "y2_px": y2.astype(np.float32),
            "score": detections.confidence.astype(np.float32),
            "kit_lab": kits,
        }
    )


def _shots(times_s: np.ndarray, starts_s: np.ndarray) -> np.ndarray:
    """Shot of each time: the last that starts at or before it."""
    return np.maximum(np.searchsorted(starts_s, times_s + 1e-9, side="right") - 1, 0).astype(np.int32)


def _with_shots(table: pa.Table, starts_s: np.ndarray) -> pa.Table:
    shots = pa.array(_shots(table["t_s"].to_numpy(), starts_s), pa.int32())
    return table.set_column(table.schema.get_field_index("shot"), table.schema.field("shot"), shots)
