"""The vision pass: the film is decoded once, and everything that looks at pictures looks at them then.

Every frame goes, small, to the shot finder. The analysed frames (``analysed_frames_per_s``) are gathered into
stretches; the networks look at several stretches side by side (:mod:`pipeline.night.looking`), and what they saw is
put together in order of time.
"""

from __future__ import annotations

import os
import shutil
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import pyarrow as pa

from pipeline.court.area_network import AreaNetwork
from pipeline.court.tables import AREAS, MARKS, MOTION
from pipeline.film.decode import Decoding, Frame, Sampler, decode, grid_slots
from pipeline.film.evidence import EvidenceGatherer
from pipeline.film.score_bug import BugReader, scout
from pipeline.film.shots import FoundShots, ShotFinder
from pipeline.film.tables import BUG_READINGS, EVIDENCE, FRAMES
from pipeline.night.looking import Floor, Looked, Looker, Stopwatch, Stretch
from pipeline.night.stages import Progress
from pipeline.players.detector import Detector
from pipeline.players.jersey_numbers import NumberReader
from pipeline.players.tables import BOXES, NUMBERS_SEEN
from pipeline.settings import Settings

PARTS = (FRAMES, MARKS, AREAS, MOTION, BOXES, NUMBERS_SEEN, EVIDENCE, BUG_READINGS)
"""Tables that the pass fills."""


@dataclass(frozen=True, slots=True)
class Eyes:
    """What looks at the pictures, and how many stretches side by side. Without a reader of numbers none are read."""

    areas: AreaNetwork
    detector: Detector
    numbers: NumberReader | None = None
    side_by_side: int = 1


@dataclass(frozen=True, slots=True)
class Seen:
    """What the vision pass saw.

    Attributes
    ----------
    found : FoundShots
        The film's shots as far as pictures alone tell them.
    tables : dict of pa.Table
        By name, as their rooms declare them; the shot of every row is set.
    damage : str
        What was lost to damage, one sentence; empty when nothing was.
    """

    found: FoundShots
    tables: dict[str, pa.Table]
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
    film: Path,
    eyes: Eyes,
    settings: Settings,
    parts: SeenParts,
    progress: Progress,
    stopwatch: Stopwatch | None = None,
) -> Seen:
    """Decode a film once and run the shot finder and the networks over it.

    Parameters
    ----------
    film : Path
    eyes : Eyes
        The networks.
    settings : Settings
    parts : SeenParts
        Frames in it are not looked at again; what is looked at is added to it.
    progress : callable
        Called with seconds of film done and in all.
    stopwatch : Stopwatch, optional
        Is told what took how long.

    Raises
    ------
    FilmError
        If the film cannot be read to its end.
    """
    watch = stopwatch or Stopwatch()
    frames = decode(film, settings=settings.film.decode)
    size_px = (frames.info.width_px, frames.info.height_px)
    finder = ShotFinder(settings.film.shots)
    looker = Looker(eyes.areas, eyes.detector, eyes.numbers, settings, size_px, watch)

    def find_bug() -> BugReader:
        with watch.part("score graphic"):
            return BugReader(scout(film, frames.info, settings.film.bug), settings.film.bug)

    with _one_opencv_thread(), ThreadPoolExecutor(1, "bug") as beside:
        gatherer = _Gatherer(parts, beside.submit(find_bug), settings, size_px, watch)
        with _Line(looker, gatherer.take, eyes.side_by_side) as line:
            _feed(frames, finder, line, gatherer, settings, parts.frames(), progress, watch)
    progress(frames.info.duration_s, frames.info.duration_s)
    with watch.part("shots"):
        found = finder.finish(frames.info.duration_s)
    starts = np.array([boundary.t_s for boundary in found.boundaries])
    tables = {name: _with_shots(table, starts) for name, table in parts.read().items()}
    return Seen(found, tables, damage=_damage(frames))


def _feed(
    frames: Decoding,
    finder: ShotFinder,
    line: _Line,
    gatherer: _Gatherer,
    settings: Settings,
    done: set[int],
    progress: Progress,
    watch: Stopwatch,
) -> None:
    """Decode the film and hand its frames on, until everything has come out at the other end."""
    stretches = _Stretches(frames.info.times_s, settings, done, line.add)
    for frame in _timed(frames, watch):
        with watch.part("shots"):
            finder.feed(frame.index, frame.t_s, frame.small(settings.film.shots.width_px))
        stretches.take(frame)
        progress(frame.t_s, frames.info.duration_s)
    stretches.finish()
    line.finish()
    gatherer.finish()


def _damage(frames: Decoding) -> str:
    report = frames.report
    return report.sentence() if report.delivered < report.expected else ""


def _timed(frames: Iterator[Frame], watch: Stopwatch) -> Iterator[Frame]:
    while True:
        with watch.part("decoding"):
            frame = next(frames, None)
        if frame is None:
            return
        yield frame


@contextmanager
def _one_opencv_thread() -> Iterator[None]:
    """The stretches keep the cores busy; OpenCV's own threads would only stand in their way."""
    before = cv2.getNumThreads()
    cv2.setNumThreads(1)
    try:
        yield
    finally:
        cv2.setNumThreads(before)


class _Stretches:
    """Puts the analysed frames together to stretches on a grid of time that does not depend on where a run begins."""

    def __init__(
        self, times_s: np.ndarray, settings: Settings, done: set[int], give: Callable[[Stretch], None]
    ) -> None:
        every_s = 1 / settings.night.analysed_frames_per_s
        self._slots = grid_slots(times_s, every_s)
        self._sampler = Sampler(times_s, every_s)
        self._of_step = settings.court.motion.areas_every
        self._of_stretch = self._of_step * max(1, round(settings.night.stretch_s / every_s / self._of_step))
        self._done, self._give = done, give
        self._number = 0
        self._frames: list[Frame] = []

    def take(self, frame: Frame) -> None:
        """Take the next frame of the film."""
        if not self._sampler.takes(frame.index) or frame.index in self._done:
            return
        number = int(self._slots[frame.index]) // self._of_stretch
        if number != self._number:
            self.finish()
        self._number = number
        self._frames.append(frame)

    def finish(self) -> None:
        """Give what is there."""
        if self._frames:
            steps = tuple(int(self._slots[frame.index]) // self._of_step for frame in self._frames)
            self._give(Stretch(self._number, tuple(self._frames), steps))
        self._frames = []


class _Line:
    """Stretches go in, are looked at side by side, and come out in order, no more than a few at a time.

    A stretch is looked at once the next one has been scouted. Jobs begin in the order in which they were handed in, so
    a look never waits for a scout that has not begun.
    """

    def __init__(self, looker: Looker, gather: Callable[[Looked], None], workers: int) -> None:
        self._looker, self._gather, self._workers = looker, gather, workers
        self._before: tuple[Stretch, Future[list[Floor]]] | None = None
        self._waiting: deque[Future[None]] = deque()
        self._lookers = ThreadPoolExecutor(workers, thread_name_prefix="look")
        self._gatherers = ThreadPoolExecutor(1, thread_name_prefix="gather")

    def __enter__(self) -> _Line:
        return self

    def __exit__(self, *_: object) -> None:
        self._lookers.shutdown(cancel_futures=True)
        self._gatherers.shutdown(cancel_futures=True)

    def add(self, stretch: Stretch) -> None:
        """Hand in the next stretch; waits while too many are under way."""
        scouted = self._lookers.submit(self._looker.scout, stretch)
        self._look((stretch, scouted))
        self._before = (stretch, scouted)
        while len(self._waiting) > self._workers:
            self._waiting.popleft().result()

    def finish(self) -> None:
        """Wait until everything has come out."""
        self._look(None)
        self._before = None
        while self._waiting:
            self._waiting.popleft().result()

    def _look(self, after: tuple[Stretch, Future[list[Floor]]] | None) -> None:
        if self._before is None:
            return
        stretch, scouted = self._before

        def look() -> Looked:
            return self._looker.look(
                stretch, scouted.result(), None if after is None else (after[0].frames[0], after[1].result()[0])
            )

        looked = self._lookers.submit(look)
        self._waiting.append(self._gatherers.submit(lambda: self._gather(looked.result())))


class _Gatherer:
    """Puts what was seen together in order of time, and on disk now and then."""

    def __init__(
        self, parts: SeenParts, bug: Future[BugReader], settings: Settings, size_px: tuple[int, int], watch: Stopwatch
    ) -> None:
        self._parts, self._bug, self._size_px, self._watch = parts, bug, size_px, watch
        self._live, self._most = settings.film.live, settings.night.part_frames
        self._evidence = EvidenceGatherer(self._live)
        self._tables: list[dict[str, pa.Table]] = []
        self._count = 0

    def take(self, looked: Looked) -> None:
        """Take the next stretch."""
        bug = self._bug.result()
        for seen in looked.frames:
            frame = seen.frame
            with self._watch.part("evidence of live play"):
                self._evidence.add(
                    frame.index,
                    frame.t_s,
                    seen.thumb,
                    areas=seen.areas,
                    people_px=seen.people_px,
                    picture_size_px=self._size_px,
                )
            if bug.wants(frame.t_s):
                with self._watch.part("score graphic"):
                    bug.look(frame.image, frame.index, frame.t_s)
        self._tables.append(looked.tables)
        self._count += len(looked.frames)
        if self._count >= self._most:
            self.finish()

    def finish(self) -> None:
        """Put what is there on disk."""
        if not self._count:
            return
        gathered = {name: pa.concat_tables(t[name] for t in self._tables) for name in self._tables[0]}
        bug = self._bug.result()
        gathered["evidence"], gathered["bug_readings"] = self._evidence.table(), bug.table()
        self._parts.add(gathered)
        bug.clear()
        self._evidence = EvidenceGatherer(self._live)
        self._tables, self._count = [], 0


def _shots(times_s: np.ndarray, starts_s: np.ndarray) -> np.ndarray:
    """Shot of each time: the last that starts at or before it."""
    return np.maximum(np.searchsorted(starts_s, times_s + 1e-9, side="right") - 1, 0).astype(np.int32)


def _with_shots(table: pa.Table, starts_s: np.ndarray) -> pa.Table:
    if "shot" not in table.schema.names:
        return table
    shots = pa.array(_shots(table["t_s"].to_numpy(), starts_s), pa.int32())
    return table.set_column(table.schema.get_field_index("shot"), table.schema.field("shot"), shots)
