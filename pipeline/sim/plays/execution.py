"""How well a set is run: the dials of a script, and samples of good and bad execution."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from pipeline.sim.plays.defence import Coverage, Route


class Quality(Enum):
    """Whether a sample of the dials is good or bad execution."""

    GOOD = "good"
    BAD = "bad"
    NEAR_MISS = "near_miss"


@dataclass(frozen=True, slots=True)
class Execution:
    """Every dial of the scripts. Distances in feet, times in seconds.

    Attributes
    ----------
    contact_ft : float
        Screener to the cutter's (or handler's) defender when the screen is set.
    lag_s : float
        How long the screen holds the defender up; the cutter's separation grows with it.
    route : Route
        The cutter's defender at the cross screen.
    coverage : Coverage
        Of the ball screen.
    bodies : int
        Others in the paint (both teams, the handler not counted) when a scripted drive enters it.
    made : bool
        Whether the shot falls.
    """

    contact_ft: float = 2.0
    lag_s: float = 0.45
    route: Route = Route.HIGH
    coverage: Coverage = Coverage.OVER
    bodies: int = 2
    made: bool = True


def sample_execution(rng: np.random.Generator, quality: Quality) -> Execution:
    """Draw the dials of one run of a set; good and bad do not overlap in contact."""
    good = quality is Quality.GOOD
    base = Execution(
        route=list(Route)[int(rng.choice(4, p=[0.35, 0.25, 0.3, 0.1]))],
        coverage=list(Coverage)[int(rng.choice(3, p=[0.6, 0.25, 0.15]))],
        made=bool(rng.random() < (0.55 if good else 0.3)),
    )
    if good:
        return replace(
            base,
            contact_ft=float(rng.uniform(1.9, 2.6)),
            lag_s=float(rng.uniform(0.35, 0.7)),
        )
    return replace(
        base,
        contact_ft=float(rng.uniform(3.6, 6.0)),
        lag_s=float(rng.uniform(0.0, 0.15)),
    )
