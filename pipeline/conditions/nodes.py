"""Conditions as frozen trees, and their text.

Where a node stands in the text (``at``) never counts when two nodes are compared.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from enum import Enum, StrEnum


@dataclass(frozen=True, slots=True)
class Spot:
    """A place in a text, both counted from 1."""

    line: int
    column: int


NOWHERE = Spot(0, 0)
"""The place of a node that no text was read for."""


class Sign(StrEnum):
    """How two values are compared."""

    SAME = "="
    DIFFERENT = "!="
    BELOW = "<"
    AT_MOST = "<="
    ABOVE = ">"
    AT_LEAST = ">="


class Membership(Enum):
    """Whether a value must be one of several, or none of them."""

    ONE_OF = "in"
    NONE_OF = "not in"


class Knowledge(StrEnum):
    """Whether a value was seen."""

    KNOWN = "known"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Word:
    """A word as a value; two words are the same when :func:`folded` makes them so."""

    text: str
    at: Spot = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Name:
    """A name whose value is meant."""

    name: str
    at: Spot = field(default=NOWHERE, compare=False)


Value = float | Word | Name


@dataclass(frozen=True, slots=True)
class Compared:
    """``contact_ft < 3``, ``coverage != iced``, ``separation_after_ft > separation_before_ft``."""

    name: str
    sign: Sign
    value: Value
    at: Spot = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Between:
    """``catch_ring_ft between 14 and 24``, both ends included."""

    name: str
    low: float
    high: float
    at: Spot = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class OneOf:
    """``type in (cross, back)``, ``type not in (down)``."""

    name: str
    membership: Membership
    values: tuple[float | Word, ...]
    at: Spot = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Known:
    """``coverage known``, ``coverage unknown``."""

    name: str
    knowledge: Knowledge
    at: Spot = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Negated:
    """``not …``."""

    part: Condition
    at: Spot = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class All:
    """``… and …``, two parts at least."""

    parts: tuple[Condition, ...]
    at: Spot = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Any:
    """``… or …``, two parts at least."""

    parts: tuple[Condition, ...]
    at: Spot = field(default=NOWHERE, compare=False)


Clause = Compared | Between | OneOf | Known
"""Conditions that hold no others."""

Condition = Clause | Negated | All | Any


def folded(text: str) -> str:
    """A word as it is compared: lower case; spaces, hyphens and underscores are the same."""
    return "_".join(text.lower().replace("-", " ").replace("_", " ").split())


def names_in(condition: Condition) -> Iterator[str]:
    """Every name that a condition asks for, in order of the text."""
    match condition:
        case Negated(part=part):
            yield from names_in(part)
        case All(parts=parts) | Any(parts=parts):
            for part in parts:
                yield from names_in(part)
        case Compared(name=name, value=Name(name=other)):
            yield name
            yield other
        case _:
            yield condition.name


def as_text(condition: Condition) -> str:
    """A condition as text that reads back as an equal one."""
    match condition:
        case Compared(name=name, sign=sign, value=value):
            return f"{name} {sign} {_value(value)}"
        case Between(name=name, low=low, high=high):
            return f"{name} between {_value(low)} and {_value(high)}"
        case OneOf(name=name, membership=membership, values=values):
            return f"{name} {membership.value} ({', '.join(_value(v) for v in values)})"
        case Known(name=name, knowledge=knowledge):
            return f"{name} {knowledge}"
        case Negated(part=part):
            return f"not {_grouped(part, (All, Any))}"
        case All(parts=parts):
            return " and ".join(_grouped(part, (All, Any)) for part in parts)
        case Any(parts=parts):
            return " or ".join(_grouped(part, (Any,)) for part in parts)


def _grouped(condition: Condition, loose: tuple[type, ...]) -> str:
    text = as_text(condition)
    return f"({text})" if isinstance(condition, loose) else text


def _value(value: Value) -> str:
    if isinstance(value, Word):
        quote = '"' if "'" in value.text else "'"
        return f"{quote}{value.text}{quote}"
    if isinstance(value, Name):
        return value.name
    return number_text(value)


def number_text(value: float) -> str:
    """A number in figures alone, so that it reads back as the same."""
    return str(int(value)) if value == int(value) else format(Decimal(repr(value)), "f")
