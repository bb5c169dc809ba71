"""Fifty reviewers at once, and a server that is killed while they decide: nobody loses what a page acknowledged."""

import json
import os
import signal
import socket
import ssl
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import httpx2
import pytest

from pipeline.library.games import Library
from pipeline.tags import Deed, Note, TagStore

ROOT = Path(__file__).resolve().parents[2]
REVIEWERS = 50
SECONDS = 20
START_S = 180.0
"""A busy machine of two cores starts the program slowly."""
NO_TLS = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
"""For plain HTTP: without it every client reads the certificates of the world before it first asks."""
WROTE = {Deed.CONFIRMED, Deed.REJECTED, Deed.UNSURE, Deed.NOTED, Deed.LABELLED}


@pytest.fixture(params=["sqlite", "postgresql"])
def full_library(request: pytest.FixtureRequest, library: Library) -> Library:
    """The test's library with forty tags more, its store in either database."""
    with library.tag_store() as store:
        found = [tag.candidate for tag in store.tags()]
        more = [
            replace(found[n % len(found)], start_s=20.0 * n, t_s=20.0 * n + 1, end_s=20.0 * n + 2, shot=0)
            for n in range(40)
        ]
        if request.param == "sqlite":
            store.merge("more", more, who="run", when=datetime.now(UTC))
    if request.param == "postgresql":
        place = request.getfixturevalue("postgres_place")
        with TagStore(place) as store:
            store.merge("more", more, who="run", when=datetime.now(UTC))
        (library.root / "library.toml").write_text(f"tag_store = {json.dumps(place)}\n", encoding="utf-8")
    return library


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


@contextmanager
def reviewing(library: Library, port: int) -> Iterator[subprocess.Popen[bytes]]:
    """The review pages as users start them, in a process of their own."""
    command = [sys.executable, "-m", "pipeline.cli", "review", "--library", str(library.root), "--port", str(port)]
    process = subprocess.Popen(command, cwd=ROOT, stderr=subprocess.PIPE)
    try:
        until = time.monotonic() + START_S
        while True:
            try:
                httpx2.get(f"http://127.0.0.1:{port}/api/me", timeout=5, verify=NO_TLS).raise_for_status()
                break
            except httpx2.HTTPError:
                assert process.poll() is None, process.stderr and process.stderr.read().decode()
                assert time.monotonic() < until, "the review pages do not come up"
                time.sleep(0.1)
        yield process
    finally:
        process.kill()
        process.wait()
        assert process.stderr is not None
        process.stderr.close()


def history_of(library: Library) -> tuple[list[int], Counter[tuple[int, str, str]], list[Note]]:
    """Numbers of the tags; how often each (tag, who, text) stands in their history; all lines."""
    with library.tag_store() as store:
        tags = [tag.tag for tag in store.tags()]
        lines = [note for tag in tags for note in store.history(tag)]
    return tags, Counter((n.tag, n.who, n.text) for n in lines if n.deed in WROTE), lines


@pytest.mark.slow
def test_fifty_reviewers_at_once_see_no_error_and_lose_no_decision(full_library, tmp_path):
    tags, before, _ = history_of(full_library)
    assert not before
    acknowledged = tmp_path / "acknowledged.jsonl"
    acknowledged.touch()
    port = free_port()
    with reviewing(full_library, port) as server:
        done = subprocess.run(
            [
                *(sys.executable, "-m", "locust", "-f", str(Path(__file__).with_name("reviewers.py"))),
                *("--headless", "--only-summary", "--json", "-u", str(REVIEWERS), "-r", "25", "-t", f"{SECONDS}s"),
                *("--stop-timeout", "30", "--host", f"http://127.0.0.1:{port}"),
            ],
            cwd=tmp_path,
            env=os.environ | {"ELBOWROOM_ACKNOWLEDGED": str(acknowledged), "ELBOWROOM_TAGS": json.dumps(tags)},
            capture_output=True,
            text=True,
            timeout=SECONDS + 150,
            check=False,
        )
        assert done.returncode == 0, f"{done.stdout[-3000:]}\n{done.stderr[-3000:]}"
        assert server.poll() is None
    told = {entry["name"]: entry for entry in json.loads(done.stdout)}
    assert sum(entry["num_failures"] for entry in told.values()) == 0
    lines = [json.loads(line) for line in acknowledged.read_text(encoding="utf-8").splitlines()]
    assert len({line["who"] for line in lines}) == REVIEWERS
    assert told["POST decide"]["num_requests"] > 3 * REVIEWERS
    _, kept, history = history_of(full_library)
    acknowledged_lines = Counter((line["tag"], line["who"], line["line"]) for line in lines)
    assert kept == acknowledged_lines, "everything acknowledged stands once, and nothing else does"
    with full_library.tag_store() as store:
        for tag in store.tags():
            own = [n for n in history if n.tag == tag.tag]
            decided = [n for n in own if n.deed in WROTE - {Deed.NOTED, Deed.LABELLED}]
            assert tag.decided_by == (decided[-1].who if decided else None)
            assert tag.revision == 1 + sum(n.deed in WROTE - {Deed.LABELLED} for n in own)


class Person(threading.Thread):
    """Decides tag after tag; keeps what was acknowledged; comes back when the server does."""

    def __init__(self, number: int, address: str, tags: list[int], stop: threading.Event) -> None:
        super().__init__()
        self.who, self.address, self.tags, self.stop = f"Person {number}", address, tags, stop
        self.acknowledged: list[tuple[int, str, str]] = []
        self.unknown: list[tuple[int, str, str]] = []
        self.lost_connections = 0
        self.refused: list[str] = []

    def run(self) -> None:
        """Until told to stop."""
        step = 0
        while not self.stop.is_set():
            try:
                with httpx2.Client(
                    base_url=self.address,
                    headers={"Origin": self.address},
                    timeout=20,
                    follow_redirects=True,
                    verify=NO_TLS,
                ) as client:
                    token = client.get("/api/me").raise_for_status().json()["token"]
                    client.post("/me", data={"csrf": token, "name": self.who}).raise_for_status()
                    client.headers["X-CSRF-Token"] = client.get("/api/me").raise_for_status().json()["token"]
                    while not self.stop.is_set():
                        step += 1
                        self._decide(client, step)
            except httpx2.TransportError:
                self.lost_connections += 1
                time.sleep(0.3)

    def _decide(self, client: httpx2.Client, step: int) -> None:
        line = (self.tags[step % len(self.tags)], self.who, f"{self.who}, {step}")
        self.unknown.append(line)
        answer = client.post(f"/api/tags/{line[0]}/decide", json={"verdict": "confirmed", "text": line[2]})
        self.unknown.remove(line)
        if answer.status_code == 200:
            self.acknowledged.append(line)
        else:
            self.refused.append(f"{answer.status_code}: {answer.text[:200]}")


@pytest.mark.slow
def test_a_server_that_is_killed_during_decisions_loses_none_that_was_acknowledged(full_library):
    tags, _, _ = history_of(full_library)
    port, stop = free_port(), threading.Event()
    people = [Person(n, f"http://127.0.0.1:{port}", tags[n::4], stop) for n in range(4)]
    try:
        for turn in range(3):
            with reviewing(full_library, port) as server:
                if not turn:
                    for person in people:
                        person.start()
                enough = sum(len(p.acknowledged) for p in people) + 25 + 10 * turn
                until = time.monotonic() + 120
                while sum(len(p.acknowledged) for p in people) < enough:
                    assert time.monotonic() < until, [p.refused for p in people]
                    time.sleep(0.01)
                os.kill(server.pid, signal.SIGKILL)
                server.wait()
    finally:
        stop.set()
        for person in people:
            person.join(timeout=60)
    assert [p.refused for p in people] == [[]] * len(people)
    assert all(p.lost_connections for p in people), "the server was killed while they worked"
    _, kept, _ = history_of(full_library)
    lines = [line for p in people for line in p.acknowledged]
    assert len(lines) >= 25 + 35 + 45
    assert [line for line in lines if kept[line] != 1] == []
    written_unheard = set(kept) - set(lines)
    assert written_unheard <= {line for p in people for line in p.unknown}, "else nothing is in the store"
