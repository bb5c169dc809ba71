"""What a script is: a name, start spots, steps and dials; and what a running script works with and writes down.

Everything is in the attack frame for the right (+v) side; the mirror image of a script is its mirrored movement, the
other end a turn of the floor (``possession``). Bodies: 0-4 attack (0 the point), 5-9 defend (5 guards 0 ...).
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import Enum

import numpy as np

from pipeline.sim.plays.defence import Defence, Officials
from pipeline.sim.plays.execution import Execution, Quality
from pipeline.sim.plays.places import Places
from pipeline.sim.plays.stage import Stage, Steps

Spots = Callable[[Places, np.random.Generator], np.ndarray]
Value = float | str


class Opening(Enum):
    """How a possession of a script may begin."""

    HALF_COURT = "half_court"
    TRANSITION = "transition"
    FREE_THROWS = "free_throws"


@dataclass(frozen=True, slots=True)
class Dial:
    """A number of a script: the ranges from which good, bad and nearly-wrong runs draw it.

    ``bad`` and ``near`` are ``good`` when left out. A near miss stays just on the right side of what would be called.
    """

    name: str
    good: tuple[float, float]
    bad: tuple[float, float] | None = None
    near: tuple[float, float] | None = None

    def draw(self, rng: np.random.Generator, quality: Quality) -> float:
        """A value for one run."""
        low, high = {Quality.GOOD: self.good, Quality.BAD: self.bad, Quality.NEAR_MISS: self.near}[quality] or self.good
        return float(rng.uniform(low, high))


@dataclass(frozen=True, slots=True)
class Choice:
    """A word of a script: the ways from which good, bad and nearly-wrong runs draw it."""

    name: str
    good: tuple[str, ...]
    bad: tuple[str, ...] | None = None
    near: tuple[str, ...] | None = None

    def values(self, quality: Quality) -> tuple[str, ...]:
        """The ways open to a run."""
        return {Quality.GOOD: self.good, Quality.BAD: self.bad, Quality.NEAR_MISS: self.near}[quality] or self.good

    def draw(self, rng: np.random.Generator, quality: Quality) -> str:
        """A value for one run."""
        values = self.values(quality)
        return values[int(rng.integers(len(values)))]


@dataclass(frozen=True, slots=True)
class Script:
    """One thing that an attack can set out to do.

    Attributes
    ----------
    name : str
        By which commands and tables know it.
    spots : callable
        Where the five attackers stand when it begins in the half court, shape (5, 2).
    steps : callable
        Its movement: a generator that yields once per step of the stage.
    dials : tuple of Dial or Choice
    opening : Opening
    qualities : tuple of Quality
        Runs that make sense; a script without a near miss leaves it out.
    checked : bool
        Run again until everything that it means is in the paths and nothing that it must not do.
    seed : int
        Makes its random numbers its own.
    """

    name: str
    spots: Spots
    steps: Callable[[Play], Steps]
    dials: tuple[Dial | Choice, ...] = ()
    opening: Opening = Opening.HALF_COURT
    qualities: tuple[Quality, ...] = (Quality.GOOD, Quality.BAD)
    checked: bool = False
    seed: int = -1

    @property
    def seed_number(self) -> int:
        """Number that goes into the random generator."""
        return self.seed if self.seed >= 0 else zlib.crc32(self.name.encode())

    def redraw(self, rng: np.random.Generator, quality: Quality, dials: Mapping[str, Value]) -> dict[str, Value]:
        """Other dials for the same way (the first Choice stays)."""
        first = next((d.name for d in self.dials if isinstance(d, Choice)), None)
        drawn = self.draw(rng, quality)
        return drawn | ({first: dials[first]} if first is not None and first in dials else {})

    def draw(self, rng: np.random.Generator, quality: Quality, turn: int | None = None) -> dict[str, Value]:
        """Dials of one run; the first Choice goes round its ways by ``turn`` where that is given."""
        drawn: dict[str, Value] = {}
        first = next((d for d in self.dials if isinstance(d, Choice)), None)
        for dial in self.dials:
            drawn[dial.name] = dial.draw(rng, quality)
            if dial is first and isinstance(dial, Choice) and turn is not None:
                values = dial.values(quality)
                drawn[dial.name] = values[turn % len(values)]
        return drawn


@dataclass(frozen=True, slots=True)
class Deed:
    """An action that a script does on purpose: kind and roles of ``pipeline.actions.vocabulary``, bodies, times.

    ``traits`` are those that it must be found with.
    """

    kind: str
    t_s: float
    start_s: float
    end_s: float
    roles: tuple[tuple[str, int], ...]
    traits: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class SetRun:
    """A set that a script played, whole or in part.

    Attributes
    ----------
    name : str
        The set file's.
    roles : tuple of (role, body)
        By the set file's role names.
    start_s, t_s, end_s : float
    ending : str
        Empty where none was played.
    missing : tuple of str
        Phases that must be there and were not played.
    measures : tuple of (name, value)
        Dials as realised.
    certain : bool
        False for what an evaluation should count neither way.
    """

    name: str
    roles: tuple[tuple[str, int], ...]
    start_s: float
    t_s: float
    end_s: float
    ending: str = ""
    missing: tuple[str, ...] = ()
    measures: tuple[tuple[str, float], ...] = ()
    certain: bool = True


@dataclass
class Play:
    """What a running script works with."""

    stage: Stage
    defence: Defence
    officials: Officials
    execution: Execution
    dials: Mapping[str, Value] = field(default_factory=dict)
    quality: Quality = Quality.GOOD
    deeds: list[Deed] = field(default_factory=list)
    sets: list[SetRun] = field(default_factory=list)
    faults: set[str] = field(default_factory=set)
    """Faults that must be in the paths."""
    spared: set[str] = field(default_factory=set)
    """Faults that must not: the near misses."""

    @property
    def floor(self) -> Places:
        """Places of this court."""
        return self.stage.floor

    def number(self, name: str) -> float:
        """A dial that is a number."""
        return float(self.dials[name])

    def word(self, name: str) -> str:
        """A dial that is a word."""
        return str(self.dials[name])

    def jitter(self, point: np.ndarray, sd_ft: float = 0.7) -> np.ndarray:
        """A place, a little off."""
        return point + np.clip(self.stage.rng.normal(0, sd_ft, 2), -1.6 * sd_ft, 1.6 * sd_ft)

    def did(
        self,
        kind: str,
        roles: Mapping[str, int],
        *,
        t_s: float | None = None,
        start_s: float | None = None,
        end_s: float | None = None,
        said: Mapping[str, str] | None = None,
        **traits: str,
    ) -> None:
        """Write a deed down, now when no moment is given; it must be found with ``said`` and ``traits``."""
        now = self.stage.t_s if t_s is None else t_s
        self.deeds.append(
            Deed(
                kind, now, now if start_s is None else start_s, now if end_s is None else end_s,
                tuple(roles.items()), tuple((dict(said or {}) | traits).items()),
            )
        )  # fmt: skip

    def played(
        self,
        name: str,
        roles: Mapping[str, int],
        *,
        start_s: float,
        t_s: float | None = None,
        ending: str = "",
        missing: tuple[str, ...] = (),
        realised: Mapping[str, float] | None = None,
        certain: bool = True,
        **measures: float,
    ) -> None:
        """Write a set down that ends now; ``realised`` and ``measures`` are its dials as they came out.

        One that is not ``certain`` may be called so or not: an evaluation counts it neither way.
        """
        now = self.stage.t_s
        self.sets.append(
            SetRun(
                name, tuple(roles.items()), start_s, now if t_s is None else t_s, now, ending, missing,
                tuple(sorted((dict(realised or {}) | measures).items())), certain,
            )
        )  # fmt: skip
