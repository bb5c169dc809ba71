"""Work that takes longer than a page may: done by one thread behind the pages, with its progress told."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from enum import StrEnum

from pipeline.errors import ElbowroomError, LibraryError

Progress = Callable[[str, float], None]
"""What is being done now, and the share of the whole that is done, 0..1."""

Work = Callable[[Progress], str]
"""Does the work; returns what came of it in one sentence."""

KEPT = 200
"""Finished jobs that are still known."""


class Standing(StrEnum):
    """How far a job is."""

    WAITING = "waiting"
    RUNNING = "running"
    DONE = "done"
    FAILED = "failed"


@dataclass(frozen=True, slots=True)
class Job:
    """One piece of work as it stands.

    Attributes
    ----------
    job : int
    title : str
        What it does, for people.
    key : str
        What it works on; nothing is worked on twice at once.
    standing : Standing
    doing : str
        What is being done now, or what came of it, or why it failed.
    share : float
        0..1.
    """

    job: int
    title: str
    key: str
    standing: Standing = Standing.WAITING
    doing: str = "Waiting for its turn."
    share: float = 0.0

    @property
    def going(self) -> bool:
        """Whether it is still to be waited for."""
        return self.standing in (Standing.WAITING, Standing.RUNNING)


class Jobs:
    """The jobs of one server: one at a time, in the order in which they were asked for."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._jobs: dict[int, Job] = {}
        self._pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix="job")

    def start(self, title: str, key: str, work: Work) -> Job:
        """Have something done; where the same is being done already, that job is given back."""
        with self._lock:
            for job in self._jobs.values():
                if job.key == key and job.going:
                    return job
            number = max(self._jobs, default=0) + 1
            job = self._jobs[number] = Job(number, title, key)
            for old in [n for n, one in self._jobs.items() if not one.going][:-KEPT]:
                del self._jobs[old]
        self._pool.submit(self._do, number, work)
        return job

    def job(self, number: int) -> Job:
        """How a job stands; LibraryError when there is none of that number."""
        with self._lock:
            if number not in self._jobs:
                raise LibraryError(
                    f"There is no job {number}; the server was started anew since. Ask for it once more."
                )
            return self._jobs[number]

    def last(self, key: str) -> Job | None:
        """The latest job that worked on something."""
        with self._lock:
            return next((job for job in reversed(self._jobs.values()) if job.key == key), None)

    def close(self) -> None:
        """Take no more work and drop what has not begun."""
        self._pool.shutdown(wait=False, cancel_futures=True)

    def _do(self, number: int, work: Work) -> None:
        self._set(number, standing=Standing.RUNNING, doing="Begun.")

        def progress(doing: str, share: float) -> None:
            self._set(number, doing=doing, share=min(1.0, max(0.0, share)))

        try:
            said = work(progress)
        except ElbowroomError as error:
            self._set(number, standing=Standing.FAILED, doing=str(error))
        except Exception:
            self._set(
                number,
                standing=Standing.FAILED,
                doing="Something in the program broke; what it printed where the server runs says more.",
            )
            raise
        else:
            self._set(number, standing=Standing.DONE, doing=said, share=1.0)

    def _set(self, number: int, **changed: object) -> None:
        with self._lock:
            self._jobs[number] = replace(self._jobs[number], **changed)  # type: ignore[arg-type]
