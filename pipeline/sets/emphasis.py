"""Points of emphasis of a match: what was measured, and whether it was good, fair or poor."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from pipeline.actions.vocabulary import UNKNOWN
from pipeline.conditions import folded
from pipeline.conditions.reading import unit_of
from pipeline.sets.definition import Edge, Emphasis, Measured, Moment, Range, Timed, Words
from pipeline.sets.match import Match
from pipeline.sets.play import Fit, Play


class Grade(StrEnum):
    """How a point of emphasis was done."""

    GOOD = "good"
    FAIR = "fair"
    POOR = "poor"
    UNKNOWN = UNKNOWN


@dataclass(frozen=True, slots=True)
class Point:
    """A point of emphasis as it was done.

    Attributes
    ----------
    emphasis : Emphasis
    value : float or str
        The measure, NaN where unknown, or the word.
    grade : Grade
    """

    emphasis: Emphasis
    value: float | str
    grade: Grade

    @property
    def measure(self) -> str:
        """The name of its measure in the table: the point's name, with the unit at its end."""
        return measure_name(self.emphasis)


def unit(emphasis: Emphasis) -> str:
    """The unit of what a point of emphasis looks at, as it ends a name; empty for words and counts."""
    subject = emphasis.subject
    if isinstance(subject, Timed):
        return "s"
    return unit_of(subject.measure) if isinstance(subject, Measured) else ""


def measure_name(emphasis: Emphasis) -> str:
    """The name of a point of emphasis as a measure of its set."""
    ending = unit(emphasis)
    return emphasis.name if not ending or emphasis.name.endswith(f"_{ending}") else f"{emphasis.name}_{ending}"


def points(match: Match, play: Play) -> tuple[Point, ...]:
    """Every point of emphasis of a match, unknown where its phase was not found or not seen."""
    met = {one.phase.name: one.fit for one in match.met if one.fit is not None and one.fit.seen}
    stands_for = next(line.line.stands_for for line in match.plan.lines if line.line.counter == match.counter)
    met.update({old: met[new] for old, new in stands_for.items() if new in met and old not in met})
    return tuple(_point(emphasis, met, match, play) for emphasis in match.plan.definition.emphases)


def _point(emphasis: Emphasis, met: Mapping[str, Fit], match: Match, play: Play) -> Point:
    subject = emphasis.subject
    value: float | str
    if isinstance(subject, Timed):
        value = _time(subject.second, met) - _time(subject.first, met)
    else:
        fit = met.get(subject.phase)
        values = {} if fit is None else play.values(fit.index, match.mirror)
        if isinstance(subject, Measured):
            number = values.get(subject.measure)
            value = float(number) if isinstance(number, int | float) else math.nan
        else:
            value = folded(str(values.get(subject.trait, UNKNOWN)))
    return Point(emphasis, value, _grade(emphasis, value))


def _time(moment: Moment, met: Mapping[str, Fit]) -> float:
    fit = met.get(moment.phase)
    if fit is None:
        return math.nan
    return {Edge.MOMENT: fit.t_s, Edge.START: fit.start_s, Edge.END: fit.end_s}[moment.edge]


def _grade(emphasis: Emphasis, value: float | str) -> Grade:
    if value == UNKNOWN or value != value:
        return Grade.UNKNOWN
    if any(_holds(one, value) for one in emphasis.good):
        return Grade.GOOD
    if any(_holds(one, value) for one in emphasis.poor):
        return Grade.POOR
    return Grade.FAIR


def _holds(one: Range | Words, value: float | str) -> bool:
    if isinstance(one, Words):
        return value in one.words
    return not isinstance(value, str) and one.holds(value)


def said(point: Point, called: Mapping[str, str]) -> str:
    """The sentence for the coach, players called by name or number; empty where nothing is to be said.

    Parameters
    ----------
    point : Point
    called : mapping of str to str
        What to call each player of the set.
    """
    text = {Grade.GOOD: point.emphasis.say_good, Grade.POOR: point.emphasis.say_poor}.get(point.grade, "")
    for name, words in called.items():
        text = text.replace(f"{{{name}}}", words)
    text = text.replace("{value}", spoken(point.value, unit(point.emphasis)))
    return text[:1].upper() + text[1:]


def spoken(value: float | str, ending: str) -> str:
    """A value with its unit, as it is said."""
    if isinstance(value, str):
        return value.replace("_", " ")
    words = {"ft": " ft", "s": " s", "deg": "°", "ft_s": " ft/s"}.get(ending, "")
    return f"{value:.1f}{words}" if math.isfinite(value) else UNKNOWN
