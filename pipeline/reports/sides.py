"""Which part of a library a report looks at: teams, games, periods, days; and which tags count."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

from pipeline.conditions import folded
from pipeline.errors import SearchError
from pipeline.find import Filters, read_bar
from pipeline.library.games import Library
from pipeline.settings import Settings
from pipeline.tags import State


class Counted(StrEnum):
    """Which tags a report counts."""

    CONFIRMED = "confirmed"
    WITH_CANDIDATES = "confirmed and undecided"

    @property
    def states(self) -> tuple[str, ...]:
        """The states of tags that count."""
        undecided = (State.CANDIDATE.value, State.UNSURE.value)
        return (State.CONFIRMED.value, *(undecided if self is Counted.WITH_CANDIDATES else ()))


@dataclass(frozen=True, slots=True)
class Side:
    """A part of a library under a name: a search that asks for no kind."""

    label: str
    filters: Filters


EVERYTHING = "all games"


def side(text: str, settings: Settings, label: str = "") -> Side:
    """Read a side: a line of the query bar without kinds.

    Parameters
    ----------
    text : str
        E.g. ``team:Harbour period:4 since:2026-10-01``; empty for everything.
    settings : Settings
    label : str
        What to call it; made from the text if left out.

    Raises
    ------
    LanguageError, SearchError
        If it is not written as a query is.
    """
    return side_of(read_bar(text, settings), label)


def side_of(filters: Filters, label: str = "") -> Side:
    """A side from a search; SearchError where the search asks for kinds."""
    if filters.names_kinds:
        asked = ", ".join((*filters.sets, *filters.actions, *filters.faults))
        raise SearchError(
            f"A side of a report is a part of the games and names no set, action or fault; take {asked} out of it."
        )
    return Side(label or label_of(filters), replace(filters, states=()))


def must_have_games(library: Library) -> Library:
    """The library itself; an error where there is none here, or it has no game."""
    if not library.must_exist().games():
        raise SearchError(f"The library {library.root} has no games yet; run a film or import tracking data first.")
    return library


def team_sides(names: tuple[str, str], asked: tuple[str, ...]) -> tuple[int, ...]:
    """Which of a game's teams, 0 and 1, a side asks for: both where it names none."""
    if not asked:
        return (0, 1)
    return tuple(n for n in (0, 1) if names[n] and folded(names[n]) in {folded(one) for one in asked})


def label_of(filters: Filters) -> str:
    """A search's part of the games in words."""
    parts = []
    if filters.teams:
        parts.append(" and ".join(filters.teams))
    if filters.games:
        parts.append(f"{'game' if len(filters.games) == 1 else 'games'} {', '.join(filters.games)}")
    if filters.periods:
        numbers = ", ".join(str(number) for number in filters.periods)
        parts.append(f"{'period' if len(filters.periods) == 1 else 'periods'} {numbers}")
    if filters.since:
        parts.append(f"from {filters.since}")
    if filters.until:
        parts.append(f"to {filters.until}")
    if filters.labels:
        parts.append(f"labelled {', '.join(filters.labels)}")
    if filters.where.strip():
        parts.append(f"where {' '.join(filters.where.split())}")
    return ", ".join(parts) or EVERYTHING
