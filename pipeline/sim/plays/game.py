"""A stretch of a game: possessions one after the other in one running time.

Play that goes on (a rebound, a made basket) starts the next possession where the last one ended; a
whistle ends a stretch of live play, people walk about, and the next possession starts afresh.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import Enum
from typing import Any

import numpy as np

from pipeline.court.attack_frame import End
from pipeline.court.rule_books import RuleBook
from pipeline.errors import SettingsError
from pipeline.sim.plays.execution import Execution, Quality, sample_execution
from pipeline.sim.plays.possession import Possession, simulate
from pipeline.sim.plays.script import Script, Value
from pipeline.sim.plays.stoppages import FREE_THROWS

DRAWS = 3
"""How often dials are drawn for a possession that cannot be run."""


class After(Enum):
    """What follows a possession."""

    PLAY_ON = "play_on"
    WHISTLE = "whistle"


@dataclass(frozen=True, slots=True)
class Call:
    """One possession as ordered: script, dials, and what follows it."""

    script: Script
    execution: Execution
    after: After = After.PLAY_ON
    same_team: bool = False
    """Whether the team of the possession before attacks again (free throws after a foul)."""
    dead_s: float = 12.0
    side: int = 0
    """+1 or -1; 0 draws it."""
    dials: Mapping[str, Value] = field(default_factory=dict)
    """The script's own dials."""
    quality: Quality = Quality.GOOD


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """One possession in the game's time."""

    possession: Possession
    start_s: float
    end_s: float
    live_end_s: float
    """The whistle, or the end of the possession where play goes on."""
    after: After
    clock_runs: bool


@dataclass(frozen=True, slots=True, eq=False)
class Game:
    """Stretches without gaps."""

    book: RuleBook
    stretches: tuple[Stretch, ...]
    left_out: tuple[Call, ...] = ()
    """Possessions that could not be run with any dials drawn."""

    @property
    def end_s(self) -> float:
        """End of the last stretch."""
        return self.stretches[-1].end_s

    def index_at(self, t_s: float) -> int:
        """Which stretch a time of the game lies in."""
        return max(bisect_right([s.start_s for s in self.stretches], t_s) - 1, 0)

    def at(self, t_s: float) -> tuple[Possession, float]:
        """Possession and its own time at a time of the game."""
        stretch = self.stretches[self.index_at(t_s)]
        return stretch.possession, t_s - stretch.start_s


def drive_execution(rng: np.random.Generator, bodies: int, *, made: bool | None = None) -> Execution:
    """Dials of a scripted drive into so many bodies."""
    base = sample_execution(rng, Quality.GOOD)
    fall = bool(rng.random() < (0.25 if bodies >= 4 else 0.75)) if made is None else made
    return replace(base, bodies=bodies, made=fall)


def play_game(
    calls: Sequence[Call], seed: int, book: RuleBook, *, first_offence: int = 0, walk_in: bool = True
) -> Game:
    """Simulate the possessions one after the other.

    Parameters
    ----------
    calls : sequence of Call
    seed : int
    book : RuleBook
    first_offence : int
        Team 0 attacks the left ring, team 1 the right one.
    walk_in : bool
        Whether possessions that start afresh begin with the ball being brought over half court.
    """
    rng = np.random.default_rng([seed, 77])
    stretches: list[Stretch] = []
    now = 0.0
    offence = first_offence
    before: Possession | None = None
    left_out: list[Call] = []
    for call in calls:
        if stretches and not call.same_team:
            offence = 1 - offence
        end: End = "left" if offence == 0 else "right"
        goes_on = before is not None and stretches[-1].after is After.PLAY_ON
        side = call.side or (1 if rng.random() < 0.5 else -1)
        dead = call.dead_s if call.after is After.WHISTLE else 0.0
        sub_seed = int(rng.integers(2**31))
        start: dict[str, Any] = {"walk_in": walk_in}
        if goes_on and before is not None:
            start = {
                "start_xy_ft": before.xy_ft[-1], "start_velocity_ft_s": before.velocity_ft_s[-1],
                "start_facing_rad": before.facing_rad[-1], "start_holder": int(before.holder[-1]),
            }  # fmt: skip
        possession = _ran(call, sub_seed, book, side=side, end=end, offence=offence, dead_s=dead, **start)
        if possession is None:
            left_out.append(call)
            offence = offence if call.same_team else 1 - offence
            continue
        if goes_on and before is not None:
            possession = _joined(before, possession)
        length = possession.seconds
        whistle = possession.marks.get("whistle_s", length)
        stretches.append(
            Stretch(possession, now, now + length, now + whistle, call.after, call.script is not FREE_THROWS)
        )
        now += length
        before = possession
    if not stretches:
        raise SettingsError("No possession of this game could be run; choose another seed or other scripts.")
    return Game(book, tuple(stretches), tuple(left_out))


def _ran(call: Call, seed: int, book: RuleBook, **where: Any) -> Possession | None:
    """The possession of a call, with other dials where it cannot be run with its own; None when none will do."""
    rng = np.random.default_rng([seed, 23])
    dials = dict(call.dials)
    for attempt in range(DRAWS):
        try:
            return simulate(
                call.script, seed + attempt, book, execution=call.execution, dials=dials, quality=call.quality, **where
            )
        except SettingsError:
            if not call.script.checked:
                raise
            dials = call.script.redraw(rng, call.quality, call.dials)
    return None


def _joined(before: Possession, after: Possession) -> Possession:
    """Blend the first poses of a possession from the last of the one before."""
    steps = min(10, len(after.pose))
    share = (np.arange(steps) + 1.0)[:, None] / (steps + 1)
    pose_from, blend, phase = after.pose_from.copy(), after.blend.copy(), after.phase.copy()
    pose_from[:steps] = before.pose[-1]
    blend[:steps] = np.where(before.pose[-1] == after.pose[:steps], 1.0, share)
    shift = (before.phase[-1] - phase[0]) * (before.pose[-1] == after.pose[0])
    moving = np.cumprod(after.pose == after.pose[0], axis=0).astype(bool)
    phase = np.where(moving, (phase + shift) % 1.0, phase)
    return replace(after, pose_from=pose_from, blend=blend, phase=phase)
