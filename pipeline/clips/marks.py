"""What is drawn of a moment, in feet on the floor: the same for film and for the half court from above."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np

from pipeline.clips.settings import Colour

Place = tuple[float, float]
"""x, y in feet, court frame."""


class Look(Enum):
    """How a line is drawn."""

    SOLID = "solid"
    DASHED = "dashed"
    DOTTED = "dotted"
    FADING = "fading"  # from nothing at its start to full at its end


class Sort(Enum):
    """What a line tells; a diagram gives each its sign."""

    WALKED = "walked"  # where somebody came from
    AHEAD = "ahead"  # where he will go
    PASS = "pass"
    SCREEN = "screen"
    MEASURED = "measured"
    FLOOR = "floor"  # a line of the floor continued


class Badge(Enum):
    """What stands at a body's ring."""

    ROUND = "round"  # an attacker
    SQUARE = "square"  # a defender


@dataclass(frozen=True, slots=True, eq=False)
class FloorLine:
    """A line on the floor.

    Attributes
    ----------
    points_ft : ndarray of shape (N, 2)
        Court frame; at least two.
    sort : Sort
    colour : Colour
    width : float
        In the picture's units.
    look : Look
    strength : float
        Opacity, 0..1.
    arrow : bool
        Whether a head stands at its end.
    """

    points_ft: np.ndarray
    sort: Sort
    colour: Colour
    width: float = 2.0
    look: Look = Look.SOLID
    strength: float = 1.0
    arrow: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class FloorArea:
    """A translucent area, corners (N, 2) in court feet."""

    points_ft: np.ndarray
    colour: Colour
    strength: float


@dataclass(frozen=True, slots=True)
class FloorRing:
    """A ring round a body's feet.

    Attributes
    ----------
    track : int
    place_ft : Place
    colour : Colour
    main : bool
        Two rings.
    word : str
        Who it is, e.g. ``"screener"``; written where there is room.
    number : int
        Of those that are counted; 0 for none.
    badge : Badge
    """

    track: int
    place_ft: Place
    colour: Colour
    main: bool = False
    word: str = ""
    number: int = 0
    badge: Badge = Badge.ROUND


@dataclass(frozen=True, slots=True)
class FloorSpot:
    """A place of its own on the floor, marked by a cross: where a ball was caught."""

    place_ft: Place
    colour: Colour


@dataclass(frozen=True, slots=True)
class FloorLabel:
    """Words at a place of the floor, the first of several places where there is room.

    Attributes
    ----------
    places_ft : tuple of Place
    text : str
    colour : Colour
    """

    places_ft: tuple[Place, ...]
    text: str
    colour: Colour


@dataclass(frozen=True, slots=True)
class Marks:
    """Everything that is drawn of a moment.

    Attributes
    ----------
    areas, lines, rings, spots, labels : tuple
    title : str
        What is shown, e.g. ``"Pushed-out catch"``.
    said : str
        A sentence under it.
    step : str
        What happens now, of something with several phases; empty for nothing.
    """

    areas: tuple[FloorArea, ...] = ()
    lines: tuple[FloorLine, ...] = ()
    rings: tuple[FloorRing, ...] = ()
    spots: tuple[FloorSpot, ...] = ()
    labels: tuple[FloorLabel, ...] = ()
    title: str = ""
    said: str = ""
    step: str = ""


def between(a: Place, b: Place, shares: Sequence[float] = (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8)) -> tuple[Place, ...]:
    """Places on the way from one to another, by their share of it."""
    return tuple((a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])) for share in shares)
