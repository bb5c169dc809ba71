"""Worker processes give what one process gives."""

import os
from concurrent.futures import Future
from functools import partial
from itertools import pairwise

import numpy as np
import pyarrow as pa
import pytest
from acted_film import KnowingAreas, KnowingDetector, Play, quick, write_film
from hypothesis import given
from hypothesis import settings as trials
from hypothesis import strategies as st

from pipeline.court.tables import CAMERAS
from pipeline.crew import LocalCrew, in_turn, worker_count
from pipeline.errors import FilmError, WorkerError
from pipeline.film.decode import DELIVERED
from pipeline.film.fetching import FilmPlace, film_digest
from pipeline.film.score_bug import BugReader
from pipeline.film.shots import found_shots
from pipeline.library.games import Library
from pipeline.night.looking import Stopwatch
from pipeline.night.pieces import Grid, Run, see_run
from pipeline.night.run import Networks, run_film
from pipeline.night.vision import Eyes, SeenParts, see_film, see_film_together
from pipeline.players.tables import BOXES, TRACKS

CROWD = Play(inside=6)
SHORT_PIECES = quick(piece_s=0.9, stretch_s=0.4).with_rule_book("nba")


def eyes_of(play: Play, _lookers: int = 1) -> Eyes:
    return Eyes(KnowingAreas(), KnowingDetector(play))


def unheard(_done_s: float) -> None:
    pass


def silent(_done: float, _total: float) -> None:
    pass


@pytest.fixture(scope="module")
def film(tmp_path_factory):
    return write_film(tmp_path_factory.mktemp("films") / "crowd.mp4", CROWD)


@pytest.fixture(scope="module")
def alone(film, tmp_path_factory):
    return see_film(film, eyes_of(CROWD), SHORT_PIECES, SeenParts(tmp_path_factory.mktemp("alone")), silent)


def told(table: pa.Table) -> str:
    """Every value in words, so that what is not known equals what is not known."""
    return repr(table.to_pylist())


def same(one, other) -> None:
    for name, table in one.tables.items():
        assert table.equals(other.tables[name]), name
    assert [(b.frame, b.kind) for b in one.found.boundaries] == [(b.frame, b.kind) for b in other.found.boundaries]
    assert np.array_equal(one.found.change, other.found.change)
    assert np.array_equal(one.found.times_s, other.found.times_s)


def test_workers_see_what_one_process_sees(film, alone, tmp_path):
    assert Grid.of(SHORT_PIECES).pieces(_info(film)) >= 6
    done: list[float] = []
    with LocalCrew(2) as crew:
        together = see_film_together(
            FilmPlace(film, film_digest(film)),
            partial(eyes_of, CROWD),
            SHORT_PIECES,
            SeenParts(tmp_path / "parts"),
            lambda seconds, _: done.append(seconds),
            crew,
            2,
        )
        assert 2 <= len(crew.used) <= 3, "and the process they come from"
        assert max(used.peak_mb for used in crew.used.values()) > 20
        assert min(used.peak_mb for used in crew.used.values()) > 0
        assert sum(used.cpu_s for used in crew.used.values()) > 0.5
    same(alone, together)
    assert done == sorted(done)
    assert done[-1] == pytest.approx(6.0)


def test_the_pieces_that_are_there_are_not_looked_at_again(film, alone, tmp_path):
    parts = SeenParts(tmp_path / "parts")
    see_film(film, eyes_of(CROWD), SHORT_PIECES, parts, silent)
    for lost in (1, 2, 5):
        (piece,) = parts.folder.glob(f"part-*{lost}")
        for file in piece.iterdir():
            file.unlink()
        piece.rmdir()
    eyes = eyes_of(CROWD)
    same(alone, see_film(film, eyes, SHORT_PIECES, parts, silent))
    assert 0 < eyes.areas.looked < alone.tables["areas"].num_rows


@pytest.mark.parametrize("damaged", [0, 3])
def test_it_does_not_matter_how_a_film_is_cut_into_runs(film, tmp_path, damaged):
    data = bytearray(film.read_bytes())
    for at in np.linspace(len(data) * 0.6, len(data) * 0.9, damaged).astype(int):
        data[at : at + 20] = bytes(20)
    (copy := tmp_path / "copy.mp4").write_bytes(bytes(data))
    count = Grid.of(SHORT_PIECES).pieces(_info(copy))
    cuts = {"whole": [0, count], "pieces": [*range(count + 1)], "three": [0, 2, 3, count]}
    found = {}
    for name, ends in cuts.items():
        bug: Future[BugReader] = Future()
        bug.set_result(BugReader(None))
        for first, stop in pairwise(ends):
            run = Run(copy, SHORT_PIECES, first, stop, tmp_path / name / "units")
            (tmp_path / name).mkdir(exist_ok=True)
            see_run(run, eyes_of(CROWD), bug, unheard, Stopwatch())
        parts = SeenParts(tmp_path / name / "units")
        tables = {key: told(table) for key, table in parts.read().items()}
        noted = parts.read_signs()
        shots = found_shots([piece.signs for piece in noted])
        found[name] = (tables, [b.t_s for b in shots.boundaries], np.concatenate([piece.fates for piece in noted]))
    tables, starts, fates = found["whole"]
    assert (np.count_nonzero(fates != DELIVERED) > 0) == bool(damaged)
    for name in ("pieces", "three"):
        assert all(table == found[name][0][key] for key, table in tables.items()), name
        assert starts == found[name][1]
        assert np.array_equal(fates, found[name][2])


def test_a_film_run_by_workers_is_the_same_game(film, tmp_path):
    def run(name: str, lookers: int):
        networks = Networks(
            partial(eyes_of, CROWD),
            lambda: {"areas": "a"},
            partial(eyes_of, CROWD),
            lambda: lookers,
            partial(LocalCrew, lookers),
        )
        where = Library(tmp_path / name)
        return run_film(film, where, networks, SHORT_PIECES, book=None, progress=lambda _: silent).game.tables

    one, two = run("one", 1), run("two", 2)
    for spec in (BOXES, CAMERAS, TRACKS):
        assert told(spec.read(one)) == told(spec.read(two)), spec.name


def test_what_goes_wrong_in_a_worker_goes_wrong_here(film):
    missing = film.with_name("missing.mp4")
    with pytest.raises(FilmError), LocalCrew(2) as crew:
        list(crew.spread(partial(_probe_again, missing), [1, 2, 3]))
    with pytest.raises(WorkerError, match="memory"), LocalCrew(2) as crew:
        list(crew.spread(os._exit, [3, 3]))


@trials(max_examples=20, deadline=None)
@given(st.lists(st.integers(-9, 9), max_size=9), st.integers(0, 1))
def test_without_workers_everything_is_done_here(items, workers):
    with LocalCrew(workers) as crew:
        assert list(crew.spread(abs, items)) == list(in_turn(abs, items)) == [abs(item) for item in items]
        assert not crew.begun


def test_results_come_in_the_items_order_however_few_work_at_once():
    items = list(range(-20, 20))
    with LocalCrew(2) as crew:
        for at_once in (2, 40):
            assert list(crew.spread_few(abs, items, at_once)) == [abs(item) for item in items]
        assert crew.begun


def test_cores_and_memory_bound_the_workers():
    assert worker_count(2, cores_each=4, memory_each_gb=0.01) == 1
    assert worker_count(16, cores_each=4, memory_each_gb=1e-3) == 4
    assert worker_count(16, cores_each=1, memory_each_gb=1e6) == 1
    assert worker_count(16, cores_each=1, memory_each_gb=1e-3, most=3.9) == 3


def _info(film):
    from pipeline.film.probe import probe

    return probe(film)


def _probe_again(path, _item):
    return _info(path)


def test_tables_of_the_pass_are_of_their_kind(alone):
    assert all(isinstance(table, pa.Table) for table in alone.tables.values())
    assert alone.tables["frames"].num_rows == 75
