"""A run that is struck at any moment goes on where it was, and comes to what it would have come to undisturbed."""

from __future__ import annotations

import errno
import json
import os
import signal
from collections.abc import Callable
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path

import pytest
from acted_film import KnowingAreas, KnowingDetector, Play, knowing_networks, quick, write_film
from sqlalchemy.orm import Session

from pipeline.crew import in_turn
from pipeline.errors import BusyError, FilmError, LibraryError, WorkerError
from pipeline.evaluate.kills import differences
from pipeline.film import probe as probing
from pipeline.film.settings import DecodeSettings
from pipeline.library.games import Library
from pipeline.night import pieces, units, vision
from pipeline.night import run as running
from pipeline.night.run import run_film
from pipeline.night.units import kept
from pipeline.night.vision import Eyes, SeenParts
from pipeline.settings import Settings

PLAY = Play(inside=6)
FRAMES = 60
SHORT_PIECES = quick(piece_s=0.8, stretch_s=0.4, workers=1)


def silent(_stage: str) -> Callable[[float, float], None]:
    return lambda _done, _total: None


def run(film: Path, library: Path, networks=None, settings: Settings = SHORT_PIECES):
    given = networks or knowing_networks(PLAY)
    return run_film(film, Library(library), given, settings, book=None, progress=silent)


@pytest.fixture(scope="module")
def film(tmp_path_factory) -> Path:
    return write_film(tmp_path_factory.mktemp("films") / "crowd.mp4", PLAY, FRAMES)


@pytest.fixture(scope="module")
def undisturbed(film, tmp_path_factory) -> Path:
    library = tmp_path_factory.mktemp("undisturbed") / "library"
    run(film, library)
    return library


def killed_run(film: Path, library: Path, after: int) -> None:
    """The run kills itself, as ``kill -9`` would, before so many-th file or folder gets its name."""
    names = 0

    def striking(call):
        def named(*places):
            nonlocal names
            names += 1
            if names == after:
                os.kill(os.getpid(), signal.SIGKILL)
            return call(*places)

        return named

    os.replace, os.rename = striking(os.replace), striking(os.rename)
    run(film, library)


@pytest.mark.slow
@pytest.mark.parametrize("every", [13, 23])
def test_killed_again_and_again_it_comes_to_the_same(film, undisturbed, tmp_path, every):
    """The vision pass names its nine tables and the record in one go: struck before that, it would do so for ever."""
    context = get_context("forkserver")
    context.set_forkserver_preload(["pipeline.night.run"])
    library, kills = tmp_path / "library", 0
    while True:
        process = context.Process(target=killed_run, args=(film, library, every))
        process.start()
        process.join(120)
        if process.exitcode == 0:
            break
        assert process.exitcode == -signal.SIGKILL
        kills += 1
        assert kills < 60, "every run gets farther than the one before it"
    assert kills >= 2
    assert differences(undisturbed, library) == []


@pytest.mark.parametrize(
    "room", [25, pytest.param(0, marks=pytest.mark.slow), pytest.param(50, marks=pytest.mark.slow)]
)
def test_a_full_disk_takes_nothing_that_was_there(film, undisturbed, tmp_path, monkeypatch, room):
    library, left = tmp_path / "library", room
    sync = os.fsync

    def full(handle: int) -> None:
        nonlocal left
        left -= 1
        if left < 0:
            raise OSError(errno.ENOSPC, "No space left on device")
        sync(handle)

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space left"):
        run(film, library)
    monkeypatch.undo()
    assert not list(library.rglob("*.parquet.*.tmp")), "what could not be written is taken away"
    looked: list[int] = []
    run(film, library, watched(looked))
    assert differences(undisturbed, library) == []
    assert len(looked) < FRAMES / 2 or room == 0, "pieces that were seen are not looked at again"


def watched(looked: list[int], strike: Callable[[int], None] = lambda _: None):
    """Networks that note how many pictures they looked at."""

    class Watching(KnowingDetector):
        def detect(self, frames_bgr):
            strike(len(looked))
            looked.extend(range(len(frames_bgr)))
            return super().detect(frames_bgr)

    return replace(knowing_networks(PLAY), open=lambda: Eyes(KnowingAreas(), Watching(PLAY)))


class LostShare:
    """A film's bytes, which cannot be read any more once a piece of the film has been seen."""

    def __init__(self, stream, library: Path) -> None:
        self._stream, self._library = stream, library

    def __getattr__(self, name: str):
        return getattr(self._stream, name)

    def read(self, size: int) -> bytes:
        if list(self._library.glob("games/*/units/film-*/part-000000")):
            raise OSError(errno.ESTALE, "Stale file handle")
        return self._stream.read(size)


def test_a_film_whose_share_goes_away_is_no_damaged_film(film, undisturbed, tmp_path, monkeypatch):
    library, reading = tmp_path / "library", probing._Reading.__init__
    monkeypatch.setattr(probing, "READ_BYTES", 1024)
    monkeypatch.setattr(
        probing._Reading, "__init__", lambda self, path, stream: reading(self, path, LostShare(stream, library))
    )
    with pytest.raises(FilmError, match=r"Stale file handle\): its disk or share has gone away") as told:
        run(film, library)
    assert isinstance(told.value.__cause__, OSError), "a night tries it again"
    monkeypatch.undo()
    assert list(library.glob("games/.unfinished-*/units/film-*/part-*")), "what was seen stays"
    looked: list[int] = []
    run(film, library, watched(looked))
    assert 0 < len(looked) < FRAMES / 2
    assert differences(undisturbed, library) == []


def test_what_was_lost_to_damage_is_told_after_a_kill_too(film, tmp_path, monkeypatch):
    data = bytearray(film.read_bytes())
    at = int(0.6 * len(data))
    data[at : at + 40] = bytes(40)
    (scratched := tmp_path / "scratched.mp4").write_bytes(bytes(data))
    borne = SHORT_PIECES.model_copy(
        update={"film": SHORT_PIECES.film.model_copy(update={"decode": DecodeSettings(largest_lost_share=0.9)})}
    )

    def killed(*_arguments, **_options):
        raise KeyboardInterrupt

    monkeypatch.setattr(running, "register", killed)
    with pytest.raises(KeyboardInterrupt):
        run(scratched, tmp_path / "library", settings=borne)
    monkeypatch.undo()
    again = run(scratched, tmp_path / "library", settings=borne)
    assert not again.stages[0].ran
    assert "lost to damage" in again.damage
    assert run(scratched, tmp_path / "library", settings=borne).damage == again.damage


@pytest.mark.parametrize("moment", ["within", "after"])
def test_a_kill_at_the_tag_store_doubles_and_loses_nothing(film, undisturbed, tmp_path, monkeypatch, moment):
    bring, flush = running.bring_tags, Session.flush

    def killed(*given):
        bring(*given)
        raise KeyboardInterrupt

    def killed_flush(session, objects=None):
        flush(session, objects)
        raise KeyboardInterrupt

    if moment == "within":
        monkeypatch.setattr(Session, "flush", killed_flush)
    else:
        monkeypatch.setattr(running, "bring_tags", killed)
    with pytest.raises(KeyboardInterrupt):
        run(film, tmp_path / "library")
    monkeypatch.undo()
    again = run(film, tmp_path / "library")
    assert not any(stage.ran for stage in again.stages)
    assert len(again.merge.new) == (0 if moment == "after" else len(again.tags))
    assert differences(undisturbed, tmp_path / "library") == []


def test_a_lost_worker_costs_no_piece(film, tmp_path):
    def lost(looked: int) -> None:
        if looked > 10:
            raise WorkerError("A worker process of this run was ended from outside.")

    with pytest.raises(WorkerError):
        run(film, tmp_path / "library", watched([], lost))
    assert list(tmp_path.glob("library/games/.unfinished-*/units/film-*/part-*"))


def test_a_library_whose_share_goes_away_is_not_made_anew_elsewhere(tmp_path):
    gone = tmp_path / "share" / "games" / "g" / "units" / "film-1"
    with pytest.raises(FileNotFoundError):
        SeenParts(gone).add_signs(0, None)
    assert not (tmp_path / "share").exists()


def test_what_killed_runs_left_is_taken_away(film, tmp_path):
    library = tmp_path / "library"
    game = run(film, library).game
    log = game.folder / "logs" / "runs.jsonl"
    log.write_text(log.read_text() + '{"when": "2026-', encoding="utf-8")
    for left in (
        "state.json.77.tmp",
        "game.toml.77.tmp",
        "tables/boxes.parquet.77.tmp",
        "units/film-0/signs-000000.npz",
    ):
        (game.folder / left).parent.mkdir(parents=True, exist_ok=True)
        (game.folder / left).write_bytes(b"half")
    run(film, library)
    assert not [*library.rglob("*.tmp"), *library.rglob("units")]
    whole, half, again = log.read_text(encoding="utf-8").splitlines()
    assert json.loads(whole)["stages"]
    assert json.loads(again)["unchanged"]
    assert half == '{"when": "2026-'


def test_kept_results_are_not_worked_on_again(tmp_path):
    (tmp_path / "units").mkdir()
    folder, worked = tmp_path / "units" / "court-1", []

    def work(item: int) -> int:
        if item == 3 and not worked.count(3):
            worked.append(item)
            raise KeyboardInterrupt
        worked.append(item)
        return item * item

    with pytest.raises(KeyboardInterrupt):
        list(kept(in_turn, folder)(work, [0, 1, 2, 3, 4]))
    (folder / "000-00001").write_bytes((folder / "000-00001").read_bytes()[:-1])
    worked.clear()
    worked.append(3)
    spread = kept(in_turn, folder)
    assert list(spread(work, [0, 1, 2, 3, 4])) == [0, 1, 4, 9, 16]
    assert worked == [3, 1, 3, 4], "what a power cut spoiled, and what was not done"
    assert list(spread(work, [7])) == [49], "another call of the stage"
    assert list(kept(in_turn, tmp_path / "units" / "court-2")(work, [2])) == [4], "another key"


def test_a_killed_stage_keeps_its_shots(film, undisturbed, tmp_path, monkeypatch):
    library, keep, stored = tmp_path / "library", units._keep, []

    def killed(place: Path, content: bytes) -> None:
        keep(place, content)
        stored.append(f"{place.parent.name}/{place.name}")
        if sum(name.startswith("players") for name in stored) == 2:
            raise KeyboardInterrupt

    monkeypatch.setattr(units, "_keep", killed)
    with pytest.raises(KeyboardInterrupt):
        run(film, library)
    before = len(stored)
    run(film, library)
    assert stored[before].startswith("players")
    assert stored[before].endswith("/002-00000"), "the two that were there are not worked on again"
    assert len(set(stored)) == len(stored)
    assert differences(undisturbed, library) == []


@pytest.mark.parametrize(
    "spoilt", ["part-000001/boxes.parquet", pytest.param("signs-000001.npz", marks=pytest.mark.slow)]
)
def test_a_piece_that_the_disk_spoiled_is_looked_at_anew(film, undisturbed, tmp_path, monkeypatch, spoilt):
    def killed(*_given):
        raise KeyboardInterrupt

    monkeypatch.setattr(vision, "_put_together", killed)
    with pytest.raises(KeyboardInterrupt):
        run(film, tmp_path / "library")
    monkeypatch.undo()
    (place,) = (tmp_path / "library").glob(f"games/*/units/film-*/{spoilt}")
    place.write_bytes(place.read_bytes()[:-40] + bytes(40))
    with pytest.raises(LibraryError, match=r"is spoiled .* has been taken away: run the film again, only this piece"):
        run(film, tmp_path / "library")
    looked: list[int] = []
    run(film, tmp_path / "library", watched(looked))
    assert len(looked) == (10 if spoilt.startswith("part") else 0), "half of the 20 frames of a piece are analysed"
    assert differences(undisturbed, tmp_path / "library") == []


def test_a_piece_that_two_runs_finish_is_there_once(tmp_path):
    (tmp_path / "game" / "units").mkdir(parents=True)
    parts = SeenParts(tmp_path / "game" / "units" / "film-1")
    tables = {spec.name: spec.empty() for spec in pieces.PARTS}
    parts.add(3, tables)
    parts.add(3, tables)
    assert parts.looked_at() == {3}
    assert parts.done() == frozenset(), "its signs are not there yet"
    assert [path.name for path in parts.folder.iterdir()] == ["part-000003"]


def test_two_runs_of_one_film_are_not_both_let_in(tmp_path):
    library = Library(tmp_path / "library")
    with library.claim("a" * 64):
        with pytest.raises(BusyError, match="Another run is working on this film"), library.claim("a" * 64):
            pass
        with library.claim("b" * 64):
            pass
    assert not (tmp_path / "library").exists()


def test_a_lock_whose_file_was_taken_away_keeps_nobody_off(tmp_path):
    """Another run lets go, and takes its lock's file away, between our opening and our locking it."""
    from pipeline.library import games

    opened = games.FileLock(tmp_path / "lock", timeout=0)
    opened.acquire()
    (tmp_path / "lock").unlink()
    held = games._claimed(tmp_path / "lock")
    assert (tmp_path / "lock").exists()
    with pytest.raises(games.Timeout):
        games._claimed(tmp_path / "lock")
    held.release()
    opened.release()


def test_a_name_that_is_taken_meanwhile_is_no_trouble(film, tmp_path):
    library = Library(tmp_path / "library")
    one, other = (library.begin(film, letter * 64) for letter in "ab")
    assert one.name == other.name
    assert [library.keep(game).name for game in (one, other)] == ["crowd", "crowd-2"]


def test_unfinished_games_of_films_that_never_come_again_are_swept_up(film, tmp_path):
    library = Library(tmp_path / "library")
    for letter in "abc":
        library.begin(film, letter * 64)
    (library.root / "index.json.99.tmp").touch()
    with library.claim("b" * 64):
        gone = library.sweep(0.0)
        assert sorted(path.name[-1] for path in gone if path.name.startswith(".unfinished")) == ["a", "c"]
        assert gone[-1] == library.root / "index.json.99.tmp"
        assert library.sweep(3600.0) == ()
    assert [path.name for path in (tmp_path / "library" / "games").iterdir()] == [".unfinished-" + "b" * 16]
