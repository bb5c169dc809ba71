"""Spoilt files of a library: game.toml, pins, library.toml, the record of a night, the record of stages."""

from __future__ import annotations

import tomllib
from datetime import UTC, datetime
from pathlib import Path

import pytest
from broken_files import ODD_PLACES, odd_place, read_or_told, spoilt
from hypothesis import given
from hypothesis import strategies as st

from pipeline.court.landmarks import landmarks
from pipeline.court.pins import PinnedFrame
from pipeline.court.rule_books import RULE_BOOKS
from pipeline.library.games import Game, GameFile, Library, write_game_file
from pipeline.library.library_file import LIBRARY_FILE, read_library_file
from pipeline.library.nights import FilmNight, FilmState, Night, newest_night, night_folder, write_night
from pipeline.library.pins import PINS, read_pins, write_pins
from pipeline.night.stages import read_state

GAME = b"""\
# One game. Fill in what you know.
date = "2026-01-31"
opponent = "Harbour"
rule_book = "fiba"  # fiba, nba, ncaa, nfhs

[team_0]
name = "Home"
jersey = "#ffffff"
[team_0.roster]
12 = "A. Player"
00 = "B. Player"

[team_1]
name = "Away"
jersey = "dark blue"
[team_1.roster]

[film]
path = "/films/a game.mp4"
digest = "0123456789abcdef0123456789abcdef"
"""
PINNED = b"""\
[[pinned]]
frame = 250
t_s = 20.0

[pinned.points]
centre = [640.0, 360.5]
"""
WHOLE = b'tag_store = "postgresql://staff@host/tags"\n'
STATE = b'{"film": {"key": "0a", "finished": "2026-01-31T00:00:00+00:00", "seconds": 1.5, "rows": {"tracks": 3}}}'


@pytest.fixture(scope="module")
def game(tmp_path_factory) -> Game:
    library = Library(tmp_path_factory.mktemp("fuzzed") / "library")
    folder = library.root / "games" / "a-game"
    folder.mkdir(parents=True)
    return Game("a-game", folder)


@pytest.fixture(scope="module")
def night_record(game) -> Path:
    library = Library(game.folder.parents[1])
    now = datetime(2026, 1, 31, 23, 0, tzinfo=UTC)
    film = FilmNight(film="/films/a.mp4", size_bytes=1000, state=FilmState.DONE, game="a", share=1.0, sentence="Done.")
    write_night(library, Night(stamp="n", folder="/films", process=1, host="here", began=now, beat=now, films=(film,)))
    return night_folder(library, "n") / "night.json"


@pytest.mark.usefixtures("night_record")
def test_the_good_files_are_read(game):
    (game.folder / "game.toml").write_bytes(GAME)
    (game.folder / PINS).write_bytes(PINNED)
    game.state_file.write_bytes(STATE)
    (game.folder / LIBRARY_FILE).write_bytes(WHOLE)
    assert game.file().team_0.roster == {"12": "A. Player", "00": "B. Player"}
    assert read_pins(game)[0].frame == 250
    assert read_state(game)["film"]["seconds"] == 1.5
    assert read_library_file(game.folder).tag_store.startswith("postgresql")
    assert newest_night(Library(game.folder.parents[1])).count(FilmState.DONE) == 1


@given(spoilt(GAME))
def test_a_spoilt_game_file(game, data):
    path = game.folder / "game.toml"
    path.write_bytes(data)
    told = read_or_told(game.file, path)
    assert told is None or isinstance(told, GameFile)


@given(spoilt(PINNED))
def test_spoilt_pins(game, data):
    path = game.folder / PINS
    path.write_bytes(data)
    pins = read_or_told(lambda: read_pins(game), path)
    if pins is not None:
        write_pins(game, pins)
        assert read_pins(game) == pins, "what is read can be written and read again"


@given(
    st.lists(
        st.builds(
            PinnedFrame,
            st.integers(0, 10**9),
            st.floats(0, 1e6, allow_nan=False),
            st.dictionaries(
                st.sampled_from(sorted(landmarks(next(iter(RULE_BOOKS.values()))))),
                st.tuples(st.floats(-1e5, 1e5), st.floats(-1e5, 1e5)),
            ),
        ),
        unique_by=lambda pinned: pinned.t_s,
    )
)
def test_pins_come_back_as_they_were_written(game, pins):
    write_pins(game, pins)
    assert read_pins(game) == tuple(sorted(pins, key=lambda one: one.t_s))


@given(spoilt(WHOLE))
def test_a_spoilt_library_file(game, data):
    path = game.folder / LIBRARY_FILE
    path.write_bytes(data)
    read_or_told(lambda: read_library_file(game.folder), path)


@given(spoilt(STATE))
def test_a_spoilt_record_of_stages(game, data):
    game.state_file.write_bytes(data)
    state = read_or_told(lambda: read_state(game), game.state_file)
    assert state is None or all(isinstance(entry, dict) for entry in state.values())


@given(st.data())
def test_a_spoilt_record_of_a_night(game, night_record, data):
    good = night_record.read_bytes()
    try:
        night_record.write_bytes(data.draw(spoilt(good)))
        read_or_told(lambda: newest_night(Library(game.folder.parents[1])), night_record)
    finally:
        night_record.write_bytes(good)


@pytest.mark.parametrize("odd", ODD_PLACES)
@pytest.mark.parametrize("which", ["game.toml", PINS, LIBRARY_FILE, "state.json", "night.json"])
def test_something_odd_in_a_files_place(game, night_record, which, odd):
    reads = {
        "game.toml": game.file,
        PINS: lambda: read_pins(game),
        LIBRARY_FILE: lambda: read_library_file(game.folder),
        "state.json": lambda: read_state(game),
        "night.json": lambda: newest_night(Library(game.folder.parents[1])),
    }
    path = night_record if which == "night.json" else game.folder / which
    with odd_place(path, odd):
        read_or_told(reads[which], path)


@given(name=st.text(min_size=1, max_size=40).filter(lambda text: "/" not in text and "\0" not in text))
def test_any_name_of_a_film_stands_in_a_game_file_that_is_read_back(game, name):
    film = Path("/films") / name
    write_game_file(game, film, "0" * 64, None)
    assert tomllib.loads((game.folder / "game.toml").read_text(encoding="utf-8"))
    assert game.file().film.path == str(film.resolve())
