"""The commands on set files, and how long a season takes."""

from pathlib import Path

import pytest
from typer.testing import CliRunner

from pipeline import cli
from pipeline.actions.events import events_to_table
from pipeline.actions.tables import ACTIONS
from pipeline.ball.tables import BALL
from pipeline.errors import DataError, LibraryError
from pipeline.evaluate.set_speed import season_lines, time_season
from pipeline.players.tables import TRACKS
from pipeline.sets.printing import set_text
from tests.sets.made_up_actions import standing
from tests.sets.test_matching import MOTION, motion

PLACES = {10: (24, 10), 11: (15, 20), 12: (15, -20), 13: (24, -10), 14: (0, 10)}


@pytest.fixture
def game(tmp_path) -> Path:
    folder = tmp_path / "game"
    ACTIONS.write(events_to_table(motion(), ACTIONS), folder)
    TRACKS.write(standing(PLACES), folder)
    BALL.write(BALL.empty(), folder)
    return folder


@pytest.fixture
def file(tmp_path) -> Path:
    path = tmp_path / "motion.set"
    path.write_text(set_text(MOTION))
    return path


def run(*arguments):
    return CliRunner().invoke(cli.app, ["sets", *map(str, arguments)])


def test_check_says_what_a_file_holds_or_what_is_wrong(file, tmp_path):
    good = run("check", file)
    assert good.exit_code == 0
    assert "Motion is well written (4 players, 5 phases, 2 endings, 1 counter, 3 points of emphasis)." in good.stdout
    bad = tmp_path / "bad.set"
    bad.write_text(set_text(MOTION).replace("phase entry", "phsae entry", 1).replace("set motion", "set bad"))
    both = run("check", file, bad)
    assert both.exit_code == 2
    assert "Motion is well written" in both.stdout
    assert "did you mean 'phase'?" in both.stderr
    assert "^^^^^" in both.stderr


def test_show_draws_a_file_and_a_set_of_the_library(file, tmp_path):
    shown = run("show", file, "horns", "--out", tmp_path / "out")
    assert shown.exit_code == 0, shown.output
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == [
        "horns.png",
        "horns.svg",
        "motion.png",
        "motion.svg",
    ]


def test_try_tells_who_played_what(file, game):
    tried = run("try", file, game)
    assert tried.exit_code == 0, tried.output
    lines = tried.stdout.splitlines()
    assert lines[0] == "Motion: 1 whole, 0 in part."
    assert lines[2].startswith("0:01.4-0:09.1, whole, score ")
    assert "ending screen" in lines[2]
    assert "guard: track 10, wing: track 11, far: track 12, top: track 13" in lines[3]
    assert "  good: Where the guard catches it: 24.2 ft" in lines


def test_try_names_what_is_missing(file, game):
    ACTIONS.write(events_to_table(motion(reversal=None), ACTIONS), game)
    assert "  missing: reversal" in run("try", file, game).stdout.splitlines()


def test_try_needs_a_game(file, tmp_path):
    (tmp_path / "empty").mkdir()
    tried = run("try", file, tmp_path / "empty")
    assert isinstance(tried.exception, LibraryError)
    assert "no table of actions" in str(tried.exception)


def test_a_season_is_timed(game):
    season = time_season([game], games=3, workers=1)
    assert season.games == 3
    assert season.possessions == 3
    assert season.actions == 3 * len(motion())
    assert season.match_s > 0
    assert season_lines(season)[0].startswith(f"3 games, 3 possessions, {season.actions} actions, {season.sets} sets: ")
    with pytest.raises(DataError, match="no game"):
        time_season([])
