"""Conditions as SQL: what :func:`pipeline.conditions.judge` says of a row, DuckDB says of it too.

SQL's logic of three values is Kleene's, which conditions are judged by; NULL is unknown. Values of the condition's text
go in as bound parameters; a name becomes one of the columns that it is mapped to and never goes in as text.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

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
    folded,
)

SIGNS: Mapping[Sign, str] = {
    Sign.SAME: "=",
    Sign.DIFFERENT: "<>",
    Sign.BELOW: "<",
    Sign.AT_MOST: "<=",
    Sign.ABOVE: ">",
    Sign.AT_LEAST: ">=",
}

Parameter = float | str


@dataclass(frozen=True, slots=True)
class Held:
    """Where a row holds what a name means.

    Attributes
    ----------
    number, word : str
        Columns of the query: a DOUBLE, and a word as :func:`~pipeline.conditions.folded` makes it; NULL where unknown
        and never NaN. Empty where the name has none. A row that holds both is known by its word.
    """

    number: str = ""
    word: str = ""

    @property
    def as_number(self) -> str:
        """The value where it is a number."""
        if not self.number:
            return "CAST(NULL AS DOUBLE)"
        return f"CASE WHEN {self.word} IS NULL THEN {self.number} END" if self.word else self.number

    @property
    def is_known(self) -> str:
        """Whether there is a value."""
        seen = [f"{column} IS NOT NULL" for column in (self.word, self.number) if column]
        return f"({' OR '.join(seen)})" if seen else "FALSE"


@dataclass(frozen=True, slots=True)
class Compiled:
    """A condition as SQL of type BOOLEAN with its parameters, in order."""

    sql: str
    parameters: tuple[Parameter, ...]


def compiled(condition: Condition, held: Mapping[str, Held]) -> Compiled:
    """A condition as SQL.

    Parameters
    ----------
    condition : Condition
    held : mapping of str to Held
        Every name of the condition.
    """
    parameters: list[Parameter] = []
    return Compiled(_sql(condition, held, parameters), tuple(parameters))


def _sql(condition: Condition, held: Mapping[str, Held], parameters: list[Parameter]) -> str:
    match condition:
        case All(parts=parts):
            return f"({' AND '.join(_sql(part, held, parameters) for part in parts)})"
        case Any(parts=parts):
            return f"({' OR '.join(_sql(part, held, parameters) for part in parts)})"
        case Negated(part=part):
            return f"(NOT {_sql(part, held, parameters)})"
        case Known(name=name, knowledge=knowledge):
            return held[name].is_known if knowledge is Knowledge.KNOWN else f"(NOT {held[name].is_known})"
        case Between(name=name, low=low, high=high):
            parameters += (low, high)
            return f"({held[name].as_number} BETWEEN CAST(? AS DOUBLE) AND CAST(? AS DOUBLE))"
        case OneOf(name=name, membership=membership, values=values):
            words = [folded(value.text) for value in values if isinstance(value, Word)]
            numbers = [value for value in values if not isinstance(value, Word)]
            return _by_sort(
                held[name],
                _among(held[name].word, words, parameters) if held[name].word else "",
                _among(held[name].number, numbers, parameters) if held[name].number else "",
                wanted=membership is Membership.ONE_OF,
            )
        case Compared(name=name, sign=sign, value=Word(text=text)):
            of_word = _among(held[name].word, [folded(text)], parameters) if held[name].word else ""
            return _by_sort(held[name], of_word, "FALSE" if held[name].number else "", wanted=sign is Sign.SAME)
        case Compared(name=name, sign=sign, value=Name(name=other)):
            return f"({held[name].as_number} {SIGNS[sign]} {held[other].as_number})"
        case Compared(name=name, sign=sign, value=float() as limit):
            parameters.append(limit)
            return f"({held[name].as_number} {SIGNS[sign]} CAST(? AS DOUBLE))"
    raise TypeError(f"{condition!r} is no condition.")


def _among(column: str, values: list[str] | list[float], parameters: list[Parameter]) -> str:
    if not values:
        return "FALSE"
    parameters += values
    kind = "VARCHAR" if isinstance(values[0], str) else "DOUBLE"
    return f"{column} IN ({', '.join([f'CAST(? AS {kind})'] * len(values))})"


def _by_sort(held: Held, of_word: str, of_number: str, *, wanted: bool) -> str:
    """A test of a value that may be a word or a number; unknown where it is neither."""
    sign = "" if wanted else "NOT "
    cases = ""
    if of_word:
        cases += f" WHEN {held.word} IS NOT NULL THEN {sign}({of_word})"
    if of_number:
        cases += f" WHEN {held.number} IS NOT NULL THEN {sign}({of_number})"
    return f"(CASE{cases} END)" if cases else "CAST(NULL AS BOOLEAN)"
