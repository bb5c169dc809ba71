"""Which measures are lengths on the floor, from whom to whom, and how the figure is said in two words."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np

from pipeline.clips.marks import Place
from pipeline.clips.playback import Body
from pipeline.court.attack_frame import End, ring_ft, to_attack, to_court
from pipeline.court.rule_books import RuleBook

AGREES_FT, AGREES_SHARE, MEAN_AGREES_FT = 1.0, 0.12, 3.0
"""A figure is drawn where the bodies are as far apart as it says, within the larger; a mean within the last."""


class Mark(Enum):
    """What a length can end at besides a body in a role."""

    RING = "the ring"
    LINE = "the free-throw line extended"
    NEAREST = "the nearest opponent"


@dataclass(frozen=True, slots=True)
class Length:
    """One measure that is a length on the floor.

    Attributes
    ----------
    measure : str
    start : tuple of str
        Role that it starts at, the first that takes part.
    end : tuple of str, or Mark
    words : str
        Said behind the figure.
    mean : bool
        Whether it is a mean over a stretch, so that the bodies need not stand exactly so far apart at the moment.
    """

    measure: str
    start: tuple[str, ...]
    end: tuple[str, ...] | Mark
    words: str
    mean: bool = False


LENGTHS = (
    Length("catch_ring_ft", ("receiver", "poster"), Mark.RING, "to the ring"),
    Length("catch_above_line_ft", ("receiver",), Mark.LINE, "above the line"),
    Length("contact_ft", ("screener",), ("cutter_defender", "on_ball_defender"), "contact"),
    Length("separation_at_ft", ("cutter",), ("cutter_defender",), "free"),
    Length("receiver_gap_ft", ("receiver",), Mark.NEAREST, "free"),
    Length("shooter_gap_ft", ("shooter",), ("shooter_defender",), "free"),
    Length("defender_gap_ft", ("poster",), ("post_defender",), "off him"),
    Length("gap_ft", ("player",), ("other",), "apart", mean=True),
    Length("gap_ft", ("giver",), ("receiver",), "apart"),
    Length("gap_ft", ("receiver",), ("receiver_defender",), "off him"),
    Length("ring_distance_ft", ("shooter", "poster"), Mark.RING, "to the ring"),
)
"""In order of what teaches more; drawn are the first few whose bodies are placed."""


@dataclass(frozen=True, slots=True)
class Figure:
    """A length with both its ends.

    Attributes
    ----------
    start_ft, end_ft : Place
    text : str
        E.g. ``"29 ft to the ring"``.
    measure : str
    """

    start_ft: Place
    end_ft: Place
    text: str
    measure: str


def figures(
    actors: Sequence[tuple[str, int]],
    measures: Mapping[str, float],
    bodies: Mapping[int, Body],
    book: RuleBook,
    end: End,
    at_most: int,
) -> tuple[Figure, ...]:
    """The lengths that were measured of something, as far as the bodies stand that far apart at the moment.

    Parameters
    ----------
    actors : sequence of (role, track)
    measures : mapping of str to float
    bodies : mapping of track to Body
        Where everybody is.
    book, end : the court, and the end that is attacked
    at_most : int
    """
    tracks = dict(reversed(tuple(actors)))
    found: list[Figure] = []
    for length in LENGTHS:
        value = measures.get(length.measure, math.nan)
        first = next((bodies[tracks[role]] for role in length.start if tracks.get(role) in bodies), None)
        if first is None or not math.isfinite(value) or len(found) == at_most:
            continue
        last = _end(length, first, tracks, bodies, book, end)
        if last is None or any(figure.measure == length.measure for figure in found):
            continue
        apart = math.hypot(last[0] - first.place_ft[0], last[1] - first.place_ft[1])
        if length.end is Mark.LINE and value < 0:
            continue
        agrees_ft = MEAN_AGREES_FT if length.mean else max(AGREES_FT, AGREES_SHARE * abs(value))
        if abs(apart - abs(value)) <= agrees_ft:
            found.append(Figure(first.place_ft, last, f"{feet(value)} {length.words}", length.measure))
    return tuple(found)


def feet(value: float) -> str:
    """A length as it is said: in tenths below ten feet, in whole feet from there."""
    return f"{value:.1f} ft" if abs(value) < 9.95 else f"{value:.0f} ft"


def line_extended_u(book: RuleBook) -> float:
    """Distance of the free-throw line's far edge from the ring, ft: what the trade calls the line extended."""
    return book.lane_length_ft - book.ring_to_baseline_ft


def _end(
    length: Length, first: Body, tracks: Mapping[str, int], bodies: Mapping[int, Body], book: RuleBook, end: End
) -> Place | None:
    if length.end is Mark.RING:
        x, y = ring_ft(book, end)
        return float(x), float(y)
    if length.end is Mark.LINE:
        v = float(to_attack(np.array([first.place_ft]), book, end)[0, 1])
        x, y = to_court(np.array([[line_extended_u(book), v]]), book, end)[0]
        return float(x), float(y)
    if isinstance(length.end, Mark):
        others = [b for b in bodies.values() if b.role == "player" and b.team >= 0 and b.team == 1 - first.team]
        near = min(others, key=lambda b: math.dist(b.place_ft, first.place_ft), default=None)
        return None if near is None else near.place_ft
    return next((bodies[tracks[role]].place_ft for role in length.end if tracks.get(role) in bodies), None)
