"""The game's time of moments and tags."""

from types import SimpleNamespace

import pytest

from pipeline.film.tables import BUG_READINGS, CLOCK, FRAMES
from pipeline.library.game_time import GameTime, game_time, game_times
from pipeline.night.clock_stage import clock_stage
from pipeline.settings import Settings


def clock_of(values, period=3):
    return CLOCK.from_rows(
        [
            {
                "frame": k,
                "t_s": k / 10,
                "period": None if v is None else period,
                "game_clock_s": v,
                "shot_clock_s": None,
                "running": None if v is None else True,
                "status": "hidden" if v is None else "read",
            }
            for k, v in enumerate(values)
        ]
    )


@pytest.mark.parametrize(
    ("time", "text"),
    [
        (GameTime(3, 349.7), "P3 5:49"),
        (GameTime(None, 349.0), "5:49"),
        (GameTime(4, 8.37), "P4 8.3"),
        (GameTime(1, 600.0), "P1 10:00"),
        (GameTime(2, 0.0), "P2 0.0"),
    ],
)
def test_game_time_reads_as_on_a_scoresheet(time, text):
    assert str(time) == text


def test_game_time_of_a_moment_is_the_nearest_known():
    clock = clock_of([400.0, 399.9, None, None])
    assert game_time(clock, 0.0) == GameTime(3, 400.0)
    found = game_time(clock, 0.3)
    assert found is not None
    assert found.clock_s == pytest.approx(399.9, abs=1e-3)
    assert game_time(clock, 5.0) is None
    assert game_time(clock_of([None]), 0.0) is None
    assert game_time(CLOCK.empty(), 0.0) is None


def test_tags_get_their_game_s_time(tmp_path):
    CLOCK.write(clock_of([400.0, 399.0]), tmp_path / "one")
    games = tuple(SimpleNamespace(name=name, tables=tmp_path / name) for name in ("one", "two"))
    tags = [
        SimpleNamespace(tag=number, game=game, candidate=SimpleNamespace(t_s=t_s))
        for number, game, t_s in ((1, "one", 0.0), (2, "one", 60.0), (3, "two", 0.0), (4, "gone", 0.0))
    ]
    found = game_times(SimpleNamespace(games=lambda: games), tags)  # type: ignore[arg-type]
    assert found == {1: GameTime(3, 400.0)}


def test_the_stage_fits_nothing_to_nothing(tmp_path):
    stage = clock_stage(Settings())
    tables = {"bug_readings": BUG_READINGS.empty(), "frames": FRAMES.empty()}
    assert stage.run(tables, lambda _done, _total: None, tmp_path)["clock"].num_rows == 0
    assert [spec.name for spec in stage.writes] == ["clock"]
