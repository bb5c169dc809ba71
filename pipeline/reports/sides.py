"""Which part of a library a report looks at: teams, games, periods, days, and which tags count."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import date
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
    """A part of a library.

    Attributes
    ----------
    label : str
        What it is called on the page.
    filters : Filters
    since, until : str
        First and last day, ``2026-10-01``; empty for open. Games without a day are left out where one is given.
    """

    label: str
    filters: Filters
    since: str = ""
    until: str = ""

    @property
    def has_days(self) -> bool:
        """Whether it asks for days."""
        return bool(self.since or self.until)

    def holds_day(self, day: str | None) -> bool:
        """Whether a game of that day belongs to it."""
        if not self.has_days:
            return True
        return bool(day) and (self.since or "0") <= str(day) <= (self.until or "9")


EVERYTHING = "all games"
_DAYS = re.compile(r"(?<!\S)(since|until):(\"[^\"]*\"|'[^']*'|\S*)", re.IGNORECASE)


def side(text: str, settings: Settings, label: str = "") -> Side:
    """Read a side: a line of the query bar that may also hold ``since:2026-10-01`` and ``until:2026-11-01``.

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
        If it is not written as a query is, or a day is none.
    """
    days: dict[str, str] = {}
    for piece in _DAYS.finditer(text):
        key, value = piece[1].lower(), piece[2].strip("\"'")
        if key in days:
            raise SearchError(f"'{key}:' stands twice in '{text}'; give one day.")
        days[key] = _day(key, value)
    filters = read_bar(_DAYS.sub("", text).strip(), settings)
    made = Side("", filters, days.get("since", ""), days.get("until", ""))
    if made.since and made.until and made.since > made.until:
        raise SearchError(f"since:{made.since} is after until:{made.until}; exchange them.")
    return replace(made, label=label or _label(made))


def of_one_set(one: Side, name: str, library: Library) -> Filters:
    """A side's search for a set's runs.

    Raises
    ------
    SearchError
        If the side asks for kinds of its own, or the library has no game.
    """
    if one.filters.names_kinds:
        raise SearchError(
            f"A side is a part of the games, not a kind: take the names of sets, actions and faults out of "
            f"'{one.label}'."
        )
    if not library.must_exist().games():
        raise SearchError(f"The library {library.root} has no games yet; run a film or import tracking data first.")
    return replace(one.filters, sets=(name,))


def team_sides(names: tuple[str, str], asked: tuple[str, ...]) -> tuple[int, ...]:
    """Which of a game's teams, 0 and 1, a side asks for: both where it names none."""
    if not asked:
        return (0, 1)
    return tuple(n for n in (0, 1) if names[n] and folded(names[n]) in {folded(one) for one in asked})


def _day(key: str, value: str) -> str:
    try:
        return date.fromisoformat(value).isoformat()
    except ValueError:
        raise SearchError(f"{key}:{value} is no day; write it as {key}:2026-10-31.") from None


def _label(one: Side) -> str:
    filters = one.filters
    parts = []
    if filters.teams:
        parts.append(" and ".join(filters.teams))
    if filters.games:
        parts.append(f"{'game' if len(filters.games) == 1 else 'games'} {', '.join(filters.games)}")
    if filters.periods:
        numbers = ", ".join(str(number) for number in filters.periods)
        parts.append(f"{'period' if len(filters.periods) == 1 else 'periods'} {numbers}")
    if one.since:
        parts.append(f"from {one.since}")
    if one.until:
        parts.append(f"to {one.until}")
    if filters.labels:
        parts.append(f"labelled {', '.join(filters.labels)}")
    if filters.where.strip():
        parts.append(f"where {' '.join(filters.where.split())}")
    return ", ".join(parts) or EVERYTHING
