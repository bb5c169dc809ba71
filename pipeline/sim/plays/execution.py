"""How well a set is run: the dials of a script, and samples of good and bad execution."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from pipeline.sim.plays.defence import Coverage, Route


class Ending(Enum):
    """How the weak-side motion set ends."""

    POST_ENTRY = "post_entry"
    ZIPPER = "zipper"
    SIDE_BALL_SCREEN = "side_ball_screen"


class Curl(Enum):
    """The end of a zipper cut."""

    STRAIGHT = "straight"
    CURL = "curl"
    WIDE = "wide"
    FADE = "fade"


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
    ending : Ending
    contact_ft : float
        Screener to the cutter's (or handler's) defender when the screen is set.
    catch_distance_ft : float
        Return catch to the ring.
    top_wait_s : float
        How long the ball stays at the top before the return pass.
    denial : float
        0..1, how hard the return pass is denied.
    curl : Curl
    lag_s : float
        How long the screen holds the defender up; the cutter's separation grows with it.
    route : Route
        The cutter's defender at the cross screen.
    read_right : bool
        Whether the cutter goes to the side the defender did not.
    coverage : Coverage
        Of the ball screen.
    post_catch_ft : float
        Post catch to the ring.
    bodies : int
        Others in the paint (both teams, the handler not counted) when a scripted drive enters it.
    made : bool
        Whether the shot falls.
    """

    ending: Ending = Ending.POST_ENTRY
    contact_ft: float = 2.0
    catch_distance_ft: float = 24.0
    top_wait_s: float = 0.7
    denial: float = 0.2
    curl: Curl = Curl.CURL
    lag_s: float = 0.45
    route: Route = Route.HIGH
    read_right: bool = True
    coverage: Coverage = Coverage.OVER
    post_catch_ft: float = 7.5
    bodies: int = 2
    made: bool = True


def sample_execution(rng: np.random.Generator, quality: Quality) -> Execution:
    """Draw the dials of one run of a set; good and bad do not overlap in contact, catch, wait and post catch."""
    good = quality is Quality.GOOD
    base = Execution(
        ending=list(Ending)[int(rng.integers(3))],
        route=list(Route)[int(rng.choice(4, p=[0.35, 0.25, 0.3, 0.1]))],
        coverage=list(Coverage)[int(rng.choice(3, p=[0.6, 0.25, 0.15]))],
        made=bool(rng.random() < (0.55 if good else 0.3)),
    )
    if good:
        return replace(
            base,
            contact_ft=float(rng.uniform(1.9, 2.6)),
            catch_distance_ft=float(rng.uniform(21.5, 25.0)),
            top_wait_s=float(rng.uniform(0.3, 1.2)),
            denial=float(rng.uniform(0.0, 0.4)),
            curl=Curl.CURL if rng.random() < 0.6 else Curl.STRAIGHT,
            lag_s=float(rng.uniform(0.35, 0.7)),
            read_right=True,
            post_catch_ft=float(rng.uniform(6.0, 9.0)),
        )
    return replace(
        base,
        contact_ft=float(rng.uniform(3.6, 6.0)),
        catch_distance_ft=float(rng.uniform(28.5, 31.5)),
        top_wait_s=float(rng.uniform(2.7, 4.0)),
        denial=float(rng.uniform(0.7, 1.0)),
        curl=Curl.WIDE if rng.random() < 0.6 else Curl.FADE,
        lag_s=float(rng.uniform(0.0, 0.15)),
        read_right=bool(rng.random() < 0.4),
        post_catch_ft=float(rng.uniform(10.5, 13.0)),
    )
