"""How fast a clip goes through its film: as it was, slowed down, or held still at a moment."""

from __future__ import annotations

import bisect
import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from pipeline.film.decode import TIME_SLACK_S

HOLD_STEPS_PER_S = 10
"""A held picture is repeated this often, so that players that dislike long frames keep in time."""


@dataclass(frozen=True, slots=True)
class Freeze:
    """A moment that is held.

    Attributes
    ----------
    t_s : float
        Film time; the first frame at or after it is held.
    length_s : float
        For how long.
    """

    t_s: float
    length_s: float


@dataclass(frozen=True, slots=True)
class Slow:
    """A stretch of film that is shown slower.

    Attributes
    ----------
    start_s, end_s : float
        Half-open, film time.
    factor : float
        How many times slower; 1 is as it was.
    """

    start_s: float
    end_s: float
    factor: float


class Pace:
    """Times of a clip for times of its film.

    Parameters
    ----------
    times_s : sequence of float
        Film times of the clip's frames, rising; at least one.
    end_s : float
        Film time at which the last of them ends.
    freezes : sequence of Freeze
        Each holds the first frame at or after its moment; those that have none are left out, and of several that
        hold the same frame the longest stays.
    slow : Slow, optional
    """

    def __init__(
        self, times_s: Sequence[float], end_s: float, freezes: Sequence[Freeze] = (), slow: Slow | None = None
    ) -> None:
        self.start_s, self.end_s = float(times_s[0]), float(end_s)
        held: dict[float, float] = {}
        for freeze in freezes:
            place = bisect.bisect_left(times_s, freeze.t_s - TIME_SLACK_S)
            if freeze.length_s > 0 and place < len(times_s):
                t_s = float(times_s[place])
                held[t_s] = max(held.get(t_s, 0.0), freeze.length_s)
        self.held = tuple(Freeze(t_s, held[t_s]) for t_s in sorted(held))
        """What is held, at the times of frames."""
        inside = slow is not None and slow.factor != 1 and slow.start_s < slow.end_s
        self._slow = slow if inside else None

    @property
    def length_s(self) -> float:
        """Length of the clip."""
        return self.at(self.end_s)

    def at(self, t_s: float) -> float:
        """Clip time at which a frame of the film begins to run; a frame that is held runs after it was held."""
        past = sum(freeze.length_s for freeze in self.held if freeze.t_s <= t_s + TIME_SLACK_S)
        return t_s - self.start_s + self._lost(t_s) + past

    def runs(self) -> Iterator[tuple[float, float, float, float]]:
        """Stretches of one pace: film time from and to, how many times slower, clip time of its start."""
        marks = {self.start_s, self.end_s, *(freeze.t_s for freeze in self.held)}
        if self._slow is not None:
            marks |= {min(max(t_s, self.start_s), self.end_s) for t_s in (self._slow.start_s, self._slow.end_s)}
        known = sorted(marks)
        for begin, end in itertools.pairwise(known):
            slow = self._slow is not None and self._slow.start_s <= (begin + end) / 2 < self._slow.end_s
            yield begin, end, self._slow.factor if slow and self._slow is not None else 1.0, self.at(begin)

    def holds(self, t_s: float) -> Iterator[float]:
        """Clip times at which the frame of a film time is shown held; none for one that is not."""
        for freeze in self.held:
            if abs(freeze.t_s - t_s) <= TIME_SLACK_S:
                first_s = self.at(t_s) - freeze.length_s
                steps = max(1, math.ceil(freeze.length_s * HOLD_STEPS_PER_S))
                yield from (first_s + step * freeze.length_s / steps for step in range(steps))

    def _lost(self, t_s: float) -> float:
        if self._slow is None:
            return 0.0
        begin = max(self._slow.start_s, self.start_s)
        return (self._slow.factor - 1) * max(0.0, min(t_s, self._slow.end_s) - begin)
