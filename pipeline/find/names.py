"""What a search may speak of: the columns of every hit, and the measures and words that each kind keeps."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from pipeline.actions.vocabulary import EVERY_MEASURE, KINDS, YES_NO, Measure, Trait
from pipeline.conditions import Names, folded, names_in, read_condition
from pipeline.conditions.pointing import unknown_word
from pipeline.conditions.reading import unit_of
from pipeline.errors import SearchError
from pipeline.find.filters import ANY, Filters
from pipeline.sets.definition import Emphasis, SetDefinition, Worded, Words
from pipeline.sets.emphasis import Grade, measure_name
from pipeline.settings import Settings
from pipeline.spacing.rules import Severity
from pipeline.tags.records import Family, State

Key = tuple[Family, str]
"""A kind: its family and its name."""


class Sort(StrEnum):
    """What a column holds."""

    NUMBER = "number"
    WORD = "word"


@dataclass(frozen=True, slots=True)
class Column:
    """A column that a search can ask for.

    Attributes
    ----------
    name : str
    sort : Sort
    unit : str
        Of numbers: ``ft``, ``s``, ``deg``, ``ft_s``; empty for counts.
    values : tuple of str
        Words that it may have; empty for any.
    meaning : str
    kinds : tuple of str
        The kinds that keep it; empty: every hit has it.
    """

    name: str
    sort: Sort
    unit: str
    values: tuple[str, ...]
    meaning: str
    kinds: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class SearchKind:
    """A kind that can be searched for, with what it keeps."""

    family: Family
    name: str
    title: str
    columns: tuple[Column, ...]

    @property
    def key(self) -> Key:
        """Family and name."""
        return self.family, self.name


def _word(name: str, meaning: str, values: Iterable[str] = ()) -> Column:
    return Column(name, Sort.WORD, "", tuple(values), meaning)


def _number(name: str, meaning: str) -> Column:
    return Column(name, Sort.NUMBER, unit_of(name), (), meaning)


COMMON: tuple[Column, ...] = (
    _word("family", "fault, set or action", Family),
    _word("kind", "which fault, set or action"),
    _number("tag", "number in the tag store; unknown for what is no tag"),
    _word("game", "game of the library"),
    _word("date", "day of the game, as game.toml has it"),
    _word("opponent", "who was played, as game.toml has it"),
    _word("team", "the attacking team, as game.toml calls it"),
    _number("period", "period of the game"),
    _number("clock_s", "game clock, as the score graphic shows it"),
    _number("t_s", "the moment of it, film time"),
    _number("start_s", "its start, film time; as staff set it, where they did"),
    _number("end_s", "its end, film time; as staff set it, where they did"),
    _word("state", "where its tag stands; unknown for what is no tag", State),
    _number("probability", "how likely staff are to confirm it; unknown for what is no tag"),
    _number("score", "how sure the rule is, 0 to 1"),
    _word("severity", "of a fault's tag", Severity),
    _word("ended", "how a set ended (the name of its ending); for faults that keep a word of this name, that word"),
    _word("complete", "whether every phase of a set was found; yes for all else", YES_NO),
    _number("shot", "shot of the film"),
    _number("possession", "possession, as the table possessions numbers them"),
    _number("event", "row of the table it is from, see 'elbowroom explain --action-of'"),
)  # fmt: skip
"""Columns of every hit that conditions and orders may name; ``sentence`` is told besides."""

COMMON_NAMES = frozenset(column.name for column in COMMON)
PHRASE = _word("sentence", "what the tag says")
"""Told of every hit and not asked for."""


def known_kinds(settings: Settings) -> tuple[SearchKind, ...]:
    """Every kind of action, set and fault that there is."""
    actions = (
        SearchKind(Family.ACTION, k.name, k.title, (*_measures((*k.measures, *EVERY_MEASURE)), *_traits(k.traits)))
        for k in KINDS
    )
    sets = (_set_kind(one) for one in settings.set_library.definitions)
    faults = (
        SearchKind(
            Family.FAULT, r.name, r.title.lower(), (*_measures(r.about.measures), *_traits(r.about.traits))
        )
        for r in settings.faults.library
    )  # fmt: skip
    return tuple(
        replace(kind, columns=tuple(replace(column, kinds=(kind.name,)) for column in kind.columns))
        for kind in (*actions, *sets, *faults)
    )


def asked_kinds(filters: Filters, settings: Settings) -> tuple[SearchKind, ...]:
    """The kinds that a search looks at.

    Raises
    ------
    SearchError
        If a kind does not exist; the text names the nearest.
    """
    kinds = known_kinds(settings)
    if not filters.names_kinds:
        wanted = _own_names(filters)
        return tuple(
            kind
            for kind in kinds
            if kind.family is not Family.ACTION or (wanted and wanted <= {column.name for column in kind.columns})
        )
    chosen: list[SearchKind] = []
    asked = ((Family.ACTION, filters.actions), (Family.SET, filters.sets), (Family.FAULT, filters.faults))
    for family, names in asked:
        own = {kind.name: kind for kind in kinds if kind.family is family}
        for name in names:
            if folded(name) == ANY:
                chosen += own.values()
            elif folded(name) in own:
                chosen.append(own[folded(name)])
            else:
                raise SearchError(unknown_word(name, f"{family}", own) + f" 'any' asks for every {family}.")
    return tuple(dict.fromkeys(chosen))


def searchable(filters: Filters, settings: Settings) -> tuple[SearchKind, ...]:
    """The kinds whose measures and words may be named: those asked for; all, where none is."""
    return asked_kinds(filters, settings) if filters.names_kinds else known_kinds(settings)


def columns(settings: Settings, filters: Filters | None = None) -> tuple[Column, ...]:
    """Every column that a search may name, those of every hit first, then those that the kinds keep, by name."""
    kinds = searchable(filters or Filters(), settings)
    own: dict[tuple[str, Sort], Column] = {}
    for kind in kinds:
        for column in kind.columns:
            before = own.get((column.name, column.sort))
            own[column.name, column.sort] = column if before is None else _both(before, column)
    ended = own.pop(("ended", Sort.WORD), None)
    common = []
    for column in COMMON:
        if column.name == "kind":
            column = replace(column, values=tuple(dict.fromkeys(kind.name for kind in kinds)))
        if column.name == "ended":
            values = dict.fromkeys(value for kind in kinds for value in _endings(kind, settings))
            values |= dict.fromkeys(ended.values if ended is not None else ())
            column = replace(column, values=tuple(values))
        common.append(column)
    rest = sorted((c for c in own.values() if c.name not in COMMON_NAMES), key=lambda c: (c.name, c.sort))
    return (*common, *rest)


def condition_names(known: Sequence[Column]) -> Names:
    """The same as conditions take them."""
    words: dict[str, tuple[str, ...]] = {c.name: c.values for c in known if c.sort is Sort.WORD}
    return Names(frozenset(c.name for c in known if c.sort is Sort.NUMBER), words)


def by_name(known: Iterable[Column]) -> Mapping[str, frozenset[Sort]]:
    """Which sorts of column a name stands for."""
    found: dict[str, frozenset[Sort]] = {}
    for column in known:
        found[column.name] = found.get(column.name, frozenset()) | {column.sort}
    return found


def _own_names(filters: Filters) -> frozenset[str]:
    """Names of the condition that not every hit has."""
    if not filters.where.strip():
        return frozenset()
    condition = read_condition(filters.where, source="the search", within=filters.written or None)
    return frozenset(names_in(condition)) - COMMON_NAMES


def _both(one: Column, other: Column) -> Column:
    values = tuple(dict.fromkeys((*one.values, *other.values))) if one.values and other.values else ()
    return replace(one, values=values, kinds=tuple(dict.fromkeys((*one.kinds, *other.kinds))))


def _measures(measures: Iterable[Measure]) -> list[Column]:
    return [Column(m.name, Sort.NUMBER, unit_of(m.name), (), m.meaning) for m in measures]


def _traits(traits: Iterable[Trait]) -> list[Column]:
    return [Column(t.name, Sort.WORD, "", t.values, t.meaning) for t in traits]


def _set_kind(one: SetDefinition) -> SearchKind:
    kept: list[Column] = []
    for emphasis in one.emphases:
        kept += _emphasis(emphasis)
    counters = ("none", *(counter.block.name for counter in one.counters))
    kept.append(_word("counter", "which counter was played", counters))
    kept.append(_word("side", "on which side it was played", ("as_drawn", "mirrored")))
    return SearchKind(Family.SET, one.name, one.title, tuple(kept))


def _emphasis(emphasis: Emphasis) -> list[Column]:
    said = emphasis.title[:1].lower() + emphasis.title[1:]
    grades = [grade.value for grade in Grade if grade is not Grade.UNKNOWN]
    kept = [_word(emphasis.name, f"{said}: as the set file judges it", grades)]
    if isinstance(emphasis.subject, Worded):
        named = [word for one in (*emphasis.good, *emphasis.poor) if isinstance(one, Words) for word in one.words]
        kept.append(_word(f"{emphasis.name}_was", f"{said}: what it was (the set file names {', '.join(named)})"))
    else:
        kept.append(_number(measure_name(emphasis), said))
    return kept


def _endings(kind: SearchKind, settings: Settings) -> list[str]:
    if kind.family is not Family.SET:
        return []
    return [block.name for one in settings.set_library.definitions if one.name == kind.name for block in one.endings]
