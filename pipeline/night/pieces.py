"""Looking at a run of pieces of a film: the part of the vision pass that one process does.

A film is cut into pieces on a grid of its time (``night.piece_s``), whole stretches each. What is seen in a piece
depends on the piece and the frame after it only, so a film gives the same tables whether one process goes through it
from its first frame to its last or many take runs of pieces, in any order. Every frame goes, small, to the shot
finder; the analysed frames are gathered into stretches that are looked at side by side
(:mod:`pipeline.night.looking`), and what was seen in a piece is put on disk when the piece is done.
"""

from __future__ import annotations

import io
import os
import pickle
import shutil
import zipfile
import zlib
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
import pyarrow as pa

from pipeline.court.area_network import AreaNetwork
from pipeline.court.tables import AREAS, MARKS, MOTION
from pipeline.errors import LibraryError
from pipeline.film.decode import Damage, Decoding, Frame, Sampler, decode, grid_slots
from pipeline.film.evidence import EvidenceGatherer
from pipeline.film.probe import FilmInfo
from pipeline.film.score_bug import BugLayout, BugReader
from pipeline.film.shots import ShotFinder, ShotSigns, needed_after_s, needed_before_s, tested_frames
from pipeline.film.tables import BUG_READINGS, EVIDENCE, FRAMES
from pipeline.night.looking import Floor, Looked, Looker, Stopwatch, Stretch
from pipeline.night.units import make_units
from pipeline.players.detector import Detector
from pipeline.players.jersey_numbers import NumberReader
from pipeline.players.tables import BOXES, NUMBERS_SEEN
from pipeline.settings import Settings
from pipeline.user_files import shown
from pipeline.whole_files import rename_whole, temporary_of, write_whole

PARTS = (FRAMES, MARKS, AREAS, MOTION, BOXES, NUMBERS_SEEN, EVIDENCE, BUG_READINGS)
"""Tables that the pass fills."""

LONGEST_AFTER_S = 0.5
"""The frame after a stretch is looked at with it unless it comes later than this (or than half a step of the analysed
frames more than one)."""


@dataclass(frozen=True, slots=True)
class Eyes:
    """What looks at the pictures, and how many stretches side by side. Without a reader of numbers none are read."""

    areas: AreaNetwork
    detector: Detector
    numbers: NumberReader | None = None
    side_by_side: int = 1


@dataclass(frozen=True, slots=True, eq=False)
class PieceSigns:
    """What was noted of every frame of a piece, also of those that the networks do not look at.

    Attributes
    ----------
    signs : ShotSigns
        Of shots.
    fates : ndarray of shape (N,), uint8
        What became of each of its frames (`pipeline.film.decode`).
    """

    signs: ShotSigns
    fates: np.ndarray


class SeenParts:
    """The pieces that a vision pass has seen so far, on disk, so that a killed run need not look at them again.

    A piece is there when its tables (``part-N``) and its signs (``signs-N.npz``) are; both are made under temporary
    names, brought to the disk, and renamed.

    Parameters
    ----------
    folder : Path
        Made, in a game that is there, when the first piece is written.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def looked_at(self) -> frozenset[int]:
        """Numbers of the pieces whose tables are there."""
        return frozenset(self._numbers("part-*"))

    def done(self) -> frozenset[int]:
        """Numbers of the pieces of which everything is there."""
        return self.looked_at() & frozenset(self._numbers("signs-*.npz"))

    def add(self, number: int, tables: dict[str, pa.Table]) -> None:
        """Keep what was seen in one piece."""
        make_units(self.folder)
        piece = self.folder / f"part-{number:06d}"
        unfinished = temporary_of(piece)
        shutil.rmtree(unfinished, ignore_errors=True)
        unfinished.mkdir()
        try:
            for spec in PARTS:
                os.replace(spec.write_aside(tables[spec.name], unfinished), spec.path(unfinished))
            with suppress(FileExistsError):  # the worker of a killed run was a moment longer at it: the same is there
                rename_whole(unfinished, piece)
        finally:
            shutil.rmtree(unfinished, ignore_errors=True)

    def add_signs(self, number: int, noted: PieceSigns) -> None:
        """Keep what was noted of one piece's frames."""
        make_units(self.folder)
        content = io.BytesIO()
        np.savez_compressed(content, allow_pickle=False, fates=noted.fates, **noted.signs.arrays())
        write_whole(self.folder / f"signs-{number:06d}.npz", content.getvalue())

    def read(self) -> dict[str, pa.Table]:
        """All pieces in order of time, by table name.

        Raises
        ------
        LibraryError
            If one has been spoiled since it was written; it is taken away, so that the next run looks at it again.
        """
        pieces = [self.folder / f"part-{number:06d}" for number in sorted(self.looked_at())]
        found: dict[str, list[pa.Table]] = {spec.name: [spec.empty()] for spec in PARTS}
        for piece in pieces:
            for spec in PARTS:
                with _taken_away(piece):
                    found[spec.name].append(spec.read(piece))
        return {name: _by_frame(pa.concat_tables(tables)) for name, tables in found.items()}

    def read_signs(self) -> list[PieceSigns]:
        """The signs of all pieces in order of time."""
        return [self._read_signs(number) for number in sorted(self._numbers("signs-*.npz"))]

    def _read_signs(self, number: int) -> PieceSigns:
        path = self.folder / f"signs-{number:06d}.npz"
        with _taken_away(path), np.load(io.BytesIO(path.read_bytes()), allow_pickle=False) as arrays:
            return PieceSigns(ShotSigns.of_arrays(arrays), arrays["fates"])

    def _numbers(self, pattern: str) -> list[int]:
        found = self.folder.glob(pattern) if self.folder.is_dir() else ()
        names = [path.name.partition("-")[2].removesuffix(".npz") for path in found]
        return [int(name) for name in names if name.isdecimal()]


def _by_frame(table: pa.Table) -> pa.Table:
    """A table's rows in the order of frames, in which they mostly are already."""
    frames = table["frame"].to_numpy()
    return table.sort_by("frame") if np.any(frames[1:] < frames[:-1]) else table


@contextmanager
def _taken_away(piece: Path) -> Iterator[None]:
    """Take a piece away that turns out to be spoiled."""
    try:
        yield
    except (LibraryError, ValueError, KeyError, zipfile.BadZipFile, zlib.error) as error:
        if getattr(error.__cause__, "errno", None) is not None:
            raise  # the disk or share is away: the piece may be whole
        shutil.rmtree(piece) if piece.is_dir() else piece.unlink(missing_ok=True)
        raise LibraryError(
            f"{piece}, a piece of film that was seen, is spoiled ({shown(str(error))}) and has been taken away: run "
            "the film again, only this piece is looked at anew; and have a look at the disk."
        ) from error


@dataclass(frozen=True, slots=True)
class Grid:
    """A film's grid of time: steps of the analysed frames, stretches of steps, pieces of stretches.

    Attributes
    ----------
    every_s : float
        From one analysed frame to the next.
    of_step, of_stretch, of_piece : int
        Analysed frames in each.
    """

    every_s: float
    of_step: int
    of_stretch: int
    of_piece: int

    @classmethod
    def of(cls, settings: Settings) -> Grid:
        """The grid that settings ask for."""
        every_s, of_step = 1 / settings.night.analysed_frames_per_s, settings.court.motion.areas_every
        of_stretch = of_step * max(1, round(settings.night.stretch_s / every_s / of_step))
        of_piece = of_stretch * max(1, round(settings.night.piece_s / every_s / of_stretch))
        return cls(every_s, of_step, of_stretch, of_piece)

    @property
    def piece_s(self) -> float:
        """Length of a piece."""
        return self.of_piece * self.every_s

    def pieces(self, info: FilmInfo) -> int:
        """How many pieces a film has."""
        return int(grid_slots(info.times_s[-1:], self.every_s)[0]) // self.of_piece + 1

    def with_frames(self, info: FilmInfo) -> frozenset[int]:
        """The pieces in which there is a frame; a film whose times jump has others."""
        return frozenset(np.unique(grid_slots(info.times_s, self.every_s) // self.of_piece).tolist())


@dataclass(frozen=True, slots=True)
class Run:
    """A run of pieces for one process to look at, ``first`` up to but not including ``stop``."""

    film: Path
    settings: Settings
    first: int
    stop: int
    folder: Path


@dataclass(frozen=True, slots=True)
class Errand:
    """A run for a worker process: what it needs, all of it pickled.

    Attributes
    ----------
    run : Run
    networks : bytes
        Pickled callable that opens the networks; a worker opens them once.
    bug : BugLayout or None
        The film's score graphic.
    """

    run: Run
    networks: bytes
    bug: BugLayout | None


def see_errand(errand: Errand) -> dict[str, float]:
    """Look at a run in a worker process; what took how long."""
    bug: Future[BugReader] = Future()
    bug.set_result(BugReader(errand.bug, errand.run.settings.film.bug))
    watch = Stopwatch()
    see_run(errand.run, _opened(errand.networks), bug, lambda _done_s: None, watch)
    return watch.seconds


def open_eyes(networks: bytes) -> None:
    """Open the networks in a worker process ahead of its first errand."""
    _opened(networks)


@lru_cache(maxsize=1)
def _opened(networks: bytes) -> Eyes:
    eyes = pickle.loads(networks)()
    assert isinstance(eyes, Eyes)
    return eyes


def see_run(run: Run, eyes: Eyes, bug: Future[BugReader], progress: Callable[[float], None], watch: Stopwatch) -> None:
    """Decode a run of pieces once, and run the shot finder and the networks over it.

    Parameters
    ----------
    run : Run
        What comes of it goes into its folder. Pieces whose tables lie there are not looked at again.
    eyes : Eyes
    bug : future of a BugReader
        It is waited for when the first stretch has been looked at.
    progress : callable
        Called with the time of every frame.
    watch : Stopwatch

    Raises
    ------
    FilmError
        If the film cannot be read.
    """
    settings, grid = run.settings, Grid.of(run.settings)
    shots = settings.film.shots
    begin_s, end_s = run.first * grid.piece_s, run.stop * grid.piece_s
    frames = decode(
        run.film,
        start_s=begin_s - needed_before_s(shots),
        end_s=end_s + max(needed_after_s(shots), _longest_after_s(grid) + 0.1),
        settings=settings.film.decode,
        damage=Damage.COUNTED,
    )
    times_s, size_px = frames.info.times_s, (frames.info.width_px, frames.info.height_px)
    finder = ShotFinder(shots, tested_frames(times_s, shots))
    looker = Looker(eyes.areas, eyes.detector, eyes.numbers, settings, size_px, watch)
    parts = SeenParts(run.folder)
    noting = _Noting(parts, finder, frames, run, grid)
    gatherer = _Gatherer(parts, bug, settings, size_px, watch)
    with _one_opencv_thread(), _Line(looker, gatherer, eyes.side_by_side, _longest_after_s(grid)) as line:
        wanted = frozenset(range(run.first, run.stop)) - parts.looked_at()
        stretches = _Stretches(times_s, grid, wanted, line)
        for frame in _timed(frames, watch):
            with watch.part("shots"):
                finder.feed(frame.index, frame.t_s, frame.small(shots.width_px))
            stretches.take(frame)
            noting.passed(frame.t_s)
            progress(frame.t_s)
        stretches.finish()
        line.finish()
        noting.finish()


class _Noting:
    """Puts what was noted of a piece's frames on disk as soon as the frames have come on which it depends."""

    def __init__(self, parts: SeenParts, finder: ShotFinder, frames: Decoding, run: Run, grid: Grid) -> None:
        self._parts, self._finder, self._frames = parts, finder, frames
        self._run, self._grid = run, grid
        self._after_s = needed_after_s(run.settings.film.shots)
        self._next = run.first

    def passed(self, t_s: float) -> None:
        """The film has been decoded up to this time."""
        while self._next < self._run.stop and t_s >= (self._next + 1) * self._grid.piece_s + self._after_s:
            self._note(self._finder.settled_signs)

    def finish(self) -> None:
        """The run has been decoded to its end."""
        while self._next < self._run.stop:
            self._note(self._finder.signs)

    def _note(self, signs: Callable[[int, int | None], ShotSigns]) -> None:
        bounds_s = np.array([self._next, self._next + 1]) * self._grid.piece_s
        first, stop = (int(n) for n in np.searchsorted(self._frames.info.times_s, bounds_s - 1e-6))
        self._parts.add_signs(self._next, PieceSigns(signs(first, stop), self._frames.fates(first, stop)))
        self._next += 1


def _longest_after_s(grid: Grid) -> float:
    return max(LONGEST_AFTER_S, 1.5 * grid.every_s)


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
    """Puts the analysed frames of the wanted pieces together to stretches, and hands them to the line.

    The film's frames must come without a gap but for damage; the first after a wanted piece is looked at with it.
    """

    def __init__(self, times_s: np.ndarray, grid: Grid, wanted: frozenset[int], line: _Line) -> None:
        self._slots = grid_slots(times_s, grid.every_s)
        self._sampler = Sampler(times_s, grid.every_s)
        self._grid, self._wanted, self._line = grid, wanted, line
        self._number = -1
        self._frames: list[Frame] = []

    def take(self, frame: Frame) -> None:
        """Take the next frame of the film."""
        if not self._sampler.takes(frame.index):
            return
        slot = int(self._slots[frame.index])
        number = slot // self._grid.of_stretch
        if number != self._number:
            self.finish()
        self._number = number
        if slot // self._grid.of_piece in self._wanted:
            self._frames.append(frame)
        else:
            self._line.end(frame)

    def finish(self) -> None:
        """Give what is there."""
        if self._frames:
            steps = tuple(int(self._slots[frame.index]) // self._grid.of_step for frame in self._frames)
            piece = int(self._slots[self._frames[0].index]) // self._grid.of_piece
            self._line.add(Stretch(self._number, tuple(self._frames), steps, piece))
        self._frames = []


class _Line:
    """Stretches go in, are looked at side by side, and come out in order, no more than a few at a time.

    A stretch is looked at once the next one, or the frame after it, has been scouted. Jobs begin in the order in which
    they were handed in, so a look never waits for a scout that has not begun.
    """

    def __init__(self, looker: Looker, gatherer: _Gatherer, workers: int, longest_after_s: float) -> None:
        self._looker, self._gatherer, self._workers = looker, gatherer, workers
        self._longest_after_s = longest_after_s
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

    def end(self, after: Frame | None) -> None:
        """What was handed in is followed by a frame that is not to be looked at itself, or by nothing."""
        if self._before is None:
            return
        lone = None if after is None else Stretch(-1, (after,), (0,))
        self._look(None if lone is None else (lone, self._lookers.submit(self._looker.scout, lone)))
        self._before = None

    def finish(self) -> None:
        """Wait until everything has come out."""
        self.end(None)
        while self._waiting:
            self._waiting.popleft().result()

    def _look(self, after: tuple[Stretch, Future[list[Floor]]] | None) -> None:
        if self._before is None:
            return
        stretch, scouted = self._before
        ends_piece = after is None or after[0].piece != stretch.piece
        if after is not None and after[0].frames[0].t_s - stretch.frames[-1].t_s > self._longest_after_s:
            after = None

        def look() -> Looked:
            return self._looker.look(
                stretch, scouted.result(), None if after is None else (after[0].frames[0], after[1].result()[0])
            )

        def gather() -> None:
            self._gatherer.take(looked.result())
            if ends_piece:
                self._gatherer.finish(stretch.piece)

        looked = self._lookers.submit(look)
        self._waiting.append(self._gatherers.submit(gather))


class _Gatherer:
    """Puts what was seen together in order of time, and every piece on disk."""

    def __init__(
        self, parts: SeenParts, bug: Future[BugReader], settings: Settings, size_px: tuple[int, int], watch: Stopwatch
    ) -> None:
        self._parts, self._bug, self._size_px, self._watch = parts, bug, size_px, watch
        self._live = settings.film.live
        self._evidence = EvidenceGatherer(self._live)
        self._tables: list[dict[str, pa.Table]] = []

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

    def finish(self, piece: int) -> None:
        """Put what was taken on disk: a whole piece."""
        gathered = {name: pa.concat_tables(t[name] for t in self._tables) for name in self._tables[0]}
        bug = self._bug.result()
        gathered["evidence"], gathered["bug_readings"] = self._evidence.table(), bug.table()
        self._parts.add(piece, gathered)
        bug.restart()
        self._evidence = EvidenceGatherer(self._live)
        self._tables = []
