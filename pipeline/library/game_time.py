"""The game's time: which it was at a moment of the film, and how it is told."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from pipeline.film.clock import game_times as times_of
from pipeline.film.tables import CLOCK
from pipeline.library.games import Library
from pipeline.tags import Tag


@dataclass(frozen=True, slots=True)
class GameTime:
    """Period (None where unknown) and game clock, seconds as the score graphic shows them."""

    period: int | None
    clock_s: float

    def __str__(self) -> str:
        """As a scoresheet has it: ``P3 5:49``, with tenths in the last minute."""
        if self.clock_s < 60:
            text = f"{math.floor(self.clock_s * 10) / 10:.1f}"
        else:
            text = f"{int(self.clock_s) // 60}:{int(self.clock_s) % 60:02d}"
        return text if self.period is None else f"P{self.period} {text}"


def game_time(clock: pa.Table, t_s: float) -> GameTime | None:
    """The game's time at a moment of the film; None where it is unknown.

    Parameters
    ----------
    clock : pa.Table
        :data:`~pipeline.film.tables.CLOCK`.
    t_s : float
        Seconds from the start of the film.
    """
    (period,), (clock_s,) = times_of(clock, np.array([t_s]))
    return None if np.isnan(clock_s) else GameTime(int(period) or None, float(clock_s))


def game_times(library: Library, tags: Sequence[Tag]) -> dict[int, GameTime]:
    """Game time of tags by their number, for those of which it is known."""
    by_game: dict[str, list[Tag]] = {}
    for tag in tags:
        by_game.setdefault(tag.game, []).append(tag)
    found = {}
    for game in library.games():
        own = by_game.get(game.name, [])
        if not own or not CLOCK.path(game.tables).is_file():
            continue  # run before clocks were read, or not yet through
        periods, clocks_s = times_of(CLOCK.read(game.tables), np.array([tag.candidate.t_s for tag in own]))
        for tag, period, clock_s in zip(own, periods.tolist(), clocks_s.tolist(), strict=True):
            if not math.isnan(clock_s):
                found[tag.tag] = GameTime(period or None, clock_s)
    return found
