"""Whether a night's places can be reached: a network share may go away for a while in the middle of it.

An empty mount point looks like a folder, so it is not enough that a folder is there: a library has this night's record
in it, and the films' folder can be listed.
"""

from __future__ import annotations

import errno
import os
import time
from collections.abc import Callable
from pathlib import Path

from pipeline.library.games import Library
from pipeline.library.nights import RECORD, night_folder


def what_is_away(films: Path, library: Library, stamp: str) -> str:
    """Which place of a night that has begun cannot be reached, and why; empty when all can.

    Parameters
    ----------
    films : Path
        The folder that the night looks through.
    library : Library
    stamp : str
        Of the night, whose record was written when it began.
    """
    record = night_folder(library, stamp) / RECORD
    try:
        os.stat(record)
    except OSError as error:
        return f"the library {library.root} ({_why(error)})"
    try:
        with os.scandir(films):
            return ""
    except OSError as error:
        return f"the folder {films} ({_why(error)})"


def _why(error: OSError) -> str:
    """In words; that a place which was there is not there any more needs none of the system's."""
    gone = error.errno in (errno.ENOENT, errno.ENOTDIR)
    return "it is no longer there" if gone else f"{error.strerror}"


class Reach:
    """Tells a night whether its places can be reached, and its log when that changes.

    Parameters
    ----------
    films : Path
    library : Library
    stamp : str
        As for :func:`what_is_away`.
    longest_s : float
        So long it is worth waiting for a place that is away.
    log : callable
    """

    def __init__(self, films: Path, library: Library, stamp: str, longest_s: float, log: Callable[[str], None]) -> None:
        self._places = (films, library, stamp)
        self._longest_s, self._log = longest_s, log
        self._since_s = 0.0
        self.away = ""

    def there(self) -> bool:
        """Whether all can be reached now."""
        before, self.away = self.away, what_is_away(*self._places)
        if self.away and not before:
            self._since_s = time.monotonic()
            self._log(f"Out of reach: {self.away}. The night waits for it; connect it again.")
        elif before and not self.away:
            self._log(f"In reach again: {before.partition(' (')[0]}.")
        return not self.away

    def is_lost(self) -> bool:
        """Whether a place has been away for longer than it is worth waiting."""
        return bool(self.away) and time.monotonic() - self._since_s >= self._longest_s
