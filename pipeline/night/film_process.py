"""One film in a process of its own, so that whatever it does there ends no night.

A film can bring down the process that reads it: memory can run out, a library can crash on a damaged packet. The
child tells its progress and how it ended through a pipe; a child that ends without a word was ended from outside.
"""

from __future__ import annotations

import os
import signal
import threading
import time
import traceback
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from multiprocessing import get_context, parent_process
from multiprocessing.connection import Connection, wait
from pathlib import Path

from pipeline.errors import BusyError, ClusterError, ElbowroomError, StoreError, WorkerError
from pipeline.library.games import Library
from pipeline.night.night_screen import minutes
from pipeline.night.run import FilmRun, Networks, run_film
from pipeline.reports.wording import counts
from pipeline.settings import Settings

Open = Callable[[Settings], Networks]
"""Gives the networks in the child; bears pickling."""

LISTEN_S = 0.5
"""The night looks up this often while a film runs."""

TELL_S = 0.2
"""Progress is told no more often than this."""


class Outcome(StrEnum):
    """How a film's process ended."""

    DONE = "done"
    REFUSED = "refused"  # the film, the library or the settings are wrong: the same would happen again
    BROKEN = "broken"  # a fault of the program: its trace is kept
    BUSY = "busy"  # another run has the film
    DISK = "disk"  # reading or writing failed: a full disk, a lost share
    CLUSTER = "cluster"  # the cluster that was to do the work is away, or has lost its machines
    LOST = "lost"  # the process or one of its workers was ended from outside, most often because memory ran out
    STOPPED = "stopped"  # by us


@dataclass(frozen=True, slots=True)
class At:
    """Where a film's process is: its stage, and 0..1 of that stage."""

    stage: str
    share: float


@dataclass(frozen=True, slots=True)
class Ended:
    """How a film's process ended.

    Attributes
    ----------
    outcome : Outcome
    sentence : str
        What came of it, or what went wrong and what to do.
    game : str or None
        Its game, when it is done.
    trace : str
        For the log, where the program itself is at fault.
    """

    outcome: Outcome
    sentence: str
    game: str | None = None
    trace: str = ""


class FilmProcess:
    """A film on its way through all stages, in another process.

    Parameters
    ----------
    film, library : Path
    settings : Settings
    networks : callable
        From the settings to the networks, in the child.
    """

    def __init__(self, film: Path, library: Path, settings: Settings, networks: Open) -> None:
        context = get_context("spawn")
        self._ear, mouth = context.Pipe(duplex=False)
        self._process = context.Process(target=_run, args=(film, library, settings, networks, mouth), name="film")
        self._process.start()
        mouth.close()
        self._film = film

    @property
    def ear(self) -> Connection:
        """Where it is heard."""
        return self._ear

    def heard(self) -> Iterator[At | Ended]:
        """What it has told and nobody has heard yet; :class:`Ended` comes last."""
        try:
            while self._ear.poll():
                told = self._ear.recv()
                yield told
                if isinstance(told, Ended):
                    self._process.join()
                    return
        except (EOFError, OSError):
            self._process.join()
            yield Ended(Outcome.LOST, self._how_lost())

    def stop(self) -> None:
        """End it now, with its workers; what is on disk is whole."""
        if self._process.is_alive():
            self._process.kill()
        self._process.join()
        self._ear.close()

    def _how_lost(self) -> str:
        code = self._process.exitcode or 0
        how = f"by the signal {signal.Signals(-code).name}" if code < 0 else f"with the code {code}"
        return (
            f"The process that ran {self._film.name} was ended {how}, most often because memory ran out; it goes on "
            "where it was when it is run again, with fewer workers (night.workers) if need be."
        )


def listen(processes: Sequence[FilmProcess]) -> None:
    """Wait until one of them has something to tell, but not for long."""
    wait([process.ear for process in processes], LISTEN_S)


def told_of(run: FilmRun) -> str:
    """What running a film came to, in one sentence."""
    found = len(run.merge.new) + len(run.merge.kept)
    damage = f" {run.damage}" if run.damage else ""
    if not run.live_frames:
        return (
            f"No live play in {minutes(run.length_s)} of film; if it is a game all the same, pin the floor "
            f"('elbowroom court pin').{damage}"
        )
    live = f"{minutes(run.live_s)} of {minutes(run.length_s)} live"
    floor = f"floor in {run.registered_frames} of {run.live_frames} live frames"
    counted = f"{counts(run.possessions, 'possession')}, {counts(found, 'candidate')}, {len(run.merge.new)} new"
    doubt = f" {run.doubt}" if run.doubt else ""
    return f"{live}, {floor}, {counted}.{damage}{doubt}"


def _end_with_parent() -> None:
    """A night that was killed leaves no film running: the next one begins it again, and goes on where it was."""
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _run(film: Path, library: Path, settings: Settings, networks: Open, mouth: Connection) -> None:
    """The child."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the night ends us
    threading.Thread(target=_end_with_parent, daemon=True, name="end with parent").start()

    def progress(stage: str) -> Callable[[float, float], None]:
        last_s = 0.0
        mouth.send(At(stage, 0.0))

        def tell(done: float, total: float) -> None:
            nonlocal last_s
            now_s = time.monotonic()
            if now_s - last_s >= TELL_S:
                last_s = now_s
                mouth.send(At(stage, min(1.0, done / total) if total > 0 else 0.0))

        return tell

    try:
        run = run_film(film, Library(library), networks(settings), settings, book=None, progress=progress)
        ended = Ended(Outcome.DONE, told_of(run), run.game.name)
    except WorkerError as error:
        ended = Ended(Outcome.LOST, str(error))
    except ClusterError as error:
        ended = Ended(Outcome.CLUSTER, str(error))
    except BusyError as error:
        ended = Ended(Outcome.BUSY, str(error))
    except StoreError as error:
        ended = Ended(Outcome.DISK, str(error))
    except ElbowroomError as error:
        disk = isinstance(error.__cause__, OSError)
        ended = Ended(Outcome.DISK if disk else Outcome.REFUSED, str(error))
    except OSError as error:
        ended = Ended(Outcome.DISK, f"Reading or writing failed ({error}); check the disk's room and the share.")
    except MemoryError:
        ended = Ended(Outcome.LOST, "Memory ran out; run it again with fewer workers (night.workers).")
    except Exception as error:
        what = f"{type(error).__name__}: {str(error).splitlines()[0] if str(error) else 'no text'}"
        ended = Ended(
            Outcome.BROKEN,
            f"The program failed on this film ({what}); the log of the night has the trace: please report it.",
            trace=traceback.format_exc(),
        )
    mouth.send(ended)
    mouth.close()
