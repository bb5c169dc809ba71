"""A set as it was played."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.sets.definition import Need
from pipeline.sets.plan import Plan, PlannedPhase
from pipeline.sets.play import Fit


@dataclass(frozen=True, slots=True, eq=False)
class Met:
    """A phase and the action that met it, or None."""

    phase: PlannedPhase
    fit: Fit | None


@dataclass(frozen=True, slots=True, eq=False)
class Match:
    """A set as it was played.

    Attributes
    ----------
    plan : Plan
    mirror : int
        +1: as the file draws it; -1: on the other side.
    counter, ending : str or None
    complete : bool
    score : float
    tracks : tuple of int or None
        Who played each player of the definition.
    met : tuple of Met
        Phases of the way that was taken, forbidden ones left out.
    missing : tuple of str
        Phases that must be there and were not found; ``"ending"`` when one of the endings must.
    start_s, end_s, t_s : float
        The moment is that of the last phase of the main line that was found.
    moment : int
        Index of the action at that moment.
    """

    plan: Plan
    mirror: int
    counter: str | None
    ending: str | None
    complete: bool
    score: float
    tracks: tuple[int | None, ...]
    met: tuple[Met, ...]
    missing: tuple[str, ...]
    start_s: float
    end_s: float
    t_s: float
    moment: int

    @property
    def used(self) -> frozenset[int]:
        """The actions that were used."""
        return frozenset(met.fit.index for met in self.met if met.fit is not None)

    @property
    def main(self) -> frozenset[int]:
        """The actions of the phases that must be there, endings left out."""
        line = next(line for line in self.plan.lines if line.line.counter == self.counter)
        return frozenset(met.fit.index for met in self.met if met.fit is not None and met.phase in line.part.required)

    @property
    def found(self) -> int:
        """How many of the phases that must be there were seen, its ending's among them."""
        return sum(met.fit is not None and met.fit.seen and met.phase.phase.need is Need.REQUIRED for met in self.met)

    def size(self) -> float:
        """How much the match asks for: its phases that must be there, half of each on trust and half of each player."""
        trusted = sum(met.fit is not None and not met.fit.seen for met in self.met)
        return self.found + 0.5 * (trusted + sum(track is not None for track in self.tracks))

    def rank(self) -> tuple:
        """Sorts the better match first, the same way whatever the order of players and whichever the side."""
        times = tuple(met.fit.t_s for met in self.met if met.fit is not None)
        tracks = tuple(-1 if track is None else track for track in self.tracks)
        part = 0 if self.complete else -self.found  # of matches in part the one with more in it
        return (not self.complete, part, -round(self.score, 9), self.counter or "", times, tracks)


def shared_time(start_s: float, end_s: float, other_start_s: float, other_end_s: float) -> float:
    """Share of the shorter of two stretches of time that both have."""
    both = min(end_s, other_end_s) - max(start_s, other_start_s)
    shorter = min(end_s - start_s, other_end_s - other_start_s)
    return 0.0 if both <= 0 else 1.0 if shorter <= 0 else both / shorter
