"""What a condition may speak of, and whether it does."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from pipeline.conditions.nodes import (
    All,
    Any,
    Between,
    Compared,
    Condition,
    Known,
    Name,
    Negated,
    OneOf,
    Sign,
    Spot,
    Word,
    folded,
)
from pipeline.conditions.pointing import pointed, unknown_word


@dataclass(frozen=True, slots=True)
class Names:
    """Names that conditions may use.

    Attributes
    ----------
    numbers : frozenset of str
        Measures.
    words : mapping of str to tuple of str
        Traits with the values they may have; no values: any word.
    """

    numbers: frozenset[str] = frozenset()
    words: Mapping[str, tuple[str, ...]] = field(default_factory=lambda: MappingProxyType({}))


def check_names(condition: Condition, names: Names, text: str, source: str) -> None:
    """Refuse a condition that names what does not exist or compares words with numbers.

    Raises
    ------
    LanguageError
        At the clause, with the nearest name or value.
    """
    match condition:
        case All(parts=parts) | Any(parts=parts):
            for part in parts:
                check_names(part, names, text, source)
        case Negated(part=part):
            check_names(part, names, text, source)
        case Known(name=name, at=at):
            _exists(name, at, names, text, source)
        case Between(name=name, at=at):
            _must_be_number(name, at, names, text, source)
        case OneOf(name=name, values=values, at=at):
            for value in values:
                _fits(name, value, at, names, text, source)
        case Compared(name=name, sign=sign, value=value, at=at):
            if isinstance(value, Name):
                _must_be_number(value.name, value.at, names, text, source)
            if isinstance(value, Name) or sign not in (Sign.SAME, Sign.DIFFERENT):
                _must_be_number(name, at, names, text, source)
            else:
                _fits(name, value, at, names, text, source)


def _exists(name: str, at: Spot, names: Names, text: str, source: str) -> None:
    if name not in names.numbers and name not in names.words:
        known = [*sorted(names.numbers), *sorted(names.words)]
        raise pointed(unknown_word(name, "measure or word here", known), text, at, source, len(name))


def _must_be_number(name: str, at: Spot, names: Names, text: str, source: str) -> None:
    _exists(name, at, names, text, source)
    if name not in names.numbers:
        values = ", ".join(names.words[name]) or "any word"
        raise pointed(f"'{name}' is a word ({values}), not a number; compare it with '='.", text, at, source, len(name))


def _fits(name: str, value: float | Word, at: Spot, names: Names, text: str, source: str) -> None:
    _exists(name, at, names, text, source)
    if not isinstance(value, Word):
        _must_be_number(name, at, names, text, source)
        return
    if name not in names.words:
        raise pointed(f"'{name}' is a number; '{value.text}' is a word.", text, at, source, len(name))
    allowed = names.words[name]
    if allowed and folded(value.text) not in {folded(one) for one in allowed}:
        raise pointed(unknown_word(value.text, f"value of '{name}'", allowed), text, value.at, source, len(value.text))
