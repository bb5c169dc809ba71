"""From a text to a condition."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType
from typing import overload

from lark import Lark, Token, Transformer, Tree, v_args
from lark.exceptions import UnexpectedInput

from pipeline.conditions.names import Names, check_names
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
    Spot,
    Word,
    folded,
)
from pipeline.conditions.pointing import pointed, unexpected

CALLED = {
    "NAME": "a name",
    "NUMBER": "a number",
    "TEXT": "a word in quotes",
    "ORDER": "'<', '<=', '>', '>='",
}
"""What the grammar's patterns are called in an error."""


LONGEST = 4000
"""Characters of a condition."""

DEEPEST = 30
"""Brackets and 'not' within each other."""

SMALLEST, GREATEST = 1e-9, 1e12
"""Between them a number is written, printed and read back as the same."""


def read_condition(
    text: str,
    names: Names | None = None,
    *,
    source: str = "the condition",
    within: str | None = None,
    at: Spot = Spot(1, 1),
) -> Condition:
    """Read a condition.

    Parameters
    ----------
    text : str
        The condition alone.
    names : Names, optional
        What it may speak of; not checked if left out.
    source : str
        Where it is from, for errors.
    within : str, optional
        The whole text that the condition is a part of, for errors.
    at : Spot
        Where in it the condition begins.

    Raises
    ------
    LanguageError
        With line, column, caret, what was expected and the nearest name.
    """
    whole = text if within is None else within
    if len(text) > LONGEST:
        raise pointed(f"a condition has at most {LONGEST} characters, this one has {len(text)}.", whole, at, source)
    try:
        tree = _parser().parse(text)
    except UnexpectedInput as error:
        raise unexpected(error, _parser(), whole, source, CALLED, at) from None
    if _is_too_deep(tree):
        raise pointed(f"a condition nests at most {DEEPEST} deep; write it flatter.", whole, at, source)
    reader = _Reader(at)
    condition = reader.transform(tree)
    for number in reader.numbers:
        if number.value != 0 and not SMALLEST <= abs(number.value) <= GREATEST:
            raise pointed("no measure comes near this number.", whole, number.at, source)
    for name, number in reader.with_units:
        if number.unit != unit_of(name):
            told = unit_of(name).replace("_", "/") or "no unit"
            raise pointed(f"'{name}' is in {told}, not in {number.unit.replace('_', '/')}.", whole, number.at, source)
    for one in _clauses(condition):
        if isinstance(one, Between) and one.low > one.high:
            raise pointed(f"{one.low:g} is more than {one.high:g}; give the smaller one first.", whole, one.at, source)
    if names is not None:
        check_names(condition, names, whole, source)
    return condition


UNITS = MappingProxyType(
    {"ft": "ft", "feet": "ft", "s": "s", "seconds": "s", "deg": "deg", "degrees": "deg", "ft/s": "ft_s"}
)
"""Units as written, and as they end a measure's name."""


def unit_of(name: str) -> str:
    """The unit that a measure's name ends in; empty for a count or a word."""
    return next((unit for unit in ("ft_s", "ft", "s", "deg") if name.endswith(f"_{unit}")), "")


@dataclass(frozen=True, slots=True)
class _Number:
    """A number with the unit that was written behind it."""

    value: float
    unit: str
    at: Spot


@lru_cache(maxsize=1)
def _parser() -> Lark:
    return Lark.open("conditions.lark", rel_to=__file__, parser="lalr", propagate_positions=True)


def _is_too_deep(tree: Tree) -> bool:
    """Whether brackets and negations nest too deep; goes level by level, for the tree may be deep."""
    level, deep = [tree], 0
    while level and deep <= 4 * DEEPEST:
        level, deep = [part for one in level for part in one.children if isinstance(part, Tree)], deep + 1
    return bool(level)


def _clauses(condition: Condition) -> list[Condition]:
    if isinstance(condition, All | Any):
        return [one for part in condition.parts for one in _clauses(part)]
    return _clauses(condition.part) if isinstance(condition, Negated) else [condition]


@v_args(inline=True)
class _Reader(Transformer):
    """Rules of the grammar to nodes, by name."""

    def __init__(self, begin: Spot) -> None:
        super().__init__()
        self._begin = begin
        self.with_units: list[tuple[str, _Number]] = []
        self.numbers: list[_Number] = []

    def _at(self, token: Token) -> Spot:
        line, column = token.line or 1, token.column or 1
        return Spot(line + self._begin.line - 1, column + (self._begin.column - 1 if line == 1 else 0))

    def start(self, condition: Condition) -> Condition:
        return condition

    def any(self, *parts: Condition) -> Condition:
        return _joined(Any, parts)

    def all(self, *parts: Condition) -> Condition:
        return _joined(All, parts)

    def negated(self, part: Condition) -> Condition:
        return Negated(part, part.at)

    def compared_with_name(self, name: Token, sign: Token, other: Token) -> Condition:
        return Compared(folded(name), Sign(sign), Name(folded(other), self._at(other)), self._at(name))

    def compared_with_number(self, name: Token, sign: Token, number: _Number) -> Condition:
        return Compared(folded(name), Sign(sign), self._plain(name, number), self._at(name))

    def same(self, name: Token, given: _Number | Word) -> Condition:
        value = self._plain(name, given)
        if isinstance(value, Word) and folded(value.text) == Knowledge.UNKNOWN:
            return Known(folded(name), Knowledge.UNKNOWN, self._at(name))
        return Compared(folded(name), Sign.SAME, value, self._at(name))

    def different(self, name: Token, given: _Number | Word) -> Condition:
        value = self._plain(name, given)
        if isinstance(value, Word) and folded(value.text) == Knowledge.UNKNOWN:
            return Known(folded(name), Knowledge.KNOWN, self._at(name))
        return Compared(folded(name), Sign.DIFFERENT, value, self._at(name))

    def between(self, name: Token, low: _Number, high: _Number) -> Condition:
        return Between(folded(name), self._plain(name, low), self._plain(name, high), self._at(name))

    def one_of(self, name: Token, *values: _Number | Word) -> Condition:
        plain = tuple(self._plain(name, value) for value in values)
        return OneOf(folded(name), Membership.ONE_OF, plain, self._at(name))

    def none_of(self, name: Token, *values: _Number | Word) -> Condition:
        plain = tuple(self._plain(name, value) for value in values)
        return OneOf(folded(name), Membership.NONE_OF, plain, self._at(name))

    def known(self, name: Token) -> Condition:
        return Known(folded(name), Knowledge.KNOWN, self._at(name))

    def unknown(self, name: Token) -> Condition:
        return Known(folded(name), Knowledge.UNKNOWN, self._at(name))

    @overload
    def _plain(self, name: Token, value: _Number) -> float: ...

    @overload
    def _plain(self, name: Token, value: _Number | Word) -> float | Word: ...

    def _plain(self, name: Token, value: _Number | Word) -> float | Word:
        if isinstance(value, Word):
            return value
        if value.unit:
            self.with_units.append((folded(name), value))
        return value.value

    def number(self, token: Token, unit: Token | None = None) -> _Number:
        at = self._at(token if unit is None else unit)
        self.numbers.append(_Number(float(token), "" if unit is None else UNITS[unit.lower()], at))
        return self.numbers[-1]

    def value(self, token: Token | _Number) -> _Number | Word:
        if isinstance(token, _Number):
            return token
        return Word(token[1:-1] if token.type == "TEXT" else str(token), self._at(token))


def _joined(kind: type[All] | type[Any], parts: tuple[Condition, ...]) -> Condition:
    """One part is itself; parts of the same sort are taken in, so that printing and reading agree."""
    flat: list[Condition] = []
    for part in parts:
        flat.extend(part.parts if isinstance(part, kind) else (part,))
    return flat[0] if len(flat) == 1 else kind(tuple(flat), flat[0].at)
