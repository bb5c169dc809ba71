"""What a run of a script left behind, and one thing seen in it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np

from pipeline.court.rule_books import RuleBook
from pipeline.sim.plays.paint_count import Drive, PaintCount
from pipeline.sim.plays.places import Places
from pipeline.sim.plays.script import Deed
from pipeline.sim.plays.stage import DT_S, BallSpan

OFFENCE_BODIES = range(5)


@dataclass(frozen=True, slots=True)
class Seen:
    """One action or fault, in bodies, possession time and the attack frame of side +1.

    ``certain`` is False for what evaluation should count neither way.
    """

    kind: str
    start_s: float
    t_s: float
    end_s: float
    roles: tuple[tuple[str, int], ...]
    place_uv: tuple[float, float]
    measures: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    traits: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    certain: bool = True

    def body(self, role: str) -> int | None:
        """Who had a role."""
        return next((b for r, b in self.roles if r == role), None)


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """Paths of bodies 0-4 (attack), 5-9 (defence), T steps of ``DT_S``, attack frame of side +1.

    Attributes
    ----------
    book : RuleBook
    floor : Places
    uv : ndarray of shape (T, 13, 2)
    velocity : ndarray of shape (T, 13, 2)
    facing : ndarray of shape (T, 13)
    holder : ndarray of int, shape (T,)
    guard : ndarray of int, shape (T, 5)
        Defender of each attacker by order of the defence.
    trailing : ndarray of bool, shape (T, 5)
        Whether each defender was told to trail his man.
    spans : tuple of BallSpan
    deeds : tuple of Deed
    drives : tuple of Drive
    counts : tuple of PaintCount
    live : int
        Steps until the ball is dead, shot or lost (half-open): nothing is judged beyond.
    half_court : int
        First step with the ball past half court and four attackers; T when never.
    """

    book: RuleBook
    floor: Places
    uv: np.ndarray
    velocity: np.ndarray
    facing: np.ndarray
    holder: np.ndarray
    guard: np.ndarray
    trailing: np.ndarray
    spans: tuple[BallSpan, ...]
    deeds: tuple[Deed, ...]
    drives: tuple[Drive, ...]
    counts: tuple[PaintCount, ...]
    live: int
    half_court: int

    @property
    def speed(self) -> np.ndarray:
        """(T, 13) ft/s."""
        return np.hypot(self.velocity[..., 0], self.velocity[..., 1])

    def step(self, t_s: float) -> int:
        """Step of a time, held to the paths."""
        return int(np.clip(round(t_s / DT_S), 0, len(self.uv) - 1))

    def gap(self, a: int, b: int) -> np.ndarray:
        """(T,) feet between two bodies."""
        rel = self.uv[:, a] - self.uv[:, b]
        return np.hypot(rel[:, 0], rel[:, 1])

    def ring(self, body: int) -> np.ndarray:
        """(T,) feet from a body to the ring."""
        return np.hypot(self.uv[:, body, 0], self.uv[:, body, 1])

    def at(self, body: int, step: int) -> tuple[float, float]:
        """Place of a body."""
        return float(self.uv[step, body, 0]), float(self.uv[step, body, 1])

    def nearest_defender(self, body: int, step: int) -> tuple[int, float]:
        """Who of the defence is nearest to a body, and how far."""
        gaps = np.hypot(*(self.uv[step, 5:10] - self.uv[step, body]).T)
        return int(np.argmin(gaps)) + 5, float(gaps.min())
