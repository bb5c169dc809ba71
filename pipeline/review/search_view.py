"""Search as its page shows it: the query bar's filters as form fields and back, and hits as lines."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any
from urllib.parse import quote

import pyarrow as pa

from pipeline.actions.vocabulary import EVERY_MEASURE
from pipeline.conditions import as_text, read_condition
from pipeline.conditions.nodes import All, Between, Compared, Condition, Membership, OneOf, Sign, Word, names_in
from pipeline.errors import LanguageError
from pipeline.find import Column, Filters
from pipeline.find.names import SearchKind, Sort
from pipeline.library.game_time import GameTime
from pipeline.library.games import GameFile
from pipeline.review.reel_view import clock_words, game_words
from pipeline.spacing.rules import amount

LISTS = ("actions", "sets", "faults", "games", "teams", "periods", "states", "labels")
"""Fields of the filters that hold several words."""

ONES = ("since", "until", "order")
"""Fields that hold one."""

EVERYWHERE = frozenset(measure.name for measure in EVERY_MEASURE)

FIRST_MEASURES = 3
"""Measures shown of a hit when nothing was asked of any."""


@dataclass(frozen=True, slots=True)
class Limits:
    """What the form asks of one measure: from, to, or a word; empty strings for nothing."""

    low: str = ""
    high: str = ""
    words: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Form:
    """The filters as fields of a form.

    Attributes
    ----------
    limits : mapping of str to Limits
        By measure or trait.
    more : str
        Conditions that no field can say, in the language of the bar.
    """

    filters: Filters = field(default_factory=Filters)
    limits: Mapping[str, Limits] = field(default_factory=dict)
    more: str = ""


@dataclass(frozen=True, slots=True)
class Fact:
    """A measure of a hit: its name, what it is called, its value in words."""

    name: str
    meaning: str
    value: str


@dataclass(frozen=True, slots=True)
class Hit:
    """One line of the answer; ``frame`` leads to the moment's picture where the game has a film."""

    title: str
    tag: int | None
    where: str
    time: str
    state: str
    sure: str
    sentence: str
    ended: str
    facts: tuple[Fact, ...]
    frame: str


def form_of(filters: Filters) -> Form:
    """Form fields for filters; what no field can say stays as text."""
    if not filters.where.strip():
        return Form(filters)
    try:
        condition = read_condition(filters.where)
    except LanguageError:
        return Form(filters, {}, filters.where)
    limits: dict[str, Limits] = {}
    rest: list[Condition] = []
    for part in condition.parts if isinstance(condition, All) else (condition,):
        told = _limits(part, limits)
        if told is None:
            rest.append(part)
        else:
            limits.update(told)
    more = as_text(All(tuple(rest)) if len(rest) > 1 else rest[0]) if rest else ""
    return Form(filters, limits, more)


def _limits(part: Condition, known: Mapping[str, Limits]) -> dict[str, Limits] | None:
    """What one condition says in fields; None when none can say it."""
    match part:
        case Compared(name=name, sign=Sign.AT_LEAST, value=float(value)) if not known.get(name, Limits()).low:
            return {name: replace(known.get(name, Limits()), low=f"{value:g}")}
        case Compared(name=name, sign=Sign.AT_MOST, value=float(value)) if not known.get(name, Limits()).high:
            return {name: replace(known.get(name, Limits()), high=f"{value:g}")}
        case Compared(name=name, sign=Sign.SAME, value=Word(text=text)) if name not in known:
            return {name: Limits(words=(text,))}
        case Between(name=name, low=low, high=high) if name not in known:
            return {name: Limits(f"{low:g}", f"{high:g}")}
        case OneOf(name=name, membership=Membership.ONE_OF, values=values) if name not in known:
            words = tuple(value.text for value in values if isinstance(value, Word))
            return {name: Limits(words=words)} if len(words) == len(values) else None
    return None


def filters_of(given: Mapping[str, Sequence[str]]) -> Filters:
    """Filters from what a form sent.

    Parameters
    ----------
    given : mapping of str to sequence of str
        The lists of :data:`LISTS` under their names; ``from.NAME``, ``to.NAME`` and ``word.NAME`` for measures and
        traits; ``more`` for conditions as text; ``order``.
    """
    conditions: list[str] = []
    for key, values in given.items():
        lead, _, name = key.partition(".")
        told = [value.strip() for value in values if value.strip()]
        if not told or not name:
            continue
        if lead == "from":
            conditions.append(f"{name} >= {_plain(told[0])}")
        elif lead == "to":
            conditions.append(f"{name} <= {_plain(told[0])}")
        elif lead == "word":
            words = ", ".join(_quoted(word) for word in told)
            conditions.append(f"{name} = {words}" if len(told) == 1 else f"{name} in ({words})")
    more = " ".join(value.strip() for value in given.get("more", ())).strip()
    if more:
        conditions.append(f"({more})" if conditions and " or " in more.lower() else more)
    lists: dict[str, Any] = {name: tuple(v for v in given.get(name, ()) if v.strip()) for name in LISTS}
    lists["periods"] = tuple(int(value) for value in lists["periods"] if value.isdigit())
    lists |= {name: next((v.strip() for v in given.get(name, ()) if v.strip()), "") for name in ONES}
    return Filters(**lists, where=" and ".join(conditions))


def _plain(text: str) -> str:
    """A number as the bar reads it; a decimal comma is a point."""
    return text.replace(",", ".")


def _quoted(word: str) -> str:
    quote = '"' if "'" in word else "'"
    return f"{quote}{word}{quote}"


def hits(
    table: pa.Table,
    kinds: Mapping[str, SearchKind],
    filters: Filters,
    games: Mapping[str, GameFile],
) -> list[Hit]:
    """Lines for a page of hits.

    Parameters
    ----------
    table : pa.Table
        Rows of :func:`pipeline.find.find`.
    kinds : mapping of str to SearchKind
        By name.
    filters : Filters
        What was asked; measures that it speaks of are shown first.
    games : mapping of str to GameFile
    """
    asked = _asked(filters)
    return [
        Hit(
            title=_title(row["kind"], kinds),
            tag=row["tag"],
            where=_where(row, games.get(row["game"])),
            time=_time(row),
            state=row["state"] or "",
            sure=_sure(row),
            sentence=row["sentence"] or "",
            ended=(row["ended"] or "").replace("_", " "),
            facts=_facts(row, kinds[row["kind"]].columns if row["kind"] in kinds else (), asked),
            frame=_frame(row, games.get(row["game"])),
        )
        for row in table.to_pylist()
    ]


def _where(row: Mapping[str, Any], file: GameFile | None) -> str:
    game = game_words(row["game"], file)
    return f"{game}, {row['team']} attacking" if row["team"] else game


def _title(kind: str, kinds: Mapping[str, SearchKind]) -> str:
    title = kinds[kind].title if kind in kinds else kind.replace("_", " ")
    return title[:1].upper() + title[1:]


def _time(row: Mapping[str, Any]) -> str:
    if row["clock_s"] is None:
        return clock_words(row["t_s"])
    return str(GameTime(row["period"], row["clock_s"]))


def _frame(row: Mapping[str, Any], file: GameFile | None) -> str:
    """Where the moment's picture is; empty for a game without a film."""
    if file is None or file.film is None:
        return ""
    return f"/court/{quote(row['game'])}?t={row['t_s']:.3f}"


def _asked(filters: Filters) -> tuple[str, ...]:
    names: list[str] = []
    if filters.where.strip():
        names += names_in(read_condition(filters.where))
    names += [word.strip("-") for word in filters.order.replace(",", " ").split() if word not in ("desc", "asc")]
    return tuple(dict.fromkeys(names))


def _facts(row: Mapping[str, Any], columns: Sequence[Column], asked: Sequence[str]) -> tuple[Fact, ...]:
    """What was asked of a hit; where nothing was, the first numbers that its kind keeps."""
    by_name = {column.name: column for column in columns}
    shown = [by_name[name] for name in asked if name in by_name]
    if not shown:
        told = [c for c in columns if c.name not in EVERYWHERE and row.get(c.name) is not None]
        shown = ([c for c in told if c.sort is Sort.NUMBER] or told)[:FIRST_MEASURES]
    return tuple(Fact(c.name, c.meaning, _value(c.name, row.get(c.name))) for c in shown)


def _value(name: str, value: object) -> str:
    if value is None:
        return "unknown"
    return value.replace("_", " ") if isinstance(value, str) else amount(name, float(value))  # type: ignore[arg-type]


def _sure(row: Mapping[str, Any]) -> str:
    """How likely staff are to confirm it, where their decisions say so; else how sure the rule is."""
    if row["score"] is None:
        return ""
    if row["probability"] is None or row["probability"] == row["score"]:
        return f"rule's score {row['score']:.2f}"
    return f"{100 * row['probability']:.0f} % likely"
