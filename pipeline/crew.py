"""Worker processes that share the work of a run.

A room whose work falls apart into independent items takes a :class:`Spread` and gives it a function and the items; the
results come back in the items' order, whoever worked on them. :func:`in_turn` does it all in this process; a
:class:`Crew` in others: a :class:`LocalCrew` in processes of this machine, which are started with the first work they
get and serve every stage of a run.
"""

from __future__ import annotations

import os
import resource
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from multiprocessing import get_context, parent_process
from pathlib import Path
from types import TracebackType
from typing import Protocol, Self, TypeVar

from pipeline.errors import WorkerError

Item = TypeVar("Item")
Result = TypeVar("Result")

ONE_THREAD_EACH = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
"""Libraries of linear algebra start a thread a core unless told otherwise; the workers keep the cores busy."""

CHECK_S = 5.0
"""How long nothing may come before somebody looks whether anything can."""

MEMORY_FILE = Path("/proc/meminfo")

LOADED_FIRST = ("pipeline.night.run",)
"""Modules that every worker needs. What asks after a GPU while it is imported may not be among them: a process that
has done so must not be split."""


def in_order(
    submit: Callable[[Item], Future[Result]],
    items: Sequence[Item],
    most: int,
    check: Callable[[], None] = lambda: None,
) -> Iterator[Result]:
    """Hand in items, no more than so many under way at a time, and give their results in the items' order.

    ``check`` is called now and then while nothing comes; what it raises ends the work.
    """
    waiting, coming = deque(items), deque[Future[Result]]()
    while waiting or coming:
        running = [future for future in coming if not future.done()]
        for _ in range(min(most - len(running), len(waiting))):
            coming.append(submit(waiting.popleft()))
        if coming[0].done():
            yield coming.popleft().result()
        elif not wait(running or coming, CHECK_S, return_when=FIRST_COMPLETED).done:
            check()


class Spread(Protocol):
    """Does one function for many items."""

    def __call__(self, work: Callable[[Item], Result], items: Sequence[Item]) -> Iterable[Result]:
        """Results in the items' order. Other processes may do the work: they need all that it takes pickled."""
        ...


def in_turn(work: Callable[[Item], Result], items: Sequence[Item]) -> Iterable[Result]:
    """Everything in this process, one item after the other."""
    return map(work, items)


def free_memory_gb() -> float:
    """Memory that this machine can still give; infinite where it does not say."""
    try:
        lines = MEMORY_FILE.read_text(encoding="ascii").splitlines()
    except OSError:
        return float("inf")
    told = [line.split()[1] for line in lines if line.startswith("MemAvailable:")]
    return int(told[0]) / 2**20 if told else float("inf")


def worker_count(cores: int, *, cores_each: float, memory_each_gb: float, most: float = float("inf")) -> int:
    """How many workers a machine bears, at least one.

    Parameters
    ----------
    cores : int
        That this process may use.
    cores_each : float
        That one worker keeps busy.
    memory_each_gb : float
        That one worker takes.
    most : float
        Never more, for another reason.
    """
    return max(1, int(min(cores // cores_each, free_memory_gb() / memory_each_gb, most)))


@dataclass(frozen=True, slots=True)
class Used:
    """Processor time that a process took, and its largest resident memory."""

    cpu_s: float
    peak_mb: float


class Crew(Protocol):
    """Worker processes of a run.

    Use it as a context: at its end the workers go, at once if it ends with an error.

    Attributes
    ----------
    workers : int
        Most workers at a time.
    begun : bool
        Whether workers are there already.
    elsewhere : bool
        Whether they may be on machines that do not see this one's files.
    used : dict of Used
        What each worker process has taken so far, by a name of its own.
    """

    workers: int
    used: dict[str, Used]

    @property
    def elsewhere(self) -> bool: ...

    @property
    def begun(self) -> bool: ...

    def __enter__(self) -> Self: ...

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None: ...

    def wake(self, work: Callable[[Item], Result], item: Item, workers: int) -> None:
        """Let each of so many workers do something that it needs later; what goes wrong there comes up again then."""
        ...

    def spread(self, work: Callable[[Item], Result], items: Sequence[Item]) -> Iterable[Result]:
        """See `Spread`."""
        ...

    def spread_few(self, work: Callable[[Item], Result], items: Sequence[Item], at_once: int) -> Iterable[Result]:
        """The same by no more than so many workers at a time, each of which may take more than one core.

        Raises
        ------
        WorkerError, ClusterError
            A worker was lost, or a part of the work with its machines.
        """
        ...


class LocalCrew:
    """A :class:`Crew` of processes of this machine; with one or none, everything is done in this process.

    ``used`` also says what the process has taken that the workers are split off from.

    Parameters
    ----------
    workers : int
        Most workers at a time.
    loaded_first : sequence of str
        Modules that are imported once, in the process from which all workers are split off.
    """

    elsewhere = False

    def __init__(self, workers: int, loaded_first: Sequence[str] = LOADED_FIRST) -> None:
        self.workers = workers
        self._loaded_first = loaded_first
        self.used: dict[str, Used] = {}
        self._executor: ProcessPoolExecutor | None = None
        self._before: Mapping[str, str | None] = {}

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._executor is None:
            return
        executor, self._executor = self._executor, None
        if kind is not None:
            for process in list((getattr(executor, "_processes", None) or {}).values()):
                process.terminate()
        executor.shutdown(wait=True, cancel_futures=True)
        for name, value in self._before.items():
            os.environ.pop(name, None) if value is None else os.environ.update({name: value})

    @property
    def begun(self) -> bool:
        """Whether workers are there already."""
        return self._executor is not None

    def wake(self, work: Callable[[Item], Result], item: Item, workers: int) -> None:
        """See `Crew`."""
        executor = self._started()
        for _ in range(workers):
            executor.submit(work, item)

    def spread(self, work: Callable[[Item], Result], items: Sequence[Item]) -> Iterable[Result]:
        """See `Spread`."""
        return self.spread_few(work, items, self.workers)

    def spread_few(self, work: Callable[[Item], Result], items: Sequence[Item], at_once: int) -> Iterable[Result]:
        """See `Crew`."""
        if min(self.workers, at_once, len(items)) <= 1:
            return map(work, items)
        return self._results(work, items, at_once if at_once < self.workers else len(items))

    def _results(self, work: Callable[[Item], Result], items: Sequence[Item], most: int) -> Iterator[Result]:
        executor = self._started()
        try:
            for result, used in in_order(lambda item: executor.submit(_worked, work, item), items, most):
                self.used |= used
                yield result
        except BrokenProcessPool as error:
            raise WorkerError(
                "A worker process of this run was ended from outside, most often because memory ran out; run it "
                "again, it goes on where it was, with fewer workers (night.workers)."
            ) from error

    def _started(self) -> ProcessPoolExecutor:
        if self._executor is None:
            self._before = {name: os.environ.get(name) for name in ONE_THREAD_EACH}
            os.environ.update(ONE_THREAD_EACH)  # workers inherit it when they are started
            context = get_context("forkserver")
            context.set_forkserver_preload(list(self._loaded_first))
            self._executor = ProcessPoolExecutor(self.workers, mp_context=context, initializer=_begin)
        return self._executor


def one_thread() -> None:
    """Keep the libraries of this process from starting a thread a core."""
    import cv2
    import pyarrow as pa

    cv2.setNumThreads(1)
    pa.set_cpu_count(1)


def _begin() -> None:
    """First thing that a worker does."""
    one_thread()
    threading.Thread(target=_end_with_parent, daemon=True, name="end with parent").start()


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def used_here() -> Used:
    """What this process has taken so far."""
    own = resource.getrusage(resource.RUSAGE_SELF)
    return Used(own.ru_utime + own.ru_stime, own.ru_maxrss / 1024)


def _worked(work: Callable[[Item], Result], item: Item) -> tuple[Result, dict[str, Used]]:
    result = work(item)
    used = {str(os.getpid()): used_here()}
    origin = _used_by(os.getppid())
    return result, used if origin is None else {**used, str(os.getppid()): origin}


def _used_by(process: int) -> Used | None:
    """What another process has taken so far; None where the system does not say."""
    try:
        fields = Path(f"/proc/{process}/stat").read_text(encoding="ascii", errors="replace").rpartition(")")[2].split()
    except OSError:
        return None
    ticks, pages = int(fields[11]) + int(fields[12]), int(fields[21])
    return Used(ticks / os.sysconf("SC_CLK_TCK"), pages * os.sysconf("SC_PAGE_SIZE") / 2**20)
