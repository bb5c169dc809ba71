"""Looking at a stretch of film with both networks, no more often than needed.

A stretch is a few seconds of analysed frames in steps of ``court.motion.areas_every`` frames, about half a second. The
court network first looks at the first frame of every step (it scouts). Where neither a step's first frame nor the next
step's shows floor, nothing else is looked at: a view of the floor shorter than a step is never live play. In all other
steps the detector looks at every frame, the picture's motion is measured between all of them, and the court network
looks once more where the picture moved far. What a stretch gives depends on the stretch and the frame after it only,
so stretches are looked at side by side.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass

import cv2
import numpy as np
import pyarrow as pa
import supervision as sv

from pipeline.court.area_network import AreaNetwork
from pipeline.court.image_motion import MotionGatherer
from pipeline.court.marks import FloorEvidence, areas_row, floor_evidence, marks_table
from pipeline.court.tables import AREAS, MARKS
from pipeline.crew import Used
from pipeline.film.decode import Frame
from pipeline.film.tables import FRAMES
from pipeline.players.body_looks import body_looks
from pipeline.players.detector import Detector
from pipeline.players.jersey_numbers import NumberGatherer, NumberReader
from pipeline.players.kit import kits_lab
from pipeline.players.tables import BOX_CLASSES, BOXES, NUMBERS_SEEN
from pipeline.settings import Settings

SURE_BODY = 0.3
"""From this score on a body counts as seen when a shot's view is judged."""

WITH_KIT = tuple(BOX_CLASSES.index(name) for name in ("player", "official"))

AREAS_WIDTH_PX = 640
"""Width in which pictures are decoded for the court network; one of another width is fitted once more."""

DETECTOR_WIDTH_PX = 960
"""The same for the detector."""


class Stopwatch:
    """Adds up the seconds that parts of the work take, over all threads; waiting for a core counts."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self.seconds: dict[str, float] = {}
        self.workers: dict[str, Used] = {}  # what worker processes took

    @contextmanager
    def part(self, name: str) -> Iterator[None]:
        """Time what is done inside."""
        began = time.perf_counter()
        try:
            yield
        finally:
            self.add({name: time.perf_counter() - began})

    def add(self, seconds: Mapping[str, float]) -> None:
        """Add what another stopwatch has measured."""
        with self._lock:
            for name, more in seconds.items():
                self.seconds[name] = self.seconds.get(name, 0.0) + more


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """Analysed frames that are looked at together.

    Attributes
    ----------
    number : int
        Place on the film's grid of stretches.
    frames : tuple of Frame
        In order of time, at least one.
    steps : tuple of int
        Step on the film's grid in which each frame lies.
    piece : int
        Piece of the film to which it belongs.
    """

    number: int
    frames: tuple[Frame, ...]
    steps: tuple[int, ...]
    piece: int = -1

    def scouts(self) -> list[int]:
        """Places of the frames that are the first of a step."""
        return [k for k, step in enumerate(self.steps) if k == 0 or step != self.steps[k - 1]]


@dataclass(frozen=True, slots=True, eq=False)
class Floor:
    """What the court network saw in one frame."""

    probability: np.ndarray
    evidence: FloorEvidence

    @property
    def share(self) -> float:
        """Share of the picture that is floor."""
        return float((self.evidence.areas > 0).mean())


@dataclass(frozen=True, slots=True, eq=False)
class LookedFrame:
    """What was seen in one frame, as far as it is needed once more.

    Attributes
    ----------
    frame : Frame
    thumb : ndarray of shape (h, w, 3), uint8
        The picture, small.
    areas : ndarray of shape (6, h, w) or None
        Probabilities of the court network, where it looked.
    people_px : ndarray of shape (N, 4) or None
        Bodies that are surely there, where the detector looked.
    """

    frame: Frame
    thumb: np.ndarray
    areas: np.ndarray | None
    people_px: np.ndarray | None


@dataclass(frozen=True, slots=True, eq=False)
class Looked:
    """What was seen in a stretch: its frames in order, and rows of tables by name with shots still 0."""

    frames: tuple[LookedFrame, ...]
    tables: dict[str, pa.Table]


class Looker:
    """Looks at stretches; keeps nothing between them, so several threads may use it.

    Parameters
    ----------
    areas, detector : the two networks
    numbers : NumberReader or None
        Reads jersey numbers; None where there is no network for it.
    settings : Settings
    size_px : width and height of the film's pictures
    stopwatch : Stopwatch
    """

    def __init__(
        self,
        areas: AreaNetwork,
        detector: Detector,
        numbers: NumberReader | None,
        settings: Settings,
        size_px: tuple[int, int],
        stopwatch: Stopwatch,
    ) -> None:
        self._areas, self._detector, self._numbers = areas, detector, numbers
        self._settings, self._size_px, self._watch = settings, size_px, stopwatch

    def scout(self, stretch: Stretch) -> list[Floor]:
        """The floor in the first frame of each step."""
        return self._floors([stretch.frames[k] for k in stretch.scouts()])

    def look(self, stretch: Stretch, scouted: list[Floor], after: tuple[Frame, Floor] | None) -> Looked:
        """Look at a stretch.

        Parameters
        ----------
        stretch : Stretch
        scouted : list of Floor
            What `scout` gave for it.
        after : (Frame, Floor) or None
            First frame of the next stretch; None at the film's end.
        """
        frames, least = stretch.frames, self._settings.night.least_floor_share
        floors = dict(zip(stretch.scouts(), scouted, strict=True))
        if after is None and len(frames) - 1 not in floors:
            floors[len(frames) - 1] = self._floors(frames[-1:])[0]
        end = floors[len(frames) - 1] if after is None else after[1]
        shares = [floor.share for floor in scouted] + [end.share]
        places = stretch.scouts()
        near = {stretch.steps[k]: max(shares[n], shares[n + 1]) >= least for n, k in enumerate(places)}
        open_frames = [k for k, step in enumerate(stretch.steps) if near[step]]
        found = dict(zip(open_frames, self._boxes([frames[k] for k in open_frames]), strict=True))
        people = {k: _people(boxes) for k, boxes in found.items()}
        motion = MotionGatherer(self._settings.court.motion)
        wanted = self._measure_motion(motion, stretch, people, after)
        missing = [k for k in wanted if k not in floors]
        floors.update(zip(missing, self._floors([frames[k] for k in missing]), strict=True))
        tables = self._tables(stretch, floors, found)
        tables["motion"] = motion.table()
        width = self._settings.film.live.thumb_width_px
        with self._watch.part("shrinking pictures"):
            looked = tuple(
                LookedFrame(frame, frame.small(width), floors[k].probability if k in floors else None, people.get(k))
                for k, frame in enumerate(frames)
            )
        return Looked(looked, tables)

    def _floors(self, frames: list[Frame] | tuple[Frame, ...]) -> list[Floor]:
        if not frames:
            return []
        with self._watch.part("shrinking pictures"):
            pictures = [frame.small(AREAS_WIDTH_PX) for frame in frames]
        with self._watch.part("court network"):
            probabilities = self._areas.areas(pictures)
        with self._watch.part("floor marks"):
            marking = self._settings.court.marks
            return [Floor(p, floor_evidence(p, self._size_px, marking)) for p in probabilities]

    def _boxes(self, frames: list[Frame]) -> list[sv.Detections]:
        """What the detector sees, in pixels of the film."""
        with self._watch.part("shrinking pictures"):
            pictures = [frame.small(DETECTOR_WIDTH_PX) for frame in frames]
        with self._watch.part("detector"):
            found = self._detector.detect(pictures)
        for picture, boxes in zip(pictures, found, strict=True):
            scale = np.array(self._size_px) / [picture.shape[1], picture.shape[0]]
            boxes.xyxy = (boxes.xyxy * np.tile(scale, 2)).astype(np.float32)
        return found

    def _measure_motion(
        self,
        motion: MotionGatherer,
        stretch: Stretch,
        people: dict[int, np.ndarray],
        after: tuple[Frame, Floor] | None,
    ) -> list[int]:
        """Follow the picture through the frames that the detector saw; places where the floor should be looked at."""
        wanted = []
        with self._watch.part("picture motion"):
            for k in people:
                self._follow(motion, stretch.frames[k], people[k])
                if motion.wants_areas():
                    wanted.append(k)
            if after is not None and len(stretch.frames) - 1 in people:
                self._follow(motion, after[0], None)
        return wanted

    def _follow(self, motion: MotionGatherer, frame: Frame, people_px: np.ndarray | None) -> None:
        grey = cv2.cvtColor(frame.small(self._settings.court.motion.width_px), cv2.COLOR_BGR2GRAY)
        motion.look(np.asarray(grey, np.uint8), frame.index, frame.t_s, size_px=self._size_px, people_px=people_px)

    def _tables(
        self, stretch: Stretch, floors: dict[int, Floor], found: dict[int, sv.Detections]
    ) -> dict[str, pa.Table]:
        numbers = None if self._numbers is None else NumberGatherer(self._numbers, self._settings.numbers.reading)
        boxes, marks, areas = [BOXES.empty()], [MARKS.empty()], [AREAS.empty()]
        for k, frame in enumerate(stretch.frames):
            if k in floors:
                with self._watch.part("floor marks"):
                    marks.append(marks_table(floors[k].evidence.marks, frame=frame.index, t_s=frame.t_s, shot=0))
                    areas.append(areas_row(floors[k].evidence, self._size_px, frame=frame.index, t_s=frame.t_s, shot=0))
            if k in found and len(found[k]):
                with self._watch.part("shrinking pictures"):
                    picture = frame.quick()
                with self._watch.part("kit colours"):
                    boxes.append(boxes_table(picture, found[k], frame.index, frame.t_s))
                if numbers is not None:
                    with self._watch.part("jersey numbers"):
                        seen = found[k]
                        assert seen.class_id is not None
                        assert seen.confidence is not None
                        numbers.look(picture, frame.index, frame.t_s, seen.xyxy, seen.class_id, seen.confidence)
        rows = [{"frame": frame.index, "t_s": frame.t_s, "shot": 0} for frame in stretch.frames]
        return {
            "frames": FRAMES.from_rows(rows),
            "marks": pa.concat_tables(marks),
            "areas": pa.concat_tables(areas),
            "boxes": pa.concat_tables(boxes),
            "numbers_seen": NUMBERS_SEEN.empty() if numbers is None else numbers.table(),
        }


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
    shown = body_looks(picture, detections.xyxy[dressed])
    nothing = ~dressed
    across, away_ft = np.zeros(count, np.float32), np.zeros(count, np.float32)
    across[dressed], away_ft[dressed] = shown.across, shown.away_ft
    looks: list[np.ndarray | None] = [None] * count
    for row, look in zip(np.flatnonzero(dressed), shown.look, strict=True):
        looks[row] = look
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
            "look": looks,
            "stands_across": pa.array(across, mask=nothing),
            "stands_away_ft": pa.array(away_ft, mask=nothing),
        }
    )
