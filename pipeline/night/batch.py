"""A night: every film of a folder through all stages into a library, unattended.

Films are run one after the other, each in a process of its own that uses the machine as far as it pays; a film that
fails is told and passed over, what may pass is tried again at the end of the queue. The night's record
(:mod:`pipeline.library.nights`) is renewed every second, so that another terminal and the pages can follow.
"""

from __future__ import annotations

import os
import shutil
import signal
import socket
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path
from types import FrameType

from filelock import FileLock, Timeout

from pipeline.errors import FilmError, LibraryError
from pipeline.film.probe import refuse_unsayable_name
from pipeline.library.games import NIGHTS, Library
from pipeline.library.nights import (
    LOG,
    PAGE,
    RECORD,
    FilmNight,
    FilmState,
    Night,
    changed,
    new_stamp,
    newest_night,
    night_folder,
    write_night,
)
from pipeline.night.film_process import At, Ended, Open, Outcome, film_process
from pipeline.night.films import FilmFile, Settling, films_in
from pipeline.night.night_screen import minutes
from pipeline.night.notifying import notify
from pipeline.night.orders import Orders, Watching
from pipeline.settings import Settings
from pipeline.user_files import one_line, sayable

STAGE_SHARES = {"film": 0.8, "clock": 0.01, "court": 0.08, "players": 0.05, "ball": 0.03, "actions": 0.01, "sets": 0.01}
"""How a film's work falls on its stages, roughly (measured on two cores); what is left is the last stage's. Only the
time that is left is guessed from it."""

MAY_PASS = frozenset({Outcome.DISK, Outcome.LOST})
"""Ends after which the same film may go through when it is tried again."""

BEAT_S = 1.0


class _End(StrEnum):
    THROUGH = "through"
    UNTIL = "until"
    SIGNAL = "signal"
    NO_ROOM = "no room"


def run_night(
    orders: Orders,
    library: Library,
    settings: Settings,
    networks: Open,
    *,
    show: Callable[[Night], None],
    say: Callable[[str], None],
    write_page: Callable[[Library, Night, Path], None],
) -> Night:
    """Run every film of a folder; returns the night's record when it has ended.

    Parameters
    ----------
    orders : Orders
    library : Library
        Made when it is not there. A second night on it is refused.
    settings : Settings
    networks : callable
        See :class:`~pipeline.night.film_process.FilmProcess`.
    show : callable
        Called with the record whenever it has changed.
    say : callable
        Called with every line of the log.
    write_page : callable
        Writes the morning's page to a path.

    Raises
    ------
    FilmError
        If the folder cannot be read.
    LibraryError
        If another night works on the library, or it cannot be written.
    """
    films_in(orders.folder, settings.night.film_endings, outside=library.root)
    with _alone(library):
        running = _Running(orders, library, settings, networks, show, say)
        with _signals(running):
            end = running.work()
        night = running.ended(end)
        _write_page(write_page, library, night, running)
        notify(settings.night.notify, night_folder(library, night.stamp) / RECORD, running.log)
    return night


@dataclass(slots=True)
class _Item:
    """A film in the queue."""

    file: FilmFile
    tries: int = 0
    not_before_s: float = 0.0
    settings: Settings | None = None


@dataclass(slots=True)
class _Running:
    """A night while it runs."""

    orders: Orders
    library: Library
    settings: Settings
    networks: Open
    show: Callable[[Night], None]
    say: Callable[[str], None]
    night: Night = field(init=False)
    signalled: bool = False
    _settling: Settling = field(init=False)
    _queue: list[_Item] = field(init=False, default_factory=list)
    _seen: dict[Path, FilmFile] = field(init=False, default_factory=dict)
    _beat_s: float = field(init=False, default=0.0)
    _said_copying: set[Path] = field(init=False, default_factory=set)

    def __post_init__(self) -> None:
        now = datetime.now(UTC)
        self._settling = Settling(self.settings.night.settle_s)
        self.night = Night(
            stamp=new_stamp(self.library, now),
            folder=str(self.orders.folder.resolve()),
            process=os.getpid(),
            host=socket.gethostname(),
            began=now,
            beat=now,
            until=None if self.orders.until is None else self.orders.until.astimezone(UTC),
        )
        try:
            write_night(self.library, self.night)
        except OSError as error:
            raise LibraryError(f"{self.library.root} cannot be written ({error.strerror}); check the path.") from error
        until = "" if self.orders.until is None else f", until {self.orders.until:%H:%M}"
        self.log(f"The night begins: {self.night.folder}{until}.")

    def work(self) -> _End:
        """Run films until there are none left, or until it has to end."""
        while True:
            if (end := self._must_end()) is not None:
                return end
            copying = self._look_for_films()
            item = self._next()
            if item is not None:
                end = self._run(item)
                if end is not None:
                    return end
                continue
            if not (self._queue or copying or self.orders.watching is Watching.ON):
                return _End.THROUGH
            idle = not (self._queue or copying)
            self._wait(self.settings.night.watch_s if idle else min(1.0, max(0.05, self.settings.night.settle_s / 4)))

    def ended(self, end: _End) -> Night:
        """Close the record."""
        now = datetime.now(UTC)
        left = self.night.count(FilmState.WAITING) + self.night.count(FilmState.COPYING)
        failed, done = self.night.count(FilmState.FAILED), self.night.count(FilmState.DONE)
        why = {
            _End.THROUGH: "Every film is through",
            _End.UNTIL: "The time is up",
            _End.SIGNAL: "It was ended by hand",
            _End.NO_ROOM: f"The library's disk has less than {self.settings.night.least_free_gb:g} GB left: make room",
        }[end]
        stopped = self.night.count(FilmState.STOPPED)
        parts = [f"{done} done", f"{failed} failed"]
        parts += [f"{stopped} stopped on the way"] if stopped else []
        parts += [f"{left} not begun"] if left else []
        self.night = self.night.model_copy(
            update={"ended": now, "beat": now, "sentence": f"{why}: {', '.join(parts)}."}
        )
        write_night(self.library, self.night)
        self.show(self.night)
        self.log(self.night.sentence)
        return self.night

    def log(self, line: str) -> None:
        """Add a line to the log."""
        stamped = f"{datetime.now().astimezone():%H:%M:%S} {one_line(line)}"
        with (night_folder(self.library, self.night.stamp) / LOG).open("a", encoding="utf-8") as log:
            log.write(stamped + "\n")
        self.say(stamped)

    def _must_end(self) -> _End | None:
        if self.signalled:
            return _End.SIGNAL
        if self.orders.until is not None and datetime.now(UTC) >= self.orders.until:
            return _End.UNTIL
        if shutil.disk_usage(self.library.root).free < self.settings.night.least_free_gb * 1e9:
            return _End.NO_ROOM
        return None

    def _look_for_films(self) -> int:
        """Take whole films into the queue; returns how many are still being copied."""
        copying = 0
        night = self.settings.night
        for film in films_in(self.orders.folder, night.film_endings, outside=self.library.root):
            if self._seen.get(film.path) == film:
                continue
            if self._settling.is_whole(film, time.monotonic()):
                self._seen[film.path] = film
                if not self._can_be_named(film):
                    continue
                self._queue = [item for item in self._queue if item.file.path != film.path]
                self._queue.append(_Item(film))
                self._note(self._told(film, FilmState.WAITING))
            else:
                copying += 1
                if film.path not in self._said_copying and night.settle_s > 0:
                    self._said_copying.add(film.path)
                    self._note(self._told(film, FilmState.COPYING))
        self._beat()
        return copying

    def _can_be_named(self, film: FilmFile) -> bool:
        """Whether a film's name can be written down; one whose name cannot has failed."""
        try:
            refuse_unsayable_name(film.path)
        except FilmError as error:
            self._note(self._told(film, FilmState.FAILED).model_copy(update={"sentence": str(error)}))
            self.log(str(error))
            return False
        return True

    def _next(self) -> _Item | None:
        """The first film whose turn it is."""
        now_s = time.monotonic()
        ready = next((item for item in self._queue if item.not_before_s <= now_s), None)
        if ready is not None:
            self._queue.remove(ready)
        return ready

    def _run(self, item: _Item) -> _End | None:
        """Run a film; what ends the night with it, if anything."""
        began_s, path = time.monotonic(), item.file.path
        told = self._film(path)
        before_s = told.seconds
        item.tries += 1
        self._note(told.model_copy(update={"state": FilmState.RUNNING, "tries": item.tries, "sentence": ""}))
        self.log(f"{path.name} begins{f', try {item.tries}' if item.tries > 1 else ''}.")
        ended, end = None, None
        with film_process(path, self.library.root, item.settings or self.settings, self.networks) as process:
            for heard in process.listen():
                seconds = before_s + time.monotonic() - began_s
                if isinstance(heard, Ended):
                    ended = heard
                    break
                if isinstance(heard, At):
                    self._at(path, heard, seconds)
                self._beat(seconds=seconds, path=path)
                end = self._must_end()
                if end is not None:
                    ended = Ended(Outcome.STOPPED, "Stopped on the way; the next night goes on there.")
                    break
        assert ended is not None, "a film's process says how it ended"
        self._close(item, ended, before_s + time.monotonic() - began_s)
        return end

    def _at(self, path: Path, heard: At, seconds: float) -> None:
        told = self._film(path)
        stages = list(STAGE_SHARES)
        before = (
            sum(STAGE_SHARES[name] for name in stages[: stages.index(heard.stage)]) if heard.stage in stages else 0.99
        )
        share = min(1.0, before + heard.share * STAGE_SHARES.get(heard.stage, 0.01))
        tenth = int(share * 10) > int(told.share * 10)
        if heard.stage != told.stage or tenth:
            left_s = self.night.left_s(datetime.now(UTC))
            left = "" if left_s is None else f", about {minutes(left_s)} to go in all"
            self.log(f"{path.name}: {heard.stage}, {100 * share:.0f} %{left}")
        update = {"stage": heard.stage, "share": max(share, told.share), "seconds": seconds}
        self._note(told.model_copy(update=update), write=tenth or heard.stage != told.stage)

    def _close(self, item: _Item, ended: Ended, seconds: float) -> None:
        """Write down how a film ended, and put it back into the queue if it may pass."""
        told = self._film(item.file.path)
        again = ended.outcome in MAY_PASS and item.tries < self.settings.night.tries
        if ended.outcome is Outcome.REFUSED and self._has_changed(item.file):
            again, ended = True, Ended(Outcome.DISK, "Its file changed while it was read; it is looked at again.")
        state = {Outcome.DONE: FilmState.DONE, Outcome.STOPPED: FilmState.STOPPED}.get(ended.outcome, FilmState.FAILED)
        state = FilmState.WAITING if again else state
        share = {FilmState.DONE: 1.0}.get(state, told.share)
        update = {"state": state, "sentence": ended.sentence, "seconds": seconds, "share": share}
        update |= {"game": ended.game} if ended.game is not None else {}
        self._note(told.model_copy(update=update))
        for line in ended.trace.rstrip().splitlines():
            self.log(line)
        became = "is put back" if again else state.value
        self.log(f"{item.file.path.name} {became} after {minutes(seconds)}: {ended.sentence}")
        if not again:
            return
        if ended.outcome is Outcome.LOST:
            night = self.settings.night.model_copy(update={"workers": 1})
            item.settings = self.settings.model_copy(update={"night": night})
        item.not_before_s = time.monotonic() + (0.0 if self._at_hand(item.file) else self.settings.night.retry_wait_s)
        self._queue.append(item)

    def _has_changed(self, film: FilmFile) -> bool:
        """Whether a film's file is another than it was when it was taken for whole."""
        try:
            told = film.path.stat()
        except OSError:
            return True
        if (told.st_size, told.st_mtime_ns) == (film.size_bytes, film.changed_ns):
            return False
        self._seen.pop(film.path, None)  # it comes again when it has settled
        return True

    @staticmethod
    def _at_hand(film: FilmFile) -> bool:
        """Whether a film's file can be read from its first to its last byte's places."""
        try:
            with film.path.open("rb") as stream:
                stream.read(1)
                stream.seek(max(0, film.size_bytes - 1))
                return bool(stream.read(1)) or film.size_bytes == 0
        except OSError:
            return False

    def _wait(self, seconds: float) -> None:
        until_s = time.monotonic() + seconds
        while time.monotonic() < until_s and self._must_end() is None:
            self._beat()
            time.sleep(min(0.2, max(0.0, until_s - time.monotonic())))

    def _film(self, path: Path) -> FilmNight:
        return next(film for film in self.night.films if film.film == str(path))

    def _told(self, film: FilmFile, state: FilmState) -> FilmNight:
        name = sayable(film.path)
        known = next((one for one in self.night.films if one.film == name), None)
        fresh = FilmNight(film=name, size_bytes=film.size_bytes, state=state)
        return fresh if known is None else fresh.model_copy(update={"seconds": known.seconds, "game": known.game})

    def _note(self, film: FilmNight, *, write: bool = True) -> None:
        """Put a film's line into the record."""
        known = any(one.film == film.film for one in self.night.films)
        films = changed(self.night.films, film) if known else (*self.night.films, film)
        self.night = self.night.model_copy(update={"films": films})
        if write:
            self._write()

    def _beat(self, *, seconds: float | None = None, path: Path | None = None) -> None:
        if time.monotonic() - self._beat_s < BEAT_S:
            return
        if path is not None:
            self._note(self._film(path).model_copy(update={"seconds": seconds}), write=False)
        self._write()

    def _write(self) -> None:
        self._beat_s = time.monotonic()
        self.night = self.night.model_copy(update={"beat": datetime.now(UTC)})
        write_night(self.library, self.night)
        self.show(self.night)


@contextmanager
def _alone(library: Library) -> Iterator[None]:
    """Keep other nights off a library."""
    folder = library.root / NIGHTS
    try:
        folder.mkdir(parents=True, exist_ok=True)
        lock = FileLock(folder / ".lock", timeout=0)
        lock.acquire()
    except Timeout as error:
        other = newest_night(library)
        who = (
            ""
            if other is None
            else f" (process {other.process} on {other.host}, since {other.began.astimezone():%H:%M})"
        )
        raise LibraryError(
            f"Another night works on the library {library.root}{who}; wait for it, follow it with 'elbowroom status "
            f"--library {library.root}', or give another library."
        ) from error
    except OSError as error:
        raise LibraryError(f"{folder} cannot be written ({error.strerror}); check the path and the disk.") from error
    try:
        yield
    finally:
        lock.release()


@contextmanager
def _signals(running: _Running) -> Iterator[None]:
    """End well when asked to by the keyboard or the system."""

    def asked(_number: int, _frame: FrameType | None) -> None:
        running.signalled = True

    before = {number: signal.signal(number, asked) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _write_page(
    write_page: Callable[[Library, Night, Path], None], library: Library, night: Night, running: _Running
) -> None:
    place = night_folder(library, night.stamp) / PAGE
    write_page(library, night, place)
    running.log(f"The morning's page is {place}.")
