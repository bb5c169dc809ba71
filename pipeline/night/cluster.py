"""Workers of a Ray cluster, on this machine or many, that share the work of a run.

A :class:`RayCrew` hands the same work to Ray's tasks that a :class:`~pipeline.crew.LocalCrew` hands to processes. A
task whose node dies is begun again on another. What a task needs and what comes of it travel pickled through Ray's
object store, so the machines need no folder in common: only the machine that began the run writes. Every machine must
have the same elbowroom, which is checked.
"""

from __future__ import annotations

import logging
import os
import pickle
import re
import socket
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache, partial
from importlib.util import find_spec
from types import TracebackType
from typing import Any, Self

from pipeline.backends import Device, processor_threads
from pipeline.crew import Item, Result, Used, in_order, one_thread, used_here
from pipeline.errors import ClusterError, ElbowroomError, MissingExtraError
from pipeline.night.stages import code_digest

LOCAL = "local"
"""The address of a cluster of this machine alone, which begins and ends with the run."""

ADDRESS = re.compile(r"(?:(?P<kind>ray)://)?(?P<host>\[[0-9A-Fa-f:]+\]|[A-Za-z0-9_.-]+)(?::(?P<port>[0-9]{1,5}))?")

DEFAULT_PORTS = {"": 6379, "ray": 10001}
"""Ports of Ray's head for machines of the cluster and for others (``ray start``), where an address has none."""

ANSWER_S = 15.0
"""A head that has not answered after this time is away."""

BEGUN_AGAIN = 4
"""So often is a task begun again whose node died."""

NO_NODES_S = 60.0
"""A run ends when for this time no machine of the cluster could have done its work."""

CORES_A_LOOKER = 4
"""Most cores that one worker of the vision pass is given, as on one machine."""

CORES_BESIDE_GPU = 1.25
"""Cores that one worker of the vision pass keeps busy beside a GPU."""

MOST_ON_A_GPU = 12
"""Workers of the vision pass that share a GPU, at most."""


@dataclass(frozen=True, slots=True)
class Share:
    """What a task takes of its node.

    Attributes
    ----------
    cores : float
    memory_gb : float
        Not given to other tasks; zero where it does not matter.
    gpus : float
        Part of a GPU.
    """

    cores: float
    memory_gb: float = 0.0
    gpus: float = 0.0

    def fits(self, node: Mapping[str, float]) -> int:
        """How many such tasks a node has room for at a time."""
        bounds = [node.get("CPU", 0.0) / self.cores]
        bounds += [node.get("memory", 0.0) / (self.memory_gb * 2**30)] if self.memory_gb else []
        bounds += [node.get("GPU", 0.0) / self.gpus] if self.gpus else []
        return int(min(bounds) + 1e-6)


ONE_CORE = Share(1)


def share_of_looker(nodes: Sequence[Mapping[str, float]], device: Device, memory_gb: Mapping[Device, float]) -> Share:
    """What one worker of the vision pass is to take of its node.

    Parameters
    ----------
    nodes : sequence of mappings
        What each node of the cluster has (``CPU``, ``GPU``, ``memory`` in bytes), as Ray tells it.
    device : Device
        Where the networks are to run; ``auto`` takes the GPUs where there are any.
    memory_gb : mapping
        What a worker takes, by device.

    Raises
    ------
    ClusterError
        If a GPU is asked for and there is none.
    """
    with_gpu = [node for node in nodes if node.get("GPU", 0) >= 1]
    if device is Device.CUDA and not with_gpu:
        raise ClusterError("No machine of the cluster has a GPU; start Ray with --num-gpus there, or use --device cpu.")
    if with_gpu and device is not Device.CPU:
        each = max(node["GPU"] / max(node["GPU"], node.get("CPU", 0) // CORES_BESIDE_GPU) for node in with_gpu)
        return Share(1, memory_gb[Device.CUDA], max(each, 1 / MOST_ON_A_GPU))
    cores = [node["CPU"] for node in nodes if node.get("CPU", 0) >= 1]
    return Share(min([CORES_A_LOOKER, *map(int, cores)]), memory_gb[Device.CPU])


class RayCrew:
    """A :class:`~pipeline.crew.Crew` of Ray's tasks; connected to the cluster while it is used as a context.

    Parameters
    ----------
    address : str
        ``local``, ``HOST:PORT`` of a head whose cluster this machine belongs to, or ``ray://HOST:PORT``.
    few : callable
        From what the nodes have to the share that a task of `spread_few` takes.
    most : int
        Most workers at a time; 0 for as many as the cluster has room for.
    """

    elsewhere = True

    def __init__(self, address: str, few: Callable[[Sequence[Mapping[str, float]]], Share], most: int = 0) -> None:
        self.workers = 0
        self.used: dict[str, Used] = {}
        self._address, self._few, self._most = address, few, most
        self._share = ONE_CORE
        self._able_s = 0.0
        self._code = ""

    def __enter__(self) -> Self:
        connect(self._address)
        try:
            self._code = code_digest([""])
            self._share = self._few(nodes())
            self.workers = self._room(ONE_CORE)
        except BaseException:
            disconnect()
            raise
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        disconnect()

    @property
    def begun(self) -> bool:
        """See `Crew`."""
        return True

    @property
    def lookers(self) -> int:
        """How many tasks of `spread_few` the cluster has room for."""
        return self._room(self._share)

    def wake(self, work: Callable[[Item], Result], item: Item, workers: int) -> None:
        """See `Crew`."""
        submit = self._submit(work, self._share)
        for _ in range(workers):
            submit(item).add_done_callback(lambda done: done.exception())

    def spread(self, work: Callable[[Item], Result], items: Sequence[Item]) -> Iterable[Result]:
        """See `Spread`."""
        return self._results(work, items, self.workers, ONE_CORE)

    def spread_few(self, work: Callable[[Item], Result], items: Sequence[Item], at_once: int) -> Iterable[Result]:
        """See `Crew`."""
        return self._results(work, items, at_once, self._share)

    def _room(self, share: Share) -> int:
        room = sum(share.fits(node) for node in nodes())
        if room == 0:
            raise ClusterError(
                f"No machine of the cluster {self._address} has {_said(share)}; add one with 'ray start'."
            )
        return min(room, self._most) if self._most else room

    def _results(
        self, work: Callable[[Item], Result], items: Sequence[Item], most: int, share: Share
    ) -> Iterator[Result]:
        self._able_s = time.monotonic()
        with _told(self._address):
            for outcome in in_order(self._submit(work, share), items, most, partial(self._check, share)):
                result, used = _unpacked(outcome)
                self.used |= used
                yield result

    def _submit(self, work: Callable[[Item], Result], share: Share) -> Callable[[Item], Future[bytes]]:
        import ray

        task = ray.remote(_worked).options(
            num_cpus=share.cores,
            num_gpus=share.gpus,
            memory=int(share.memory_gb * 2**30) or None,
            max_retries=BEGUN_AGAIN,
            retry_exceptions=False,
            scheduling_strategy="SPREAD",
        )
        packed = ray.put(pickle.dumps(work))  # once for each node, however many items

        def submit(item: Item) -> Future[bytes]:
            future: Future[bytes] = task.remote(packed, pickle.dumps(item), self._code).future()
            return future

        return submit

    def _check(self, share: Share) -> None:
        """Nothing has come for a while: refuse to wait for machines that are gone."""
        if any(share.fits(node) for node in nodes()):
            self._able_s = time.monotonic()
        if time.monotonic() - self._able_s > NO_NODES_S:
            raise ClusterError(
                f"The cluster {self._address} has lost every machine that has {_said(share)}; start one with 'ray "
                "start' and run it again, it goes on where it was."
            )


@dataclass(frozen=True, slots=True)
class _Refused:
    """An error that is meant for the user, and what the disk said, which would not travel with it."""

    error: ElbowroomError
    cause: OSError | None


def nodes() -> list[Mapping[str, float]]:
    """What each machine of the cluster has that is alive."""
    import ray

    return [node["Resources"] for node in ray.nodes() if node["Alive"]]


def cores_here() -> int:
    """Cores that the task that is running has of its node."""
    import ray

    return max(1, int(ray.get_runtime_context().get_assigned_resources().get("CPU", 1)))


def machine_here() -> str:
    """Name of this machine."""
    return socket.gethostname()


def connect(address: str) -> None:
    """Connect this process to a cluster.

    Parameters
    ----------
    address : str
        See `RayCrew`; `LOCAL` starts one.

    Raises
    ------
    MissingExtraError
        If Ray is not installed.
    ClusterError
        If the head does not answer, or is not one that this process can work with.
    """
    _with_ray()
    import ray

    quiet: dict[str, Any] = {"log_to_driver": False, "logging_level": logging.ERROR}
    own: dict[str, Any] = {"num_cpus": processor_threads(0), "include_dashboard": False} if address == LOCAL else {}
    if address != LOCAL:
        _refuse_silence(address)
    try:
        ray.init(address=address, **own, **quiet)
    except (ray.exceptions.RayError, OSError, ValueError, RuntimeError, SystemExit) as error:
        raise ClusterError(
            f"The cluster {address} cannot be worked with ({_line(error)}); see that its machines and this one have "
            "the same Python, Ray and token, and that this one belongs to it where the address is HOST:PORT."
        ) from error


def disconnect() -> None:
    """End the connection, and a local cluster with it; what still runs for it on the nodes is ended."""
    import ray

    ray.shutdown()


@contextmanager
def cluster_at(address: str) -> Iterator[str]:
    """A cluster that other processes are to work with: gives the address at which they find it.

    A local one is started, and ends with the context; another must answer.
    """
    if address != LOCAL:
        _with_ray()
        _refuse_silence(address)
        yield address
        return
    connect(address)
    try:
        import ray

        yield ray.get_runtime_context().gcs_address
    finally:
        disconnect()


def _with_ray() -> None:
    """Make sure that Ray is here, and that it keeps quiet."""
    os.environ.setdefault("RAY_USAGE_STATS_ENABLED", "0")  # nothing is told to anybody
    if any(find_spec(name) is None for name in ("ray", "grpc")):
        raise MissingExtraError("A cluster needs Ray; pip install 'elbowroom[cluster]' on each of its machines.")
    logging.getLogger("ray").setLevel(logging.ERROR)


def _refuse_silence(address: str) -> None:
    """Make sure within a bounded time that something that may be a head of Ray answers."""
    import grpc

    told = ADDRESS.fullmatch(address)
    if told is None:
        raise ClusterError(f"'{address}' is no address of a cluster; write local, HOST:PORT or ray://HOST:PORT.")
    kind, host = told["kind"] or "", told["host"]
    place = (host.strip("[]"), int(told["port"] or DEFAULT_PORTS[kind]))
    try:
        with socket.create_connection(place, ANSWER_S):
            pass
        with grpc.insecure_channel(f"{host}:{place[1]}") as channel:
            if os.environ.get("RAY_USE_TLS") != "1":
                grpc.channel_ready_future(channel).result(timeout=ANSWER_S)
    except (OSError, grpc.FutureTimeoutError) as error:
        why = getattr(error, "strerror", None) or f"nothing was heard within {ANSWER_S:.0f} s"
        raise ClusterError(
            f"No head of Ray answers at {host}:{place[1]} ({why}); start one there with 'ray start --head', or check "
            "the address and the network."
        ) from error


@contextmanager
def _told(address: str) -> Iterator[None]:
    """What goes wrong in Ray, in one sentence; what a task raised is raised as it was."""
    import ray.exceptions

    try:
        yield
    except ray.exceptions.RayTaskError as error:
        raise error.cause from error
    except ray.exceptions.RayError as error:
        raise ClusterError(
            f"A part of the work was lost on the cluster {address} though it was begun {BEGUN_AGAIN + 1} times "
            f"({_line(error)}); look after its machines' memory and run it again, it goes on where it was."
        ) from error
    except ConnectionError as error:
        raise ClusterError(
            f"The head of the cluster {address} no longer answers ({_line(error)}); start it and run it again, it goes "
            "on where it was."
        ) from error


def _line(error: BaseException) -> str:
    return " ".join(str(error).split())[:300].rstrip(".") or type(error).__name__


def _said(share: Share) -> str:
    gpu = f", {share.gpus:.2f} of a GPU" if share.gpus else ""
    memory = f" and {share.memory_gb:g} GB of memory" if share.memory_gb else ""
    return f"{share.cores:g} core(s){gpu}{memory} to give"


def _worked(work: bytes, item: bytes, code: str) -> bytes:
    """What runs on a node: the result, or the error that is meant for the user, and what the process has taken."""
    _begin(code)
    try:
        result = pickle.loads(work)(pickle.loads(item))
    except ElbowroomError as error:
        return pickle.dumps(_Refused(error, error.__cause__ if isinstance(error.__cause__, OSError) else None))
    return pickle.dumps((result, {f"{machine_here()} {os.getpid()}": used_here()}), protocol=pickle.HIGHEST_PROTOCOL)


@lru_cache(maxsize=1)
def _begin(code: str) -> None:
    """First thing that a worker process does."""
    from threadpoolctl import threadpool_limits

    if code_digest([""]) != code:
        raise ClusterError(
            f"{machine_here()} has another elbowroom than the machine that began the run; install the same one on all."
        )
    one_thread()
    threadpool_limits(1)


def _unpacked(outcome: bytes) -> tuple[Any, dict[str, Used]]:
    found = pickle.loads(outcome)
    if isinstance(found, _Refused):
        raise found.error from found.cause
    result, used = found
    return result, used
