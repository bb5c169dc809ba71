"""What goes into the tag store and what comes out of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from types import MappingProxyType

from pipeline.errors import ConflictError


class State(StrEnum):
    """Where a tag stands."""

    CANDIDATE = "candidate"  # found, nobody has decided it
    CONFIRMED = "confirmed"
    REJECTED = "rejected"
    UNSURE = "unsure"  # somebody looked and could not say
    WITHDRAWN = "withdrawn"  # a candidate that nobody has touched and that a later run no longer finds


VERDICTS = (State.CONFIRMED, State.REJECTED, State.UNSURE)
"""What staff can say of a tag."""


class Family(StrEnum):
    """What sort of thing a candidate is."""

    FAULT = "fault"
    SET = "set"
    ACTION = "action"


class Deed(StrEnum):
    """What a line of the history records."""

    FOUND = "found"
    FOUND_AGAIN = "found again"
    NOT_FOUND_AGAIN = "not found again"
    CONFIRMED = "confirmed"
    REJECTED = "rejected"
    UNSURE = "unsure"
    EDITED = "edited"
    UNDONE = "undone"
    NOTED = "noted"
    LABELLED = "labelled"


@dataclass(frozen=True, slots=True)
class Candidate:
    """One thing that a recogniser, the matcher of sets or a fault rule put up for tagging.

    Attributes
    ----------
    kind : str
        E.g. ``"crowded_paint"``.
    family : Family
        Fault, set or action.
    shot : int
        Shot of the film.
    possession : int or None
        Possession of the game, None when unknown.
    team : int or None
        The attackers, 0 or 1, None when unknown.
    start_s, end_s, t_s : float
        Interval and moment, film time.
    actors : tuple of (role, track)
        Main actor first.
    measures : mapping of str to float
        What the rule measured, finite; a value that is not known is left out.
    traits : mapping of str to str
        What is said of it in words.
    score : float
        0..1, as the rule documents it.
    severity, sentence : str
        From the fault or set library.
    ending : str or None
        Ending of a set that was played.
    missing : tuple of str
        Phases of a set that must be there and were not found.
    """

    kind: str
    family: Family
    shot: int
    possession: int | None
    team: int | None
    start_s: float
    end_s: float
    t_s: float
    actors: tuple[tuple[str, int], ...]
    measures: Mapping[str, float]
    traits: Mapping[str, str]
    score: float
    severity: str
    sentence: str
    ending: str | None = None
    missing: tuple[str, ...] = ()


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
    revision : int
        Grows with every decision, edit, undo and note, and when a run changes what is known of it.
    start_s, end_s : float
        Interval as staff edited it, else as found.
    actors : tuple of (role, track)
        As staff edited them, else as found.
    labels : tuple of str
        Free labels, in order of the alphabet.
    note : str
        Staff's note, may be empty; earlier ones stand in the history.
    decided_by : str or None
        Whose decision stands.
    decided_at : datetime or None
        Since when, UTC.
    probability : float or None
        That staff would confirm it, where a ranking has said so; the store keeps none.
    found : bool
        Whether the latest run over the game found it too.
    """

    tag: int
    game: str
    state: State
    candidate: Candidate
    revision: int
    start_s: float
    end_s: float
    actors: tuple[tuple[str, int], ...]
    labels: tuple[str, ...] = ()
    note: str = ""
    decided_by: str | None = None
    decided_at: datetime | None = None
    probability: float | None = None
    found: bool = True


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
class Decided:
    """The standing verdict on a tag, with the evidence as it was when it was given.

    Attributes
    ----------
    tag, game, kind, family
        Which tag, of what.
    verdict : State
        Confirmed, rejected or unsure.
    score : float
        Of the rule, 0..1.
    measures : mapping of str to float
    traits : mapping of str to str
    at : datetime
        UTC.
    who : str
        Who gave it.
    """

    tag: int
    game: str
    kind: str
    family: Family
    verdict: State
    score: float
    measures: Mapping[str, float]
    traits: Mapping[str, str]
    at: datetime
    who: str


@dataclass(frozen=True, slots=True)
class Merge:
    """What a run's candidates did to the store.

    Attributes
    ----------
    new, kept, missing : tuple of int
        Numbers of tags that are new, found again, and withdrawn because they were not found again.
    changed : mapping of int to str
        Tags of which a run says something else than the run before, and what, in words.
    """

    new: tuple[int, ...]
    kept: tuple[int, ...]
    missing: tuple[int, ...]
    changed: Mapping[int, str] = field(default_factory=lambda: MappingProxyType({}))


@dataclass(frozen=True, slots=True)
class SavedSearch:
    """A search under a name.

    Attributes
    ----------
    name : str
        Unique in the library.
    text : str
        The search, in the language of the query bar.
    who : str
        Whose it is.
    """

    name: str
    text: str
    who: str


@dataclass(frozen=True, slots=True)
class ReelItem:
    """One clip of a reel.

    Attributes
    ----------
    tag : int
        What is shown.
    title, note : str
        What is written with it.
    freeze : bool
        Whether the film stops at the moment of the tag, with the drawing on it.
    slow : float
        Speed, 0.1..1; 1 is as filmed.
    """

    tag: int
    title: str = ""
    note: str = ""
    freeze: bool = False
    slow: float = 1.0


@dataclass(frozen=True, slots=True)
class Reel:
    """Clips in an order, with titles and notes.

    Attributes
    ----------
    reel : int
        Its number in the library.
    title, note : str
        What it is called, and what is said with it.
    items : tuple of ReelItem
        In order.
    revision : int
        Grows with every change.
    token : str or None
        Part of the link under which it is shared; None when it is not.
    made_by, changed_by : str
        Who made it, who changed it last.
    changed_at : datetime or None
        When, UTC.
    """

    reel: int
    title: str
    note: str
    items: tuple[ReelItem, ...]
    revision: int
    token: str | None = None
    made_by: str = ""
    changed_by: str = ""
    changed_at: datetime | None = None


class TagConflict(ConflictError):
    """A tag was changed by somebody else since it was looked at; nothing was written.

    Attributes
    ----------
    current : Tag
        As it stands.
    note : Note or None
        What was done to it last, by whom and when.
    """

    def __init__(self, text: str, current: Tag, note: Note | None) -> None:
        super().__init__(text)
        self.current = current
        self.note = note


class ReelConflict(ConflictError):
    """A reel was changed by somebody else since it was looked at; nothing was written.

    Attributes
    ----------
    current : Reel
        As it stands.
    """

    def __init__(self, text: str, current: Reel) -> None:
        super().__init__(text)
        self.current = current
