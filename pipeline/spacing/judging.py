"""Judging situations by a fault file's condition: over all moments at once, and how sure the verdict is."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from scipy.special import ndtr

from pipeline.conditions import (
    All,
    Any,
    Between,
    Compared,
    Condition,
    Known,
    Negated,
    OneOf,
    Sign,
    folded,
    judge,
)
from pipeline.conditions.nodes import Knowledge, Membership, Name, Word
from pipeline.spacing.paint import probability_of_at_least
from pipeline.spacing.rules import values_of
from pipeline.spacing.scene import Moment

_NOT_COMPARED = (Sign.SAME, Sign.DIFFERENT)


def holds_over(condition: Condition, values: Mapping[str, np.ndarray]) -> np.ndarray:
    """Where a condition holds for sure, (T,) bool; unknown is not.

    Parameters
    ----------
    condition : Condition
    values : mapping of str to ndarray (T,)
        Measures as floats, NaN where not known; traits as strings, ``"unknown"`` likewise.
    """
    return _over(condition, values)[0]


def _over(condition: Condition, values: Mapping[str, np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """Where it surely holds and where it surely does not (Kleene's logic, as :mod:`pipeline.conditions.judging`)."""
    match condition:
        case All(parts=parts):
            yes, no = zip(*(_over(part, values) for part in parts), strict=True)
            return np.logical_and.reduce(yes), np.logical_or.reduce(no)
        case Any(parts=parts):
            yes, no = zip(*(_over(part, values) for part in parts), strict=True)
            return np.logical_or.reduce(yes), np.logical_and.reduce(no)
        case Negated(part=part):
            held, not_held = _over(part, values)
            return not_held, held
        case Known(name=name, knowledge=knowledge):
            seen = _seen(values[name])
            return (seen, ~seen) if knowledge is Knowledge.KNOWN else (~seen, seen)
        case Between(name=name, low=low, high=high):
            value = values[name]
            return _sure(value, (value >= low) & (value <= high))
        case OneOf(name=name, membership=membership, values=options):
            value = values[name]
            inside = np.isin(value, [folded(o.text) if isinstance(o, Word) else o for o in options])
            return _sure(value, inside if membership is Membership.ONE_OF else ~inside)
        case Compared(name=name, sign=sign, value=against):
            value = values[name]
            if isinstance(against, Word):
                same = value == folded(against.text)
                return _sure(value, same if sign is Sign.SAME else ~same)
            limit = values[against.name] if isinstance(against, Name) else np.full(len(value), float(against))
            known = _seen(value) & _seen(limit)
            held = _compared(value, sign, limit)
            return held & known, ~held & known
    raise TypeError(f"{condition!r} is no condition.")


def chance_of(condition: Condition, moment: Moment) -> float:
    """How sure it is that a moment's condition holds, 0..1.

    Numbers are taken as normal around their value with the moment's ``spread``, counts as sums of its ``chances``;
    words and numbers without either are sure. Of several parts of an ``and`` the least sure one decides, of an ``or``
    the surest: the bounds that hold however the parts depend on one another (Fréchet).
    """
    match condition:
        case All(parts=parts):
            return min(chance_of(part, moment) for part in parts)
        case Any(parts=parts):
            return max(chance_of(part, moment) for part in parts)
        case Negated(part=part):
            return 1.0 - chance_of(part, moment)
        case Compared(name=name, sign=sign, value=value) if not isinstance(value, Word) and sign not in _NOT_COMPARED:
            measures = moment.event.measures
            limit = measures.get(value.name, float("nan")) if isinstance(value, Name) else float(value)
            if name in moment.chances and np.isfinite(measures.get(name, float("nan"))):
                return _chance_of_count(moment.chances[name], sign, limit)
            return _chance_of_number(measures.get(name, float("nan")), sign, limit, moment.spread.get(name, 0.0))
    return float(judge(condition, values_of(moment.event)) is True)


def _chance_of_number(value: float, sign: Sign, limit: float, spread: float) -> float:
    if not (np.isfinite(limit) and not np.isnan(value)):
        return 0.0
    if not spread > 0:
        return float(bool(_compared(np.array(value), sign, np.array(limit))))
    above = float(ndtr((value - limit) / spread))
    return above if sign in (Sign.ABOVE, Sign.AT_LEAST) else 1.0 - above


def _chance_of_count(chances: tuple[float, ...], sign: Sign, limit: float) -> float:
    least = int(np.floor(limit)) + 1 if sign in (Sign.ABOVE, Sign.AT_MOST) else int(np.ceil(limit))
    above = probability_of_at_least(least, np.array(chances))
    return above if sign in (Sign.ABOVE, Sign.AT_LEAST) else 1.0 - above


def _compared(value: np.ndarray, sign: Sign, limit: np.ndarray) -> np.ndarray:
    match sign:
        case Sign.BELOW:
            return value < limit
        case Sign.AT_MOST:
            return value <= limit
        case Sign.ABOVE:
            return value > limit
        case Sign.AT_LEAST:
            return value >= limit
        case Sign.SAME:
            return value == limit
    return value != limit


def _seen(value: np.ndarray) -> np.ndarray:
    return value != "unknown" if value.dtype.kind in "US" else ~np.isnan(value)


def _sure(value: np.ndarray, held: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    known = _seen(value)
    return held & known, ~held & known
