"""Machines that share a run give what one process gives, whichever of them dies on the way."""

from __future__ import annotations

import socket
import subprocess
import sys
import time
from pathlib import Path

import pyarrow.parquet as pq
import pytest
from acted_film import write_film
from cluster_run import NODE, PLAY, SETTINGS, SLOW_S, eyes
from ray_nodes import Nodes, environment, ray_nodes, wait_for

from pipeline.backends import Device
from pipeline.errors import ClusterError
from pipeline.library.games import Library
from pipeline.night.cluster import RayCrew, Share, connect, share_of_looker
from pipeline.night.run import Networks, run_film

pytest.importorskip("ray")
GB = 2.0**30
BEGIN = "import sys, cluster_run; cluster_run.main(*sys.argv[1:])"


def tables_of(library: Path) -> dict[str, list[dict]]:
    (game,) = Library(library).games()
    return {path.stem: repr(pq.read_table(path).to_pylist()) for path in sorted(game.tables.glob("*.parquet"))}


@pytest.fixture(scope="module")
def film(tmp_path_factory):
    return write_film(tmp_path_factory.mktemp("films") / "crowd.mp4", PLAY)


@pytest.fixture(scope="module")
def undisturbed(film, tmp_path_factory):
    place = tmp_path_factory.mktemp("alone")
    networks = Networks(open=lambda: eyes(place), digests=lambda: {"areas": "a"})
    run_film(film, Library(place / "library"), networks, SETTINGS, book=None, progress=lambda _: lambda _d, _t: None)
    return tables_of(place / "library")


@pytest.fixture(scope="module")
def cluster():
    with ray_nodes() as nodes:
        yield nodes


def began(film: Path, library: Path, address: str, marks: Path) -> subprocess.Popen[str]:
    marks.mkdir(exist_ok=True)
    return subprocess.Popen(
        [sys.executable, "-c", BEGIN, str(film), str(library), address, str(marks)],
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )


@pytest.mark.slow
def test_a_machine_that_dies_on_the_way_changes_nothing(cluster: Nodes, film, undisturbed, tmp_path):
    cluster.join("steady", "dying", steady={NODE: "steady"}, dying={NODE: "dying", SLOW_S: "1"})
    marks = tmp_path / "marks"
    run = began(film, tmp_path / "library", cluster.address, marks)
    try:
        wait_for("work on it", lambda: next(iter(marks.glob("dying *")), None), cluster)
        cluster.kill("dying")
        assert run.poll() is None, "it was killed while the run went on"
        said, _ = run.communicate(timeout=240)
    finally:
        run.kill()
        run.wait()
    assert run.returncode == 0, said
    assert list(marks.glob("steady *"))
    assert not list(marks.glob("here *")), "the head only hands out and writes"
    assert tables_of(tmp_path / "library") == undisturbed
    (game,) = Library(tmp_path / "library").games()
    assert not list(game.folder.rglob("*.tmp"))


@pytest.mark.slow
def test_a_machine_outside_a_cluster_works_with_it_and_is_told_what_went_wrong_there(cluster: Nodes):
    """Runs after the machine above has died: one is left."""
    told = subprocess.run(
        [sys.executable, "-c", "import cluster_run, sys; cluster_run.ask(sys.argv[1])", cluster.client],
        env=environment(),
        capture_output=True,
        text=True,
        timeout=240,
        check=False,
    )
    assert told.returncode == 0, told.stdout + told.stderr
    assert "does not see the film /nowhere/film.mp4; put it into a folder" in told.stdout
    assert "another elbowroom than the machine that began" in told.stdout
    assert "no machine" in told.stdout.lower()


def test_what_is_no_head_is_refused_at_once():
    began_s = time.monotonic()
    with pytest.raises(ClusterError, match=r"No head of Ray answers at 127\.0\.0\.1:1 .*start one there"):
        connect("127.0.0.1:1")
    with pytest.raises(ClusterError, match="no address of a cluster; write local, HOST:PORT or ray://HOST:PORT"):
        connect("http://somewhere:80")
    assert time.monotonic() - began_s < 20


def test_what_does_not_speak_is_not_waited_for(monkeypatch):
    monkeypatch.setattr("pipeline.night.cluster.ANSWER_S", 0.5)
    with socket.socket() as mute:
        mute.bind(("127.0.0.1", 0))
        mute.listen()
        port = mute.getsockname()[1]
        for address in (f"127.0.0.1:{port}", f"ray://127.0.0.1:{port}"):
            with pytest.raises(ClusterError, match="nothing was heard"):
                connect(address)


def test_a_run_does_not_wait_for_ever_for_machines_that_are_gone(monkeypatch):
    there = [[{"CPU": 1.0}]]
    monkeypatch.setattr("pipeline.night.cluster.nodes", lambda: there[0])
    monkeypatch.setattr("pipeline.night.cluster.NO_NODES_S", 0.05)
    crew = RayCrew("head:6379", lambda _: Share(1))
    crew._check(Share(1))
    time.sleep(0.1)
    crew._check(Share(1))
    there[0] = [{"CPU": 0.0}]
    time.sleep(0.1)
    with pytest.raises(ClusterError, match="has lost every machine that has 1 core"):
        crew._check(Share(1))
    there[0] = [{"CPU": 1.0}]
    crew._check(Share(1))


MEMORY = {Device.CPU: 2.0, Device.CUDA: 3.0}
SMALL, LARGE = {"CPU": 2.0, "memory": 8 * GB}, {"CPU": 16.0, "memory": 64 * GB}
CARD = {**LARGE, "GPU": 1.0}


@pytest.mark.parametrize(
    ("nodes", "device", "share", "room"),
    [
        ([LARGE], Device.AUTO, Share(4, 2.0), 4),
        ([{"CPU": 0.0, "memory": 8 * GB}, SMALL, LARGE], Device.AUTO, Share(2, 2.0), 1 + 8),
        ([{"CPU": 16.0, "memory": 5 * GB}], Device.CPU, Share(4, 2.0), 2),
        ([CARD, LARGE], Device.AUTO, Share(1, 3.0, 1 / 12), 12),
        ([CARD, LARGE], Device.CPU, Share(4, 2.0), 8),
        ([], Device.AUTO, Share(4, 2.0), 0),
    ],
)
def test_how_many_look_at_once(nodes, device, share, room):
    found = share_of_looker(nodes, device, MEMORY)
    assert found == share
    assert sum(found.fits(node) for node in nodes) == room


def test_a_card_that_is_asked_for_must_be_there():
    with pytest.raises(ClusterError, match="No machine of the cluster has a GPU"):
        share_of_looker([LARGE], Device.CUDA, MEMORY)
