"""What goes into the tag store and what comes out of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum


class State(StrEnum):
    """Where a tag stands."""

    CANDIDATE = "candidate"  # found, nobody has looked at it
    CONFIRMED = "confirmed"
    REJECTED = "rejected"
    WITHDRAWN = "withdrawn"  # an undecided candidate that a later run no longer finds


class Deed(StrEnum):
    """What a line of the history records."""

    FOUND = "found"
    FOUND_AGAIN = "found again"
    NOT_FOUND_AGAIN = "not found again"
    CONFIRMED = "confirmed"
    REJECTED = "rejected"


@dataclass(frozen=True, slots=True)
class Candidate:
    """One thing that a recogniser or a fault rule put up for tagging.

    Attributes
    ----------
    kind : str
        E.g. ``"crowded_paint"``.
    shot : int
        Shot of the film.
    start_s, end_s, t_s : float
        Interval and moment, film time.
    actors : tuple of (role, track)
        Main actor first.
    measures : mapping of str to float
        What the rule measured; a value that is not known is left out.
    score : float
        0..1, as the rule documents it.
    severity, sentence : str
        From the fault library.
    """

    kind: str
    shot: int
    start_s: float
    end_s: float
    t_s: float
    actors: tuple[tuple[str, int], ...]
    measures: Mapping[str, float]
    score: float
    severity: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Tag:
    """A candidate in the store, under a number that it keeps.

    Attributes
    ----------
    tag : int
        Its number in the library.
    game : str
        Game it belongs to.
    state : State
        Where it stands.
    candidate : Candidate
        As the latest run that found it saw it.
    """

    tag: int
    game: str
    state: State
    candidate: Candidate


@dataclass(frozen=True, slots=True)
class Note:
    """One line of a tag's history; lines are only ever added.

    Attributes
    ----------
    tag : int
        The tag.
    when : datetime
        UTC.
    who : str
        A person, or the run that did it.
    deed : Deed
        What happened.
    text : str
        What was said with it; may be empty.
    """

    tag: int
    when: datetime
    who: str
    deed: Deed
    text: str


@dataclass(frozen=True, slots=True)
class Merge:
    """What a run's candidates did to the store: numbers of the tags that are new, found again, not found again."""

    new: tuple[int, ...]
    kept: tuple[int, ...]
    missing: tuple[int, ...]
