"""A night of films: what is whole is run, what is broken is told, what may pass is tried again, nothing stops it."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import threading
import time
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import psutil
import pytest
from acted_film import Play, knowing_networks, quick, write_film

from pipeline.errors import ElbowroomError, FilmError, LibraryError, SettingsError
from pipeline.library.games import Library
from pipeline.library.nights import (
    LOG,
    RECORD,
    FilmNight,
    FilmState,
    Night,
    newest_night,
    night_folder,
    read_nights,
    write_night,
)
from pipeline.night.batch import minutes, run_night
from pipeline.night.films import FilmFile, Settling, films_in
from pipeline.night.night_screen import night_lines, night_table
from pipeline.night.orders import Orders, time_of_day
from pipeline.night.run import Networks
from pipeline.night.settings import NightSettings
from pipeline.settings import Settings

SETTINGS = quick(settle_s=0.0, retry_wait_s=0.0, least_free_gb=0.0, workers=1).with_rule_book("nba")
FRAMES = 40
ENDINGS = NightSettings().film_endings


def networks(_settings: Settings) -> Networks:
    return knowing_networks(Play(inside=6))


def dying_once(settings: Settings) -> Networks:
    """The process is killed from outside as it opens the networks, the first time."""
    mark = Path(os.environ["ELBOWROOM_TEST_MARK"])
    if not mark.exists():
        mark.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return networks(settings)


def disk_lost_once(settings: Settings) -> Networks:
    mark = Path(os.environ["ELBOWROOM_TEST_MARK"])
    if not mark.exists():
        mark.touch()
        raise OSError(5, "Input/output error")
    return networks(settings)


def at_fault(_settings: Settings) -> Networks:
    raise ValueError("a fault of the program")


def slow(settings: Settings) -> Networks:
    time.sleep(60)
    return networks(settings)


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> Path:
    return write_film(tmp_path_factory.mktemp("made") / "film.mp4", Play(inside=6), FRAMES)


@pytest.fixture
def folder(made, tmp_path) -> Path:
    films = tmp_path / "films"
    films.mkdir()
    shutil.copy(made, films / "b game.mp4")
    return films


def run(folder: Path, library: Path, opened=networks, settings: Settings = SETTINGS, **orders) -> tuple[Night, str]:
    lines: list[str] = []
    page: list[Path] = []
    night = run_night(
        Orders(folder, **orders),
        Library(library),
        settings,
        opened,
        show=lambda _: None,
        say=lines.append,
        write_page=lambda _library, _night, place: page.append(place),
    )
    assert len(page) == 1, "every night leaves a page"
    return night, "\n".join(lines)


def states(night: Night) -> dict[str, FilmState]:
    return {Path(film.film).name: film.state for film in night.films}


def test_films_of_a_folder(tmp_path):
    library = tmp_path / "library"
    wanted = ["a.mp4", "in/B.MKV", "in/deep/ü ñ.ts"]
    for name in [*wanted, "notes.txt", ".hidden.mp4", ".trash/x.mp4", "library/clips/tag.mp4", "in/noending"]:
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"x")
    (tmp_path / "dead.mp4").symlink_to(tmp_path / "nowhere.mp4")
    (tmp_path / "folder.mp4").mkdir()
    found = films_in(tmp_path, ENDINGS, outside=library)
    assert [str(film.path.relative_to(tmp_path)) for film in found] == wanted


def test_a_folder_that_is_none_is_refused_in_one_sentence(tmp_path):
    with pytest.raises(FilmError, match="does not exist; check the path"):
        films_in(tmp_path / "no", ENDINGS, outside=tmp_path)
    (tmp_path / "film.mp4").touch()
    with pytest.raises(FilmError, match="is a file; give the folder"):
        films_in(tmp_path / "film.mp4", ENDINGS, outside=tmp_path)


def test_a_film_settles_when_it_stays_as_it_is():
    settling = Settling(10.0)
    film = FilmFile(Path("a.mp4"), 100, 1)
    grown = FilmFile(Path("a.mp4"), 200, 2)
    assert not settling.is_whole(film, 0.0)
    assert not settling.is_whole(film, 9.0)
    assert settling.is_whole(film, 10.0)
    assert not settling.is_whole(grown, 11.0)
    assert settling.is_whole(grown, 21.5)
    assert Settling(0.0).is_whole(film, 0.0)


def test_time_of_day():
    zone = timezone(timedelta(hours=2))
    late = datetime(2026, 11, 25, 23, 10, tzinfo=zone)
    assert time_of_day("07:00", late) == datetime(2026, 11, 26, 7, 0, tzinfo=zone)
    assert time_of_day("23:30", late) == datetime(2026, 11, 25, 23, 30, tzinfo=zone)
    assert time_of_day("23:10", late) == datetime(2026, 11, 26, 23, 10, tzinfo=zone)
    for wrong in ("7", "25:00", "seven", "", "07:61"):
        with pytest.raises(SettingsError, match="no time of day"):
            time_of_day(wrong, late)


@pytest.mark.parametrize(("seconds", "told"), [(0, "0 s"), (89, "89 s"), (90, "2 min"), (3600, "1 h 00 min")])
def test_lengths_of_time(seconds, told):
    assert minutes(seconds) == told


@pytest.mark.slow
def test_a_night_passes_over_what_is_broken_and_says_why(folder, tmp_path):
    (folder / "a empty.mp4").touch()
    (folder / "c words.mp4").write_text("no film at all\n" * 500, encoding="utf-8")
    whole = (folder / "b game.mp4").read_bytes()
    (folder / "d cut.mp4").write_bytes(whole[: len(whole) // 2])
    (folder / "notes.txt").write_text("call the coach", encoding="utf-8")
    night, log = run(folder, tmp_path / "library")
    assert states(night) == {
        "a empty.mp4": FilmState.FAILED,
        "b game.mp4": FilmState.DONE,
        "c words.mp4": FilmState.FAILED,
        "d cut.mp4": FilmState.FAILED,
    }
    for film in night.films:
        assert film.sentence
        assert "Traceback" not in film.sentence
        assert film.tries == 1, "what would only happen again is not tried again"
    assert "1 done, 3 failed" in night.sentence
    assert "Traceback" not in log
    library = Library(tmp_path / "library")
    assert [game.name for game in library.games()] == ["b-game"]
    assert read_nights(library) == (night,)
    assert (night_folder(library, night.stamp) / LOG).read_text(encoding="utf-8").splitlines() == log.splitlines()
    record = json.loads((night_folder(library, night.stamp) / RECORD).read_text(encoding="utf-8"))
    assert record["films"][1]["game"] == "b-game"

    again, _ = run(folder, tmp_path / "library")
    assert again.stamp != night.stamp
    assert states(again) == states(night)
    runs = (library.game("b-game").folder / "logs" / "runs.jsonl").read_text(encoding="utf-8").splitlines()
    assert json.loads(runs[-1])["stages"] == {}, "nothing is run twice"


@pytest.mark.slow
@pytest.mark.parametrize("opened", [dying_once, disk_lost_once])
def test_what_may_pass_is_tried_again(folder, tmp_path, monkeypatch, opened):
    monkeypatch.setenv("ELBOWROOM_TEST_MARK", str(tmp_path / "mark"))
    night, log = run(folder, tmp_path / "library", opened)
    assert states(night) == {"b game.mp4": FilmState.DONE}
    assert night.films[0].tries == 2
    assert "is put back" in log
    assert "try 2" in log


@pytest.mark.slow
def test_a_fault_of_the_program_ends_one_film_and_leaves_its_trace_in_the_log(folder, tmp_path):
    night, log = run(folder, tmp_path / "library", at_fault)
    assert states(night) == {"b game.mp4": FilmState.FAILED}
    assert "ValueError: a fault of the program" in night.films[0].sentence
    assert "Traceback (most recent call last)" in log
    assert night.films[0].tries == 1


@pytest.mark.slow
def test_a_film_that_is_still_being_copied_is_waited_for(folder, made, tmp_path):
    whole, copy = made.read_bytes(), folder / "late.mp4"
    step = len(whole) // 8
    copy.write_bytes(whole[:step])

    def go_on() -> None:
        for at in range(step, len(whole), step):
            time.sleep(0.3)
            with copy.open("ab") as stream:
                stream.write(whole[at : at + step])

    settled = SETTINGS.model_copy(update={"night": SETTINGS.night.model_copy(update={"settle_s": 1.5})})
    copying = threading.Thread(target=go_on)
    copying.start()
    night, _ = run(folder, tmp_path / "library", settings=settled)
    copying.join()
    assert states(night) == {"b game.mp4": FilmState.DONE, "late.mp4": FilmState.DONE}
    assert copy.read_bytes() == whole


@pytest.mark.slow
def test_when_the_time_is_up_the_film_is_stopped_and_the_next_night_goes_on(folder, tmp_path):
    shutil.copy(folder / "b game.mp4", folder / "c game.mp4")
    soon = datetime.now(UTC) + timedelta(seconds=6)
    night, _ = run(folder, tmp_path / "library", slow, until=soon)
    assert states(night) == {"b game.mp4": FilmState.STOPPED, "c game.mp4": FilmState.WAITING}
    assert "The time is up" in night.sentence
    assert (datetime.now(UTC) - soon).total_seconds() < 30
    after, _ = run(folder, tmp_path / "library")
    assert set(states(after).values()) == {FilmState.DONE}


def test_a_second_night_on_a_library_is_refused_and_a_full_disk_ends_one(folder, tmp_path):
    full = SETTINGS.model_copy(update={"night": SETTINGS.night.model_copy(update={"least_free_gb": 1e9})})
    library = tmp_path / "library"
    refused: list[ElbowroomError] = []

    def second(_library: Library, _night: Night, _place: Path) -> None:
        try:
            run(folder, library, settings=full)
        except LibraryError as error:
            refused.append(error)

    night = run_night(
        Orders(folder), Library(library), full, networks, show=lambda _: None, say=lambda _: None, write_page=second
    )
    assert "make room" in night.sentence
    assert night.count(FilmState.DONE) == 0
    assert len(refused) == 1
    assert "Another night works on the library" in str(refused[0])
    assert len(read_nights(Library(library))) == 1, "the refused one leaves nothing"


def test_the_command_of_staff_is_run_and_its_failure_is_a_line(folder, tmp_path):
    told = tmp_path / "told"
    command = (sys.executable, "-c", f"import sys; open({str(told)!r}, 'w').write(sys.argv[1])")
    for notify, line in ((command, None), (("/no/such/command",), "could not be run"), (("false",), "ended with 1")):
        night = SETTINGS.night.model_copy(update={"least_free_gb": 1e9, "notify": notify})
        done, log = run(folder, tmp_path / "library", settings=SETTINGS.model_copy(update={"night": night}))
        if line is None:
            record = Path(told.read_text(encoding="utf-8"))
            assert Night.model_validate_json(record.read_bytes()) == done
            assert "night.notify" not in log
        else:
            assert line in log


NIGHT = """
import sys
from pathlib import Path
sys.path[:0] = [{tests!r}, {root!r}]
import test_batch
from pipeline.library.games import Library
from pipeline.night.batch import run_night
from pipeline.night.orders import Orders
if __name__ == "__main__":
    run_night(Orders(Path({folder!r})), Library(Path({library!r})), test_batch.SETTINGS, test_batch.{opened},
              show=lambda _: None, say=print, write_page=lambda *_: None)
"""


def _begun(folder: Path, library: Path, tmp_path: Path, opened: str) -> subprocess.Popen[str]:
    """A night in a process of its own whose first film runs."""
    here = Path(__file__).resolve()
    script = tmp_path / "a_night.py"
    script.write_text(
        NIGHT.format(
            tests=str(here.parent), root=str(here.parents[2]), folder=str(folder), library=str(library), opened=opened
        ),
        encoding="utf-8",
    )
    process = subprocess.Popen(
        [sys.executable, str(script)], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    )
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline:
        night = newest_night(Library(library)) if library.exists() else None
        if night is not None and night.count(FilmState.RUNNING):
            return process
        assert process.poll() is None, process.stdout.read() if process.stdout else ""
        time.sleep(0.1)
    process.kill()
    raise AssertionError("the night did not begin a film")


@pytest.mark.slow
def test_a_night_ends_well_when_asked_to(folder, tmp_path):
    process = _begun(folder, tmp_path / "library", tmp_path, "slow")
    process.send_signal(signal.SIGTERM)
    output, _ = process.communicate(timeout=60)
    assert process.returncode == 0, output
    night = newest_night(Library(tmp_path / "library"))
    assert night is not None
    assert night.ended is not None
    assert states(night) == {"b game.mp4": FilmState.STOPPED}
    assert "ended by hand" in night.sentence


@pytest.mark.slow
def test_a_night_that_is_killed_is_told_and_the_next_one_goes_on(folder, tmp_path):
    process = _begun(folder, tmp_path / "library", tmp_path, "slow")
    own = psutil.Process(process.pid).children(recursive=True)
    process.kill()
    process.communicate(timeout=60)
    _, left = psutil.wait_procs(own, timeout=30)
    assert left == [], "no film goes on running by itself"
    library = Library(tmp_path / "library")
    killed = newest_night(library)
    assert killed is not None
    assert killed.died(datetime.now(UTC))
    assert "ended from outside" in next(night_lines(killed, datetime.now(UTC)))
    night, _ = run(folder, tmp_path / "library")
    assert states(night) == {"b game.mp4": FilmState.DONE}
    assert [one.stamp for one in read_nights(library)] == [night.stamp, killed.stamp]


def test_the_screen_tells_everything():
    now = datetime(2026, 11, 25, 23, 0, tzinfo=UTC)
    films = tuple(
        FilmNight(film=f"/films/{state.value}.mp4", size_bytes=100, state=state, tries=1, share=0.5, seconds=60.0)
        for state in FilmState
    )
    night = Night(stamp="s", folder="/films", process=os.getpid(), host="elsewhere", began=now, beat=now, films=films)
    lines = list(night_lines(night, now))
    assert len(lines) == 1 + len(films)
    assert all(state.value in line for state, line in zip(FilmState, lines[1:], strict=True))
    assert "left" in lines[0]
    assert night_table(night, now).row_count == len(films)
    assert not night.died(now + timedelta(seconds=59))
    assert night.died(now + timedelta(seconds=61))


def test_time_left_follows_from_bytes_and_seconds():
    now = datetime(2026, 11, 25, 23, 0, tzinfo=UTC)
    half = FilmNight(film="a", size_bytes=1000, state=FilmState.RUNNING, share=0.5, seconds=50.0)
    next_one = FilmNight(film="b", size_bytes=2000, state=FilmState.WAITING)
    night = Night(stamp="s", folder="f", process=1, host="h", began=now, beat=now, films=(half, next_one))
    assert night.left_s(now) == pytest.approx(2500 * 50 / 500)
    assert night.left_s(now + timedelta(seconds=50)) == pytest.approx(200)
    fresh = night.model_copy(update={"films": (next_one,)})
    assert fresh.left_s(now) is None
    assert night.model_copy(update={"ended": now}).left_s(now) == 0


def test_a_damaged_record_is_told_with_its_place(tmp_path):
    library = Library(tmp_path / "library")
    now = datetime.now(UTC)
    write_night(library, Night(stamp="s", folder="f", process=1, host="h", began=now, beat=now))
    assert newest_night(library) is not None
    (night_folder(library, "s") / RECORD).write_text('{"stamp": 3}', encoding="utf-8")
    with pytest.raises(LibraryError, match=r"no record of a night .*; delete that file"):
        read_nights(library)
