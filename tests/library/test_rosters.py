"""Rosters in game.toml."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.errors import LibraryError
from pipeline.library.games import Game, write_game_file
from pipeline.library.rosters import called, jersey_of
from pipeline.players.tables import TRACKS


def game_with(folder: Path, roster: str) -> Game:
    game = Game("one", folder)
    write_game_file(game, folder / "film.mp4", "abc", None)
    path = folder / "game.toml"
    head, mark, tail = path.read_text(encoding="utf-8").partition("[team_0.roster]")
    path.write_text(head + mark + "\n" + roster + tail, encoding="utf-8")
    return game


def test_a_new_game_has_empty_rosters_and_takes_numbers(tmp_path: Path) -> None:
    assert game_with(tmp_path, "").file().team_0.roster == {}
    told = game_with(tmp_path, '12 = "A. Player"\n00 = "B. Player"\n0 = "C. Player"\n').file()
    assert told.team_0.roster == {"12": "A. Player", "00": "B. Player", "0": "C. Player"}
    assert told.team_1.roster == {}


@pytest.mark.parametrize(
    ("roster", "words"),
    [
        ('100 = "A"\n', "'100' is no jersey number"),
        ('05 = "A"\n', "'05' is no jersey number"),
        ('"5a" = "A"\n', "'5a' is no jersey number"),
        ('5 = " "\n', "number 5 has no name"),
        ('5 = "A"\n5 = "B"\n', "written twice"),
        ("5 = 7\n", "team_0.roster.5"),
    ],
)
def test_a_wrong_roster_is_one_sentence(tmp_path: Path, roster: str, words: str) -> None:
    game = game_with(tmp_path, roster)
    with pytest.raises(LibraryError, match=words) as caught:
        game.file()
    assert "game.toml" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_players_are_called_by_name_then_by_number() -> None:
    jerseys = {1: (0, "12"), 2: (1, "12"), 3: (-1, "12"), 4: (-1, "7")}
    rosters = {0: {"12": "A. Player"}, 1: {"12": "B. Player", "7": "C. Player"}}
    assert called(1, jerseys, rosters) == "A. Player (12)"
    assert called(2, jerseys, rosters) == "B. Player (12)"
    assert called(3, jerseys, rosters) == "number 12"
    assert called(4, jerseys, rosters) == "C. Player (7)"
    assert called(5, jerseys, rosters) is None
    assert called(1, jerseys, {}) == "number 12"


def test_no_tracks_no_jerseys() -> None:
    assert jersey_of(TRACKS.empty()) == {}
