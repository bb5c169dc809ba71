"""A night: every film of a folder through all stages into a library, unattended.

Each film is run in a process of its own: one after the other on one machine, which a film uses as far as it pays, a few
side by side where the work is done by a cluster; a film that fails is told and passed over, what may pass is tried
again at the end of the queue. The night's record
(:mod:`pipeline.library.nights`) is renewed every second, so that another terminal and the pages can follow.
"""

from __future__ import annotations

import os
import shutil
import socket
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path

from pipeline.errors import ElbowroomError, FilmError, LibraryError
from pipeline.film.probe import refuse_unsayable_name
from pipeline.library.games import Library
from pipeline.library.nights import (
    LOG,
    PAGE,
    RECORD,
    FilmNight,
    FilmState,
    Night,
    changed,
    new_stamp,
    night_folder,
    write_night,
)
from pipeline.night.alone import alone, asked_to_end
from pipeline.night.film_process import At, Ended, FilmProcess, Open, Outcome, listen
from pipeline.night.films import FilmFile, Settling, films_in
from pipeline.night.night_screen import minutes
from pipeline.night.notifying import notify
from pipeline.night.orders import Orders, Watching
from pipeline.night.reachable import Reach
from pipeline.settings import Settings
from pipeline.user_files import one_line, sayable
from pipeline.whole_files import append_line

STAGE_SHARES = {"film": 0.8, "clock": 0.01, "court": 0.08, "players": 0.05, "ball": 0.03, "actions": 0.01, "sets": 0.01}
"""How a film's work falls on its stages, roughly (measured on two cores); what is left is the last stage's. Only the
time that is left is guessed from it."""

MAY_PASS = frozenset({Outcome.DISK, Outcome.CLUSTER, Outcome.LOST})
"""Ends after which the same film may go through when it is tried again."""

BEAT_S = 1.0

UNFINISHED_KEPT_S = 30 * 86_400.0
"""What a killed run has left of a film that has not come again for so long is taken away."""


class _End(StrEnum):
    THROUGH = "through"
    UNTIL = "until"
    SIGNAL = "signal"
    NO_ROOM = "no room"
    AWAY = "away"


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
    with alone(library):
        running = _Running(orders, library, settings, networks, show, say)
        for gone in library.sweep(UNFINISHED_KEPT_S):
            running.log(f"{gone.name} is taken away: its film has not come again for a month.")
        with asked_to_end(running.ask_to_end):
            end = running.work()
        night = running.ended(end)
        if not night_folder(library, night.stamp).is_dir():
            raise LibraryError(f"{night.sentence} The library is not there, so this stands nowhere else.")
        _write_page(write_page, library, night, running)
        notify(settings.night.notify, night_folder(library, night.stamp) / RECORD, running.log)
    return night


@dataclass(slots=True)
class _Item:
    """A film in the queue."""

    file: FilmFile
    tries: int = 0
    not_before_s: float = 0.0
    busy_since_s: float | None = None
    settings: Settings | None = None


@dataclass(frozen=True, slots=True)
class _Going:
    """A film that is being run."""

    item: _Item
    process: FilmProcess
    began_s: float
    before_s: float

    @property
    def seconds(self) -> float:
        """What it has taken, earlier tries included."""
        return self.before_s + time.monotonic() - self.began_s


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
    _going: list[_Going] = field(init=False, default_factory=list)
    _seen: dict[Path, FilmFile] = field(init=False, default_factory=dict)
    _beat_s: float = field(init=False, default=0.0)
    _said_copying: set[Path] = field(init=False, default_factory=set)
    _unwritten: list[str] = field(init=False, default_factory=list)
    _reach: Reach = field(init=False)

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
        longest_s = self.settings.night.lost_wait_s
        self._reach = Reach(self.orders.folder, self.library, self.night.stamp, longest_s, self.log)
        until = "" if self.orders.until is None else f", until {self.orders.until:%H:%M}"
        self.log(f"The night begins: {self.night.folder}{until}.")

    def ask_to_end(self) -> None:
        """End well as soon as may be."""
        self.signalled = True

    def work(self) -> _End:
        """Run films until there are none left, or until it has to end."""
        try:
            while True:
                if (end := self._must_end()) is not None:
                    for going in tuple(self._going):
                        self._close(going, Ended(Outcome.STOPPED, "Stopped on the way; the next night goes on there."))
                    return end
                if not self._reach.there():
                    self._listen()
                    continue
                room = len(self._going) < self.orders.at_once
                copying = self._look_for_films() if room else 0
                while len(self._going) < self.orders.at_once and (item := self._next()) is not None:
                    self._begin(item)
                if self._going:
                    self._listen()
                    continue
                if not (self._queue or copying or self.orders.watching is Watching.ON):
                    return _End.THROUGH
                idle = not (self._queue or copying)
                settle_s = min(1.0, max(0.05, self.settings.night.settle_s / 4))
                self._wait(self.settings.night.watch_s if idle else settle_s)
        finally:
            for going in self._going:
                going.process.stop()

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
            _End.AWAY: f"Out of reach for too long: {self._reach.away}",
        }[end]
        stopped = self.night.count(FilmState.STOPPED)
        parts = [f"{done} done", f"{failed} failed"]
        parts += [f"{stopped} stopped on the way"] if stopped else []
        parts += [f"{left} not begun"] if left else []
        self.night = self.night.model_copy(
            update={"ended": now, "beat": now, "sentence": f"{why}: {', '.join(parts)}."}
        )
        self._put_down()
        self.log(self.night.sentence)
        return self.night

    def log(self, line: str) -> None:
        """Add a line to the log."""
        stamped = f"{datetime.now().astimezone():%H:%M:%S} {one_line(line)}"
        self._unwritten.append(stamped)
        with suppress(OSError):  # the library is away or full: the lines are written when it is not
            append_line(night_folder(self.library, self.night.stamp) / LOG, "\n".join(self._unwritten))
            self._unwritten.clear()
        self.say(stamped)

    def _must_end(self) -> _End | None:
        if self.signalled:
            return _End.SIGNAL
        if self.orders.until is not None and datetime.now(UTC) >= self.orders.until:
            return _End.UNTIL
        if self._reach.is_lost():
            return _End.AWAY
        try:
            free = shutil.disk_usage(self.library.root).free
        except OSError:
            return None  # it is away: the night waits for it
        return _End.NO_ROOM if free < self.settings.night.least_free_gb * 1e9 else None

    def _look_for_films(self) -> int:
        """Take whole films into the queue; returns how many are still being copied."""
        copying = 0
        night = self.settings.night
        try:
            films = films_in(self.orders.folder, night.film_endings, outside=self.library.root)
        except FilmError:
            films = ()  # it has gone away this moment: the night waits for it
        for film in films:
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

    def _begin(self, item: _Item) -> None:
        path, told = item.file.path, self._film(item.file.path)
        item.tries += 1
        self._note(told.model_copy(update={"state": FilmState.RUNNING, "tries": item.tries, "sentence": ""}))
        self.log(f"{path.name} begins{f', try {item.tries}' if item.tries > 1 else ''}.")
        process = FilmProcess(path, self.library.root, item.settings or self.settings, self.networks)
        self._going.append(_Going(item, process, time.monotonic(), told.seconds))

    def _listen(self) -> None:
        """Hear what the films' processes have to tell."""
        listen([going.process for going in self._going])
        for going in tuple(self._going):
            for heard in going.process.heard():
                if isinstance(heard, Ended):
                    self._close(going, heard)
                else:
                    self._at(going.item.file.path, heard, going.seconds)
        self._beat()

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

    def _close(self, going: _Going, ended: Ended) -> None:
        """Write down how a film ended, and put it back into the queue if it may pass."""
        going.process.stop()
        self._going.remove(going)
        item, seconds = going.item, going.seconds
        told = self._film(item.file.path)
        again = ended.outcome in MAY_PASS and item.tries < self.settings.night.tries
        if self._waits_for_others(item, ended.outcome):
            again, item.tries = True, item.tries - 1
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
        at_once = ended.outcome is Outcome.LOST and self._at_hand(item.file)
        item.not_before_s = time.monotonic() + (0.0 if at_once else self.settings.night.retry_wait_s)
        self._queue.append(item)

    def _waits_for_others(self, item: _Item, outcome: Outcome) -> bool:
        """Whether it was nobody's fault here: a share has gone away, or another run has the film. No try is counted."""
        if outcome is not Outcome.BUSY:
            item.busy_since_s = None
            return outcome in (Outcome.DISK, Outcome.REFUSED) and not self._reach.there()
        now_s = time.monotonic()
        item.busy_since_s = now_s if item.busy_since_s is None else item.busy_since_s
        return now_s - item.busy_since_s < self.settings.night.lost_wait_s

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

    def _beat(self) -> None:
        if time.monotonic() - self._beat_s < BEAT_S:
            return
        for going in self._going:
            told = self._film(going.item.file.path)
            self._note(told.model_copy(update={"seconds": going.seconds}), write=False)
        self._write()

    def _write(self) -> None:
        self._beat_s = time.monotonic()
        self.night = self.night.model_copy(update={"beat": datetime.now(UTC)})
        self._put_down()

    def _put_down(self) -> None:
        """Write the record, where the library is in reach; where it is not, it is written when it is again."""
        if night_folder(self.library, self.night.stamp).is_dir():
            with suppress(OSError):
                write_night(self.library, self.night)
        self.show(self.night)


def _write_page(
    write_page: Callable[[Library, Night, Path], None], library: Library, night: Night, running: _Running
) -> None:
    place = night_folder(library, night.stamp) / PAGE
    try:
        write_page(library, night, place)
    except (ElbowroomError, OSError) as error:
        running.log(f"The morning's page could not be written ({error}); 'elbowroom report night' writes it anew.")
        return
    running.log(f"The morning's page is {place}.")
