"""Stages run once, and again when anything that they depend on has changed."""

import json
import os
from pathlib import Path

import pytest

from pipeline.ball.tables import TOUCHES
from pipeline.errors import LibraryError
from pipeline.film.tables import FRAMES, SHOTS
from pipeline.library.games import Game
from pipeline.night import stages
from pipeline.night.settings import NightSettings
from pipeline.night.stages import Stage, read_state, run_stage


@pytest.fixture
def game(tmp_path) -> Game:
    FRAMES.write(FRAMES.from_columns({"frame": [0], "t_s": [0.0], "shot": [0]}), tmp_path / "tables")
    return Game("g", tmp_path)


def stage(
    calls: list, *, settings: NightSettings | None = None, depends: dict | None = None, fail: bool = False
) -> Stage:
    def run(tables, progress, _units):
        assert tables["frames"].num_rows == 1
        progress(1, 1)
        calls.append("run")
        if fail:
            raise RuntimeError("power cut")
        return {"shots": SHOTS.empty(), "touches": TOUCHES.empty()}

    return Stage("s", (FRAMES,), (SHOTS, TOUCHES), ("tags",), [settings or NightSettings()], run, depends or {})


def go(it: Stage, game: Game):
    return run_stage(it, game, lambda _done, _total: None)


def test_an_unchanged_stage_is_not_run_again(game):
    calls: list = []
    assert go(stage(calls), game).ran
    assert not go(stage(calls), game).ran
    assert calls == ["run"]
    assert read_state(game)["s"]["rows"] == {"shots": 0, "touches": 0}


@pytest.mark.parametrize("change", ["input", "settings", "depends", "lost table"])
def test_any_change_runs_it_again(game, change):
    calls: list = []
    go(stage(calls, depends={"film": "a"}), game)
    again = stage(calls, depends={"film": "a"})
    if change == "input":
        FRAMES.write(FRAMES.from_columns({"frame": [0], "t_s": [0.5], "shot": [0]}), game.tables)
    elif change == "settings":
        again = stage(calls, settings=NightSettings(piece_s=7), depends={"film": "a"})
    elif change == "depends":
        again = stage(calls, depends={"film": "b"})
    else:
        SHOTS.path(game.tables).unlink()
    assert go(again, game).ran
    assert not go(again, game).ran


def test_a_stage_that_breaks_keeps_the_tables_before_it(game):
    calls: list = []
    go(stage(calls), game)
    before = SHOTS.path(game.tables).read_bytes()
    with pytest.raises(RuntimeError):
        go(stage(calls, depends={"film": "b"}, fail=True), game)
    assert SHOTS.path(game.tables).read_bytes() == before
    assert not go(stage(calls), game).ran


@pytest.mark.parametrize("place", ["making", "naming"])
def test_a_kill_among_a_stages_tables_reruns_it(game, monkeypatch, place):
    calls: list = []
    go(stage(calls), game)
    before = SHOTS.path(game.tables).read_bytes()
    if place == "making":
        monkeypatch.setattr(type(TOUCHES), "write_aside", _breaking(type(TOUCHES).write_aside, "touches"))
    else:
        monkeypatch.setattr(stages.os, "replace", _breaking(os.replace, "touches"))
    with pytest.raises(KeyboardInterrupt):
        go(stage(calls, depends={"film": "b"}), game)
    monkeypatch.undo()
    assert ("s" in read_state(game)) == (place == "making"), "until all are made, the old tables stand"
    assert list(game.tables.glob("*.tmp")) == []
    assert place == "naming" or SHOTS.path(game.tables).read_bytes() == before
    assert go(stage(calls), game).ran == (place == "naming")


def _breaking(call, name):
    def broken(first, *rest):
        if name in (getattr(first, "name", ""), Path(rest[-1]).stem):
            raise KeyboardInterrupt
        return call(first, *rest)

    return broken


@pytest.mark.parametrize("text", ["{", "[1]", json.dumps({"s": 3})])
def test_a_damaged_state_says_what_to_do(game, text):
    game.state_file.write_text(text)
    with pytest.raises(LibraryError, match="delete it and run the film again"):
        go(stage([]), game)


def test_a_missing_input_says_what_to_do(game):
    FRAMES.path(game.tables).unlink()
    with pytest.raises(LibraryError, match="run the film again"):
        go(stage([]), game)
