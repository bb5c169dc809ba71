"""The vision pass: the film is decoded once, and everything that looks at pictures looks at them then.

Every frame goes, small, to the shot finder. The analysed frames (``analysed_frames_per_s``) go to the court network,
and where it sees enough floor also to the detector.
"""

from __future__ import annotations

import os
import shutil
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyarrow as pa
import supervision as sv

from pipeline.court.area_network import AreaNetwork
from pipeline.court.marks import areas_row, floor_evidence, marks_table
from pipeline.court.tables import AREAS, MARKS
from pipeline.film.decode import Decoding, Frame, Sampler, decode
from pipeline.film.live import EvidenceGatherer
from pipeline.film.shots import FoundShots, ShotFinder
from pipeline.film.tables import EVIDENCE, FRAMES
from pipeline.night.settings import NightSettings
from pipeline.night.stages import Progress
from pipeline.players.detector import Detector
from pipeline.players.kit import kits_lab
from pipeline.players.tables import BOX_CLASSES, BOXES
from pipeline.settings import Settings
from pipeline.tables import TableSpec

SURE_BODY = 0.3
"""From this score on a body counts as seen when a shot's view is judged."""

PARTS = (FRAMES, MARKS, AREAS, BOXES, EVIDENCE)
"""Tables that the pass fills."""

WITH_KIT = tuple(BOX_CLASSES.index(name) for name in ("player", "official"))


@dataclass(frozen=True, slots=True)
class Seen:
    """What the vision pass saw.

    Attributes
    ----------
    found : FoundShots
        The film's shots as far as pictures alone tell them.
    frames, marks, areas, boxes, evidence : pa.Table
        As their rooms declare them; the shot of every row is set.
    damage : str
        What was lost to damage, one sentence; empty when nothing was.
    """

    found: FoundShots
    frames: pa.Table
    marks: pa.Table
    areas: pa.Table
    boxes: pa.Table
    evidence: pa.Table
    damage: str


class SeenParts:
    """What a vision pass has seen so far, in pieces on disk, so that a killed run need not look at them again.

    Parameters
    ----------
    folder : Path
        Made when the first piece is written. Pieces are written whole and then renamed.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._pieces = sorted(p for p in folder.glob("part-*") if p.suffix != ".tmp") if folder.is_dir() else []

    def frames(self) -> set[int]:
        """Frames that were looked at."""
        return {int(f) for piece in self._pieces for f in FRAMES.read(piece)["frame"].to_pylist()}

    def add(self, tables: dict[str, pa.Table]) -> None:
        """Keep one piece."""
        piece = self._folder / f"part-{len(self._pieces):05d}"
        unfinished = piece.with_suffix(".tmp")
        if unfinished.exists():
            shutil.rmtree(unfinished)
        for spec in PARTS:
            spec.write(tables[spec.name], unfinished)
        os.rename(unfinished, piece)
        self._pieces.append(piece)

    def read(self) -> dict[str, pa.Table]:
        """All pieces in order of time, by table name."""
        found = {spec.name: [spec.empty(), *(spec.read(piece) for piece in self._pieces)] for spec in PARTS}
        return {name: pa.concat_tables(tables).sort_by("frame") for name, tables in found.items()}

    def clear(self) -> None:
        """Forget everything."""
        shutil.rmtree(self._folder, ignore_errors=True)
        self._pieces = []


def see_film(
    film: Path, areas: AreaNetwork, detector: Detector, settings: Settings, parts: SeenParts, progress: Progress
) -> Seen:
    """Decode a film once and run the shot finder and both networks over it.

    Parameters
    ----------
    film : Path
    areas, detector : the two networks
    settings : Settings
    parts : SeenParts
        Frames in it are not looked at again; what is looked at is added to it.
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
    done = parts.frames()
    looked = _Looked(areas, detector, settings)
    waiting: list[Frame] = []
    for frame in frames:
        finder.feed(frame.index, frame.t_s, frame.small(settings.film.shots.width_px))
        if sampler.takes(frame.index) and frame.index not in done:
            waiting.append(frame)
            if len(waiting) >= settings.night.batch_frames:
                looked.take(waiting)
                waiting = []
                if looked.count >= settings.night.part_frames:
                    parts.add(looked.tables())
        progress(frame.t_s, frames.info.duration_s)
    looked.take(waiting)
    if looked.count:
        parts.add(looked.tables())
    progress(frames.info.duration_s, frames.info.duration_s)
    found = finder.finish(frames.info.duration_s)
    starts = np.array([boundary.t_s for boundary in found.boundaries])
    tables = {name: _with_shots(table, starts) for name, table in parts.read().items()}
    return Seen(found, **tables, damage=_damage(frames))


def _damage(frames: Decoding) -> str:
    report = frames.report
    return report.sentence() if report.delivered < report.expected else ""


class _Looked:
    """Rows of the analysed frames since they were last handed over. Shots are not known yet and stay 0."""

    def __init__(self, areas: AreaNetwork, detector: Detector, settings: Settings) -> None:
        self._areas, self._detector = areas, detector
        self._night: NightSettings = settings.night
        self._marking = settings.court.marks
        self._live = settings.film.live
        self._rows: dict[str, list[pa.Table]] = {}
        self._reset()

    def _reset(self) -> None:
        self.count = 0
        self._rows = {spec.name: [spec.empty()] for spec in PARTS}
        self._evidence = EvidenceGatherer(self._live)

    def take(self, batch: list[Frame]) -> None:
        """Look at a batch of frames."""
        if not batch:
            return
        pictures = [frame.image for frame in batch]
        probabilities = self._areas.areas(pictures)
        seen = [
            floor_evidence(probability, _size(picture), self._marking)
            for picture, probability in zip(pictures, probabilities, strict=True)
        ]
        shares = [(evidence.areas > 0).mean() for evidence in seen]
        looked_in = [n for n, share in enumerate(shares) if share >= self._night.least_floor_share]
        found = dict(zip(looked_in, self._detector.detect([pictures[n] for n in looked_in]), strict=True))
        for number, frame in enumerate(batch):
            size = _size(pictures[number])
            self._add(FRAMES.from_rows([{"frame": frame.index, "t_s": frame.t_s, "shot": 0}]), FRAMES)
            self._add(marks_table(seen[number].marks, frame=frame.index, t_s=frame.t_s, shot=0), MARKS)
            self._add(areas_row(seen[number], size, frame=frame.index, t_s=frame.t_s, shot=0), AREAS)
            people = None
            if number in found:
                self._add(boxes_table(pictures[number], found[number], frame.index, frame.t_s), BOXES)
                people = _people(found[number])
            self._evidence.add(
                frame.index,
                frame.t_s,
                frame.small(self._live.thumb_width_px),
                areas=probabilities[number],
                people_px=people,
                picture_size_px=size,
            )
            self.count += 1

    def tables(self) -> dict[str, pa.Table]:
        """Hand over all rows and begin anew."""
        handed = {name: pa.concat_tables(tables) for name, tables in self._rows.items()}
        handed[EVIDENCE.name] = self._evidence.table()
        self._reset()
        return handed

    def _add(self, table: pa.Table, spec: TableSpec) -> None:
        self._rows[spec.name].append(table)


def _size(picture: np.ndarray) -> tuple[int, int]:
    return picture.shape[1], picture.shape[0]


def _people(found: sv.Detections) -> np.ndarray:
    """Boxes of the bodies that are surely there, (N, 4)."""
    assert found.class_id is not None
    assert found.confidence is not None
    return found.xyxy[np.isin(found.class_id, WITH_KIT) & (found.confidence >= SURE_BODY)]


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
    if "shot" not in table.schema.names:
        return table
    shots = pa.array(_shots(table["t_s"].to_numpy(), starts_s), pa.int32())
    return table.set_column(table.schema.get_field_index("shot"), table.schema.field("shot"), shots)
