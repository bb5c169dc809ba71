"""The library on disk: refused places, half games, staff's file."""

import os
from pathlib import Path

import pytest

from pipeline.errors import LibraryError
from pipeline.film.fetching import film_digest
from pipeline.library.games import Library, write_game_file


@pytest.fixture
def film(tmp_path) -> Path:
    path = tmp_path / 'Home vs "Away" (1).mp4'
    path.write_bytes(os.urandom(3000))
    return path


def new_game(library: Library, film: Path, book: str | None = None):
    game = library.begin(film, film_digest(film))
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


def test_a_claim_that_came_to_nothing_leaves_no_trace(tmp_path, film):
    library = Library(tmp_path / "new" / "library")
    with library.claim("d" * 64):
        game = library.begin(film, "d" * 64)
        assert library.games() == ()
        library.drop(game)
    assert not (tmp_path / "new").exists()


def test_a_film_is_run_once_at_a_time(tmp_path, film):
    library = Library(tmp_path / "library")
    with library.claim("d" * 64), pytest.raises(LibraryError, match="Another run"), library.claim("d" * 64):
        pass
    with library.claim("d" * 64), library.claim("e" * 64):
        library.begin(film, "d" * 64)
    assert (tmp_path / "library").exists(), "an unfinished game is there to be taken up again"


def test_a_killed_run_is_taken_up_again(tmp_path, film):
    library = Library(tmp_path / "library")
    (library.begin(film, "d" * 64).folder / "left").write_text("x")
    assert (library.begin(film, "d" * 64).folder / "left").exists()
    assert not (library.begin(film, "e" * 64).folder / "left").exists()
    assert library.games() == ()


def test_a_place_that_cannot_be_written_says_so(tmp_path):
    library = Library(tmp_path / "file" / "library")
    (tmp_path / "file").write_text("x")
    with pytest.raises(LibraryError, match="cannot be written"), library.claim("d" * 64):
        pass


def test_digest_tells_films_apart(film):
    before = film_digest(film)
    assert before == film_digest(film)
    film.write_bytes(film.read_bytes() + b"x")
    assert before != film_digest(film)


def test_what_is_wrong_with_one_game_keeps_no_other_from_being_found(tmp_path, film):
    library = Library(tmp_path / "library")
    game = new_game(library, film)
    for name, text in (("a", "date = "), ("b", None)):
        (library.root / "games" / name).mkdir()
        if text is not None:
            (library.root / "games" / name / "game.toml").write_text(text)
    assert library.game_of_film(film_digest(film)) == game
    assert library.game_of_film("0" * 64) is None
    (game.folder / "game.toml").write_text(f'date = \ndigest = "{film_digest(film)}"')
    with pytest.raises(LibraryError, match="not valid TOML"):
        library.game_of_film(film_digest(film))


def test_a_very_long_name_of_a_film_gives_a_game_a_shorter_one(tmp_path):
    library = Library(tmp_path / "library")
    names = []
    for number in (1, 2):
        film = tmp_path / f"{'a film with a long name ' * 9}{number}.mp4"
        film.write_bytes(bytes([number]) * 3000)
        names.append(new_game(library, film).name)
    assert len(set(names)) == 2
    assert all(len(name) <= 110 for name in names)
