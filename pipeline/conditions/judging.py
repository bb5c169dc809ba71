"""Whether a condition holds, with three answers: yes, no, unknown (Kleene's strong logic).

Kleene, S. C., Introduction to Metamathematics, 1952, section 64: an ``or`` with one true part is true and an ``and``
with one false part is false whatever is not known beside it.
"""

from __future__ import annotations

import math
import operator
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from pipeline.conditions.nodes import (
    All,
    Any,
    Between,
    Compared,
    Condition,
    Knowledge,
    Known,
    Membership,
    Name,
    Negated,
    OneOf,
    Sign,
    Word,
    as_text,
    folded,
)

Truth = bool | None
"""True, False, or None: unknown."""

Values = Mapping[str, float | str | None]
"""Measures and words by name. Absent, None, NaN and ``"unknown"`` are unknown."""

_ORDER: Mapping[Sign, Callable[[float, float], bool]] = MappingProxyType(
    {
        Sign.BELOW: operator.lt,
        Sign.AT_MOST: operator.le,
        Sign.ABOVE: operator.gt,
        Sign.AT_LEAST: operator.ge,
        Sign.SAME: operator.eq,
        Sign.DIFFERENT: operator.ne,
    }
)


@dataclass(frozen=True, slots=True)
class Clause:
    """What became of one clause of a condition.

    Attributes
    ----------
    condition : Condition
        The clause.
    text : str
        As text.
    value : float, str or None
        What was measured; None where unknown.
    holds : bool or None
    missed_by : float
        How far a number is from making the clause true, in its own unit; 0 where it is true, NaN where that cannot be
        said (words, unknown values).
    """

    condition: Condition
    text: str
    value: float | str | None
    holds: Truth
    missed_by: float


def judge(condition: Condition, values: Values) -> Truth:
    """Whether a condition holds for these values."""
    return predicate(condition)(values)


def predicate(condition: Condition) -> Callable[[Values], Truth]:
    """A condition as a function, for judging many times."""
    match condition:
        case All(parts=parts):
            return _all([predicate(part) for part in parts])
        case Any(parts=parts):
            return _any([predicate(part) for part in parts])
        case Negated(part=part):
            inner = predicate(part)

            def negated(values: Values) -> Truth:
                held = inner(values)
                return None if held is None else not held

            return negated
        case Known(name=name, knowledge=knowledge):
            wanted = knowledge is Knowledge.KNOWN
            return lambda values: (_seen(values.get(name)) is not None) == wanted
        case Between(name=name, low=low, high=high):
            return _of_number(name, lambda value: low <= value <= high)
        case OneOf(name=name, membership=membership, values=allowed):
            wanted = membership is Membership.ONE_OF
            options = frozenset(folded(one.text) if isinstance(one, Word) else one for one in allowed)
            return _of_value(name, lambda value: (value in options) == wanted)
        case Compared(name=name, sign=sign, value=Word(text=text)):
            word, wanted = folded(text), sign is Sign.SAME
            return _of_value(name, lambda value: (value == word) == wanted)
        case Compared(name=name, sign=sign, value=Name(name=other)):
            compare = _ORDER[sign]

            def both(values: Values) -> Truth:
                left, right = _number(values.get(name)), _number(values.get(other))
                return None if left is None or right is None else compare(left, right)

            return both
        case Compared(name=name, sign=sign, value=float() as limit):
            compare_with = _ORDER[sign]
            return _of_number(name, lambda value: compare_with(value, limit))
    raise TypeError(f"{condition!r} is no condition.")


def clauses(condition: Condition, values: Values) -> tuple[Clause, ...]:
    """Every clause of a condition with its value and by how much it was missed, in order of the text."""
    match condition:
        case All(parts=parts) | Any(parts=parts):
            return tuple(one for part in parts for one in clauses(part, values))
        case Negated(part=part) if isinstance(part, All | Any | Negated):
            return clauses(part, values)
    inner = condition.part if isinstance(condition, Negated) else condition
    assert not isinstance(inner, All | Any | Negated)
    holds = judge(condition, values)
    return (Clause(condition, as_text(condition), _seen(values.get(inner.name)), holds, _miss(inner, values, holds)),)


def _miss(clause: Condition, values: Values, holds: Truth) -> float:
    if holds:
        return 0.0
    match clause:
        case Between(name=name, low=low, high=high):
            value = _number(values.get(name))
            return math.nan if value is None else max(low - value, value - high)
        case Compared(name=name, value=float() as limit):
            value = _number(values.get(name))
            return math.nan if value is None else abs(value - limit)
        case Compared(name=name, value=Name(name=other)):
            value, against = _number(values.get(name)), _number(values.get(other))
            return math.nan if value is None or against is None else abs(value - against)
    return math.nan


def _all(parts: list[Callable[[Values], Truth]]) -> Callable[[Values], Truth]:
    def every(values: Values) -> Truth:
        held: Truth = True
        for part in parts:
            one = part(values)
            if one is False:
                return False
            if one is None:
                held = None
        return held

    return every


def _any(parts: list[Callable[[Values], Truth]]) -> Callable[[Values], Truth]:
    def some(values: Values) -> Truth:
        held: Truth = False
        for part in parts:
            one = part(values)
            if one:
                return True
            if one is None:
                held = None
        return held

    return some


def _of_number(name: str, test: Callable[[float], bool]) -> Callable[[Values], Truth]:
    def tested(values: Values) -> Truth:
        value = _number(values.get(name))
        return None if value is None else test(value)

    return tested


def _of_value(name: str, test: Callable[[float | str], bool]) -> Callable[[Values], Truth]:
    def tested(values: Values) -> Truth:
        value = _seen(values.get(name))
        return None if value is None else test(value)

    return tested


def _seen(value: float | str | None) -> float | str | None:
    """A value as it is compared, None where it was not seen."""
    if isinstance(value, str):
        word = folded(value)
        return None if word in ("unknown", "") else word
    return None if value is None or math.isnan(value) else float(value)


def _number(value: float | str | None) -> float | None:
    return None if value is None or isinstance(value, str) or math.isnan(value) else value
