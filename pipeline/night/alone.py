"""A night has a library to itself, and ends when it is asked to."""

from __future__ import annotations

import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType

from filelock import FileLock, Timeout

from pipeline.errors import LibraryError
from pipeline.library.games import NIGHTS, Library
from pipeline.library.nights import newest_night


@contextmanager
def alone(library: Library) -> Iterator[None]:
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
def asked_to_end(end: Callable[[], None]) -> Iterator[None]:
    """Call ``end`` when the keyboard or the system asks the night to end."""

    def asked(_number: int, _frame: FrameType | None) -> None:
        end()

    before = {number: signal.signal(number, asked) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
