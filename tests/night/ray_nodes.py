"""A Ray cluster of separate processes of this machine, all gone at the end."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

import psutil

HERE = Path(__file__).parent
SMALL = [
    *("--object-store-memory", str(100 << 20), "--disable-usage-stats", "--include-log-monitor", "false", "--block"),
]
QUIET = {
    "RAY_USAGE_STATS_ENABLED": "0",
    "RAY_AUTH_MODE": "disabled",
    "RAY_memory_monitor_refresh_ms": "0",
    "RAY_enable_metrics_collection": "0",
    "RAY_worker_register_timeout_seconds": "180",
    "RAY_raylet_start_wait_time_s": "120",
}
STARTS_S = 180.0
MARK = "ELBOWROOM_TEST_RAY_NODE"


def environment(**more: str) -> dict[str, str]:
    """What every process of the cluster is started with."""
    places = os.pathsep.join([str(HERE.parents[1]), str(HERE)])
    return {**os.environ, **QUIET, "PYTHONPATH": places, "PYTHONUNBUFFERED": "1", **more}


@dataclass
class Nodes:
    """The cluster's processes.

    Attributes
    ----------
    address, client : str
        Of the head for machines of the cluster, and for others.
    """

    folder: Path
    address: str
    client: str
    started: dict[str, subprocess.Popen[bytes]] = field(default_factory=dict)
    _joined: int = 0

    def start(self, name: str, *arguments: str, **variables: str) -> None:
        """Start a node, out of reach of the signals that its starter gets."""
        log = (self.folder / f"{name}.log").open("wb")
        ray = [sys.executable, "-m", "ray.scripts.scripts", "start", *arguments, *SMALL]
        self.started[name] = subprocess.Popen(
            ray,
            env=environment(**variables, **{MARK: self._mark(name)}),
            stdout=log,
            stderr=subprocess.STDOUT,
            start_new_session=True,
        )
        log.close()

    def join(self, *names: str, **variables: dict[str, str]) -> None:
        """Start nodes of one core each, every one with an address of its own.

        One after the other: of two that join one session of Ray on one machine at once, one may wait for ever.
        """
        for name in names:
            self._joined += 1
            place = ("--address", self.address, "--node-ip-address", f"127.0.0.{self._joined + 1}")
            for tries_left in (2, 1, 0):
                self.start(name, *place, "--num-cpus", "1", **variables.get(name, {}))
                try:
                    self.runs(name)
                    break
                except AssertionError:  # Ray itself gives a node half a minute, which a busy machine may need longer
                    self.kill(name)
                    if not tries_left:
                        raise

    def runs(self, name: str) -> None:
        """Wait until a node runs."""
        wait_for(name, lambda: True if "Ray runtime started" in self.said(name) else None, self)

    def kill(self, name: str) -> None:
        """End a node at once, with everything that it has started (kill -9)."""
        node = self.started.pop(name)
        kill_marked(self._mark(name))
        node.wait()

    def _mark(self, name: str) -> str:
        return f"{self.folder}/{name};"

    def said(self, name: str) -> str:
        """What a node has written."""
        return (self.folder / f"{name}.log").read_text(errors="replace")


def kill_marked(mark: str) -> None:
    """End every process that was started with this in its environment, and all that they have started."""
    while found := [process for process in psutil.process_iter() if mark in _environment_of(process)]:
        for process in found:
            with suppress(psutil.NoSuchProcess):
                for one in (*process.children(recursive=True), process):
                    one.kill()
        time.sleep(0.05)


def _environment_of(process: psutil.Process) -> str:
    try:
        return process.environ().get(MARK, "")
    except psutil.Error:  # it has ended, or is not ours
        return ""


def watch(folder: str) -> None:
    """End all nodes when whoever started us is gone, however it went."""
    sys.stdin.read()
    kill_marked(f"{folder}/")
    shutil.rmtree(folder, ignore_errors=True)


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


def wait_for(what: str, there, nodes: Nodes, seconds: float = STARTS_S):
    """Wait until a function gives something, and give that."""
    until_s = time.monotonic() + seconds
    while time.monotonic() < until_s:
        if (found := there()) is not None:
            return found
        gone = [name for name, node in nodes.started.items() if node.poll() is not None]
        assert not gone, f"{gone} ended: {nodes.said(gone[0])}"
        time.sleep(0.1)
    raise AssertionError(f"{what}: not within {seconds:.0f} s")


@contextmanager
def ray_nodes() -> Iterator[Nodes]:
    """A head that does no work, without workers yet."""
    folder = Path(tempfile.mkdtemp(prefix="er-"))  # Ray's sockets bear no long path
    port, client = free_port(), free_port()
    nodes = Nodes(folder, f"127.0.0.1:{port}", f"ray://127.0.0.1:{client}")
    watching = [sys.executable, "-c", "import sys, ray_nodes; ray_nodes.watch(sys.argv[1])", str(folder)]
    watcher = subprocess.Popen(watching, env=environment(), stdin=subprocess.PIPE, start_new_session=True)
    try:
        nodes.start(
            "head",
            *("--head", "--num-cpus", "0", "--node-ip-address", "127.0.0.1", "--port", str(port)),
            *("--ray-client-server-port", str(client), "--include-dashboard", "false", "--temp-dir", str(folder)),
        )
        nodes.runs("head")
        yield nodes
    finally:
        watcher.communicate(b"")  # it hears that nobody is there and ends all nodes
        for node in nodes.started.values():
            node.wait()
