"""The library on disk: refused places, half games, staff's file."""

import os
from pathlib import Path

import pytest

from pipeline.errors import LibraryError
from pipeline.night.library import UNFINISHED, Library, film_digest, write_game_file


@pytest.fixture
def film(tmp_path) -> Path:
    path = tmp_path / 'Home vs "Away" (1).mp4'
    path.write_bytes(os.urandom(3000))
    return path


def new_game(library: Library, film: Path, book: str | None = None):
    game = library.begin(film)
    write_game_file(game, film, film_digest(film), book)
    return library.keep(game)


def test_nothing_is_written_before_a_game_is_begun(tmp_path):
    library = Library(tmp_path / "new" / "library")
    assert not library.exists
    assert library.games() == ()
    assert not (tmp_path / "new").exists()
    with pytest.raises(LibraryError, match="no library at"):
        library.must_exist()


def test_places_that_are_no_library_are_refused(tmp_path):
    file = tmp_path / "file"
    file.write_text("x")
    with pytest.raises(LibraryError, match="is a file"):
        Library(file)
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "a.jpg").write_text("x")
    with pytest.raises(LibraryError, match="holds other files"):
        Library(tmp_path / "photos")
    (tmp_path / "empty").mkdir()
    assert Library(tmp_path / "empty").games() == ()


def test_a_game_keeps_what_staff_wrote(tmp_path, film):
    library = Library(tmp_path / "library")
    game = new_game(library, film, "fiba")
    assert game.name == "home-vs-away-1"
    assert game.file().rule_book == "fiba"
    assert Path(game.file().film.path) == film.resolve()
    assert library.game_of_film(film_digest(film)).name == game.name
    text = (game.folder / "game.toml").read_text()
    (game.folder / "game.toml").write_text(text.replace('opponent = ""', 'opponent = "Greens"'))
    assert library.game(game.name).file().opponent == "Greens"


def test_a_wrong_game_file_names_the_line_to_repair(tmp_path, film):
    library = Library(tmp_path / "library")
    game = new_game(library, film)
    path = game.folder / "game.toml"
    text = path.read_text()
    path.write_text(text.replace('rule_book = ""', 'rule_book = "nbl"'))
    with pytest.raises(LibraryError, match="rule_book"):
        game.file()
    path.write_text("date = ")
    with pytest.raises(LibraryError, match="not valid TOML"):
        game.file()
    path.unlink()
    with pytest.raises(LibraryError, match=r"no game\.toml"):
        game.file()
    with pytest.raises(LibraryError, match="no game 'x'"):
        library.game("x")


def test_two_films_of_one_name_are_two_games(tmp_path, film):
    library = Library(tmp_path / "library")
    first = new_game(library, film)
    film.write_bytes(b"another film")
    second = new_game(library, film)
    assert (first.name, second.name) == ("home-vs-away-1", "home-vs-away-1-2")
    assert [g.name for g in library.games()] == ["home-vs-away-1", "home-vs-away-1-2"]


def test_a_dropped_game_leaves_no_trace_of_a_new_library(tmp_path, film):
    library = Library(tmp_path / "library")
    library.drop(library.begin(film))
    assert not (tmp_path / "library").exists()


def test_leftovers_of_dead_runs_are_cleared_and_of_live_ones_kept(tmp_path, film):
    library = Library(tmp_path / "library")
    games = tmp_path / "library" / "games"
    dead = games / f"{UNFINISHED}999999999"
    alive = games / f"{UNFINISHED}1"
    for folder in (dead, alive):
        folder.mkdir(parents=True)
    library.begin(film)
    assert not dead.exists()
    assert alive.exists()
    assert library.games() == ()


def test_digest_tells_films_apart(film):
    before = film_digest(film)
    assert before == film_digest(film)
    film.write_bytes(film.read_bytes() + b"x")
    assert before != film_digest(film)
