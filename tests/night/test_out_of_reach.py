"""A night whose places go away, or whose films another run has, waits for them, and says so."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import ClassVar

import pytest

from pipeline.errors import LibraryError
from pipeline.library.games import Library
from pipeline.library.nights import RECORD, FilmState, Night, newest_night
from pipeline.night import batch
from pipeline.night.batch import run_night
from pipeline.night.film_process import At, Ended, Outcome
from pipeline.night.orders import Orders
from pipeline.night.reachable import what_is_away
from pipeline.night.settings import NightSettings
from pipeline.settings import Settings

BUSY = "Another run is working on this film; wait for it to end."
LOST = "The film can no longer be read (Stale file handle): its disk or share has gone away."


class Told:
    """Stands for a film's process: every try does something and ends as told."""

    tries: ClassVar[list[Callable[[], Ended]]] = []

    def __init__(self, *_given: object) -> None:
        self._try = self.tries.pop(0)

    def heard(self):
        yield At("film", 0.5)
        yield self._try()

    def stop(self) -> None:
        """It has ended."""


def done() -> Ended:
    return Ended(Outcome.DONE, "All is well.", "game")


@pytest.fixture
def films(tmp_path, monkeypatch) -> Path:
    monkeypatch.setattr(batch, "FilmProcess", Told)
    monkeypatch.setattr(batch, "listen", lambda _processes: time.sleep(0.01))
    folder = tmp_path / "share" / "films"
    folder.mkdir(parents=True)
    (folder / "a.mp4").write_bytes(b"a film")
    return folder


def run(folder: Path, library: Path, *, write_page=lambda *_: None, **night) -> tuple[Night, str]:
    lines: list[str] = []
    asked = {"settle_s": 0.0, "retry_wait_s": 0.05, "least_free_gb": 0.0, **night}
    settings = Settings(night=NightSettings(**asked))
    told = run_night(
        Orders(folder),
        Library(library),
        settings,
        lambda _: None,
        show=lambda _: None,
        say=lines.append,
        write_page=write_page,
    )
    return told, "\n".join(lines)


def away_for(place: Path, seconds: float) -> Callable[[], None]:
    """Take a place away, and bring it back after so long."""
    elsewhere = place.with_name(f"{place.name} elsewhere")
    place.rename(elsewhere)
    place.mkdir()  # what is left is the mount point
    back = threading.Timer(seconds, lambda: (place.rmdir(), elsewhere.rename(place)))
    back.start()
    return back.join


def test_a_film_that_another_run_has_is_waited_for(films, tmp_path):
    Told.tries = [lambda: Ended(Outcome.BUSY, BUSY)] * 5 + [done]
    night, log = run(films, tmp_path / "library", tries=2)
    assert night.films[0].state is FilmState.DONE
    assert night.films[0].tries == 1, "waiting is no try"
    assert f"is put back after 0 s: {BUSY}" in log


def test_a_film_that_another_run_keeps_is_given_up(films, tmp_path):
    Told.tries = [lambda: Ended(Outcome.BUSY, BUSY)] * 50
    night, _ = run(films, tmp_path / "library", tries=1, lost_wait_s=0.3)
    assert night.films[0].state is FilmState.FAILED
    assert night.films[0].sentence == BUSY


def test_a_lost_share_of_films_is_waited_for(films, tmp_path):
    (films / "b.mp4").write_bytes(b"another")
    joins = []

    def loses() -> Ended:
        joins.append(away_for(films.parent, 0.5))
        return Ended(Outcome.DISK, LOST)

    Told.tries = [loses, done, done]
    night, log = run(films, tmp_path / "library", tries=1)
    joins[0]()
    assert [film.state for film in night.films] == [FilmState.DONE, FilmState.DONE]
    assert f"Out of reach: the folder {films} (it is no longer there). The night waits for it" in log
    assert f"In reach again: the folder {films}." in log


def test_a_lost_library_is_waited_for_and_not_made_anew(films, tmp_path):
    library, joins, left = tmp_path / "disk" / "library", [], []

    def loses() -> Ended:
        joins.append(away_for(library.parent, 0.6))
        threading.Timer(0.4, lambda: left.extend(library.parent.iterdir())).start()
        return Ended(Outcome.DISK, "Reading or writing failed.")

    Told.tries = [loses, done]
    night, log = run(films, library, tries=1)
    joins[0]()
    assert left == [], "nothing is written where the share was"
    assert night.films[0].state is FilmState.DONE
    assert newest_night(Library(library)) == night
    kept = (library / "nights" / night.stamp / "log.txt").read_text(encoding="utf-8").splitlines()
    assert kept == log.splitlines(), "what was said meanwhile is in the log too"


def test_a_library_that_does_not_come_back_ends_the_night_in_one_sentence(films, tmp_path):
    library = tmp_path / "disk" / "library"

    def loses() -> Ended:
        library.parent.rename(tmp_path / "gone")
        return Ended(Outcome.DISK, "Reading or writing failed.")

    Told.tries = [loses]
    with pytest.raises(
        LibraryError, match=r"Out of reach for too long: the library .* so this stands nowhere else"
    ) as told:
        run(films, library, lost_wait_s=0.2)
    assert "\n" not in str(told.value)
    assert not library.exists()


def test_a_page_that_cannot_be_written_is_a_line(films, tmp_path):
    def full(*_given: object) -> None:
        raise OSError(28, "No space left on device")

    Told.tries = [done]
    night, log = run(films, tmp_path / "library", write_page=full)
    assert night.films[0].state is FilmState.DONE
    assert "page could not be written ([Errno 28] No space left on device); 'elbowroom report night' writes it" in log


def test_what_is_away_is_told(tmp_path):
    library = Library(tmp_path / "library")
    (tmp_path / "library" / "nights" / "s").mkdir(parents=True)
    (tmp_path / "films").mkdir()
    assert what_is_away(tmp_path / "films", library, "s") == f"the library {library.root} (it is no longer there)"
    (tmp_path / "library" / "nights" / "s" / RECORD).touch()
    assert what_is_away(tmp_path / "films", library, "s") == ""
    assert what_is_away(tmp_path / "none", library, "s") == f"the folder {tmp_path / 'none'} (it is no longer there)"
