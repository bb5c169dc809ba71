"""The stage from readings of the score graphic to the game's clock."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from pipeline.film.clock import fit_clock
from pipeline.film.tables import BUG_READINGS, CLOCK, FRAMES
from pipeline.night.stages import Progress, Stage, Tables
from pipeline.settings import Settings


def clock_stage(settings: Settings) -> Stage:
    """The stage from readings of the score graphic to the game's clock."""
    return Stage(
        "clock",
        (BUG_READINGS, FRAMES),
        (CLOCK,),
        ("film/clock.py", "film/bug_words.py"),
        [settings.film.clock],
        _clock_of(settings),
    )


def _clock_of(settings: Settings) -> Callable[[Tables, Progress, Path], Tables]:
    def run(tables: Tables, progress: Progress, _units: Path) -> Tables:
        clock = fit_clock(tables["bug_readings"], tables["frames"], settings.film.clock)
        progress(1, 1)
        return {"clock": clock}

    return run
