"""Searching: filters to one query over the rows of all games and their tags, and its answer as a table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import duckdb
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.conditions import Condition, Spot, folded, names_in, read_condition
from pipeline.conditions.pointing import pointed, unknown_word
from pipeline.errors import LanguageError, SearchError
from pipeline.find.bar import SOURCE
from pipeline.find.compiling import Compiled, Held, Parameter, compiled
from pipeline.find.filters import Filters
from pipeline.find.game_rows import game_rows
from pipeline.find.index import Progress, open_index
from pipeline.find.kept_tags import kept_tag_rows
from pipeline.find.maps import spread
from pipeline.find.names import (
    COMMON_NAMES,
    Column,
    SearchKind,
    Sort,
    asked_kinds,
    by_name,
    columns,
    condition_names,
)
from pipeline.library.games import Library
from pipeline.settings import Settings
from pipeline.tags.records import State

FOUND_SCHEMA = pa.schema(
    [
        ("family", pa.string()),
        ("kind", pa.string()),
        ("tag", pa.int64()),
        ("game", pa.string()),
        ("date", pa.string()),
        ("opponent", pa.string()),
        ("team", pa.string()),
        ("period", pa.int8()),
        ("clock_s", pa.float64()),
        ("t_s", pa.float64()),
        ("start_s", pa.float64()),
        ("end_s", pa.float64()),
        ("state", pa.string()),
        ("probability", pa.float64()),
        ("score", pa.float64()),
        ("severity", pa.string()),
        ("sentence", pa.string()),
        ("ended", pa.string()),
        ("complete", pa.string()),
        ("shot", pa.int32()),
        ("possession", pa.int32()),
        ("event", pa.int32()),
    ]
)
"""Columns of every hit; the measures and words of the kinds that were asked for follow."""

_WORDS = {
    "family": "family",
    "kind": "kind",
    "state": "state",
    "severity": "severity",
    "ended": "ended",
    "complete": "complete",
    "game": "game_folded",
    "date": "date_folded",
    "opponent": "opponent_folded",
    "team": "team_folded",
}
"""Columns of the query that hold common words as conditions compare them."""

_SAME = " AND ".join(f"h.{name} = t.{name}" for name in ("game", "family", "kind", "shot", "t_s", "who"))
"""When a row of a game's tables is what a tag was made from."""

_HITS = f"""
    SELECT h.family, h.kind, t.tag, h.game, h.team AS side, h.period, h.clock_s, h.t_s,
           coalesce(t.start_s, h.start_s) AS start_s, coalesce(t.end_s, h.end_s) AS end_s, t.state, t.probability,
           h.score, t.severity, t.sentence, coalesce(h.traits['ended'], h.ended) AS ended,
           CASE WHEN h.complete THEN 'yes' ELSE 'no' END AS complete, h.shot, h.possession, h.event,
           h.measures, h.traits, t.labels_folded
    FROM hits h LEFT JOIN tags t ON {_SAME}
    WHERE (h.family, h.kind) IN (SELECT (family, kind) FROM asked)
    UNION ALL
    SELECT t.family, t.kind, t.tag, t.game, t.team, NULL, NULL, t.t_s, t.start_s, t.end_s, t.state, t.probability,
           t.score, t.severity, t.sentence, coalesce(t.traits['ended'], t.ended),
           CASE WHEN len(t.missing) > 0 THEN 'no' ELSE 'yes' END, t.shot, t.possession, NULL,
           t.measures, t.traits, t.labels_folded
    FROM tags t ANTI JOIN hits h ON {_SAME}
    WHERE (t.family, t.kind) IN (SELECT (family, kind) FROM asked)
"""
"""Rows of the games' tables with their tags, and tags that the tables no longer hold."""

_TOLD = """
    SELECT f.*, a.speaks, g.date, g.opponent, CASE f.side WHEN 0 THEN g.team_0 WHEN 1 THEN g.team_1 END AS team,
           g.game_folded, g.date_folded, g.opponent_folded,
           CASE f.side WHEN 0 THEN g.team_0_folded WHEN 1 THEN g.team_1_folded END AS team_folded
    FROM found f JOIN asked a ON a.family = f.family AND a.kind = f.kind LEFT JOIN games g ON g.game = f.game
"""


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """What a search came to.

    Attributes
    ----------
    table : pa.Table
        A row a hit: ``FOUND_SCHEMA``, then every measure and word of the kinds asked for (of those that were found,
        where none was asked for by name).
    total : int
        Hits there are; more than rows where ``limit`` cut them.
    unknown : int
        Rows that could be hits: what the condition asks for was not seen, or not well enough.
    left_out : tuple of str
        A sentence for each game or table that could not be searched.
    """

    table: pa.Table
    total: int
    unknown: int
    left_out: tuple[str, ...] = field(default=())


def find(library: Library, filters: Filters, settings: Settings) -> pa.Table:
    """The hits of a search, see :class:`Found`."""
    return search(library, filters, settings).table


def search(
    library: Library, filters: Filters, settings: Settings, on_game: Progress = lambda _done, _of: None
) -> Found:
    """Search all games of a library.

    Parameters
    ----------
    library : Library
    filters : Filters
    settings : Settings
        For the sets and faults there are.
    on_game : callable
        Told how many games' tables have been read anew, of how many.

    Raises
    ------
    LanguageError
        If the condition or the order is not written as it should, with the names that exist.
    SearchError
        If a kind, game, team, state or label does not exist; with the nearest.
    """
    library.must_exist()
    kinds = asked_kinds(filters, settings)
    known = columns(settings, filters)
    condition = _condition(filters, known)
    held, picked = _held(known, [] if condition is None else list(names_in(condition)))
    order = _order(filters, known, held, picked)
    games, untold = game_rows(library)
    with library.tag_store() as store:
        tags = kept_tag_rows(library, store)
    _check(filters, games, tags)
    index = open_index(library, on_game)
    try:
        query = _Query(filters, kinds, condition, held, picked, order)
        rows, total, unknown = query.run(index.connection, games, tags)
    finally:
        index.connection.close()
    return Found(_wide(rows, kinds, filters), total, unknown, (*untold, *index.left_out))


def _condition(filters: Filters, known: Sequence[Column]) -> Condition | None:
    if not filters.where.strip():
        return None
    within = filters.written or None
    try:
        return read_condition(filters.where, condition_names(known), source=SOURCE, within=within)
    except LanguageError as error:
        condition = read_condition(filters.where, source=SOURCE, within=within)  # raises what is wrong with the grammar
        raise _with_names(error, names_in(condition), known) from None


def _with_names(error: LanguageError, asked: Any, known: Sequence[Column]) -> LanguageError:
    """The same error, with the names there are where one does not exist."""
    names = list(dict.fromkeys(column.name for column in known))
    if all(name in names for name in asked):
        return error
    own = [name for name in names if name not in COMMON_NAMES]
    listed = f"Columns of every hit: {', '.join(n for n in names if n in COMMON_NAMES)}."
    if own:
        listed += f"\nMeasures and words of the kinds searched: {', '.join(own)}."
    return LanguageError(f"{error}\n{listed}", error.line, error.column)


def _held(known: Sequence[Column], names: Sequence[str]) -> tuple[dict[str, Held], dict[str, tuple[str, str]]]:
    """Where the query holds each name, and which entries of the maps it must pick: column -> (map, name)."""
    sorts = by_name(known)
    held: dict[str, Held] = {}
    picked: dict[str, tuple[str, str]] = {}
    for name in dict.fromkeys(names):
        if name in COMMON_NAMES:
            held[name] = Held(word=_WORDS[name]) if name in _WORDS else Held(number=name)
            continue
        number = word = ""
        if Sort.NUMBER in sorts[name]:
            number = f"n{len(picked)}"
            picked[number] = ("measures", name)
        if Sort.WORD in sorts[name]:
            word = f"w{len(picked)}"
            picked[word] = ("traits", name)
        held[name] = Held(number, word)
    return held, picked


def _order(filters: Filters, known: Sequence[Column], held: dict[str, Held], picked: dict[str, tuple[str, str]]) -> str:
    """The order as SQL; names that it needs beside the condition's are added to ``held`` and ``picked``."""
    if not filters.order.strip():
        return ""
    names = [column.name for column in known]
    pieces: list[str] = []
    at = 0
    for piece in filters.order.split(","):
        words = piece.split()
        column = at + len(piece) - len(piece.lstrip()) + 1
        at += len(piece) + 1
        if not words or len(words) > 2 or (len(words) == 2 and words[1].lower() not in ("asc", "desc")):
            raise pointed(
                "an order is names, each with 'asc' or 'desc' behind it, and commas between.",
                filters.order, Spot(1, column), "the order", len(piece.strip()),
            )  # fmt: skip
        name = folded(words[0])
        if name not in names:
            error = pointed(
                unknown_word(words[0], "column here", names), filters.order, Spot(1, column), "the order", len(words[0])
            )
            raise _with_names(error, [name], known)
        if name not in held:
            more, picks = _held(known, [name])
            renamed = {old: f"o{len(pieces)}{old}" for old in picks}
            picked.update({renamed[old]: pick for old, pick in picks.items()})
            one = more[name]
            held[name] = Held(renamed.get(one.number, one.number), renamed.get(one.word, one.word))
        sign = "DESC" if words[-1].lower() == "desc" and len(words) == 2 else "ASC"
        pieces += [f"{column} {sign} NULLS LAST" for column in (held[name].number, held[name].word) if column]
    return ", ".join(pieces)


def _check(filters: Filters, games: pa.Table, tags: pa.Table) -> None:
    """Refuse games, teams, states and labels that do not exist."""
    here = dict.fromkeys([*games["game"].to_pylist(), *tags["game"].to_pylist()])
    teams = dict.fromkeys(one for n in ("team_0", "team_1") for one in games[n].to_pylist() if one)
    labels = dict.fromkeys(pc.list_flatten(tags["labels"]).to_pylist())
    for what, asked, there in (
        ("game of this library", filters.games, here),
        ("team that a game.toml of this library names", filters.teams, teams),
        ("state of a tag", filters.states, dict.fromkeys(one.value for one in State)),
        ("label of this library", filters.labels, labels),
    ):
        for name in asked:
            if folded(name) not in {folded(one) for one in there}:
                raise SearchError(unknown_word(name, what, there))
    for day in (filters.since, filters.until):
        if day and not _is_day(day):
            raise SearchError(f"'{day}' is no day; write it as 2026-01-31.")
    if filters.limit is not None and filters.limit < 0:
        raise SearchError(f"A search cannot be limited to {filters.limit} hits; give 0 or more.")


@dataclass(frozen=True, slots=True)
class _Query:
    """A search as SQL."""

    filters: Filters
    kinds: Sequence[SearchKind]
    condition: Condition | None
    held: Mapping[str, Held]
    picked: Mapping[str, tuple[str, str]]
    order: str

    def run(self, connection: duckdb.DuckDBPyConnection, games: pa.Table, tags: pa.Table) -> tuple[pa.Table, int, int]:
        """Rows in order, how many there are without the limit, and how many could not be judged."""
        for name, table in self._tables(games, tags).items():
            connection.register(name, table)
        told, parameters = self._judged()
        counted = f"{told} SELECT count(*) FILTER (holds), count(*) FILTER (holds IS NULL AND speaks) FROM judged"
        total, unknown = connection.execute(counted, parameters).fetchall()[0]
        order = ", ".join([*([self.order] if self.order else []), "date NULLS LAST", "game", "t_s", "family", "kind"])
        rows = connection.sql(
            f"{told} SELECT {', '.join(FOUND_SCHEMA.names)}, measures, traits FROM judged WHERE holds "
            f"ORDER BY {order}, event NULLS LAST, tag NULLS LAST LIMIT ?",
            params=[*parameters, total if self.filters.limit is None else self.filters.limit],
        ).to_arrow_table()
        return rows, int(total), int(unknown)

    def _tables(self, games: pa.Table, tags: pa.Table) -> dict[str, pa.Table]:
        tag_games = [
            name for name in dict.fromkeys(tags["game"].to_pylist()) if name not in set(games["game"].to_pylist())
        ]
        games = pa.concat_tables(
            [games, pa.table({"game": pa.array(tag_games, pa.string())})], promote_options="default"
        )
        for name in ("game", "date", "opponent", "team_0", "team_1"):
            games = games.append_column(f"{name}_folded", _folded(games[name]))
        labels = tags["labels"].combine_chunks()
        words = _folded(labels.flatten())
        tags = tags.append_column("labels_folded", pa.ListArray.from_arrays(labels.offsets, words))
        asked = {
            "family": pa.array([kind.family.value for kind in self.kinds], pa.string()),
            "kind": pa.array([kind.name for kind in self.kinds], pa.string()),
            "speaks": pa.array([self._speaks_of(kind) for kind in self.kinds], pa.bool_()),
        }
        return {"games": games, "tags": tags, "asked": pa.table(asked)}

    def _speaks_of(self, kind: SearchKind) -> bool:
        """Whether a kind keeps all that the condition asks for."""
        if self.condition is None:
            return True
        return set(names_in(self.condition)) <= {*COMMON_NAMES, *(column.name for column in kind.columns)}

    def _judged(self) -> tuple[str, list[Parameter | list[str]]]:
        """The query up to its rows with ``holds``, and its parameters."""
        picks, parameters = "", []
        for column, (held_in, name) in self.picked.items():
            picks += f", {held_in}[?] AS {column}"
            parameters.append(name)
        judged = Compiled("TRUE", ()) if self.condition is None else compiled(self.condition, self.held)
        limits, values = self._limits()
        sql = (
            f"WITH found AS ({_HITS}), told AS ({_TOLD}), picked AS (SELECT *{picks} FROM told), "
            f"judged AS (SELECT *, {judged.sql} AS holds FROM picked WHERE {limits})"
        )
        return sql, [*parameters, *judged.parameters, *values]

    def _limits(self) -> tuple[str, list[Any]]:
        """Everything but the condition."""
        filters = self.filters
        parts: list[str] = ["TRUE"]
        values: list[Any] = []
        for column, asked in (
            ("game_folded", filters.games),
            ("team_folded", filters.teams),
            ("state", filters.states),
        ):
            if asked:
                parts.append(f"list_contains(?, {column})")
                values.append([folded(one) for one in asked])
        for sign, day in ((">=", filters.since), ("<=", filters.until)):
            if day:
                parts.append(f"date {sign} ?")
                values.append(day)
        if filters.periods:
            parts.append("list_contains(?, CAST(period AS BIGINT))")
            values.append(list(filters.periods))
        if filters.labels:
            parts.append("coalesce(list_has_all(labels_folded, ?), FALSE)")
            values.append([folded(one) for one in filters.labels])
        if "withdrawn" not in {folded(one) for one in filters.states}:
            parts.append("coalesce(state, '') <> 'withdrawn'")
        if self.condition is None or "complete" not in set(names_in(self.condition)):
            parts.append("complete = 'yes'")
        return " AND ".join(parts), values


def _is_day(text: str) -> bool:
    try:
        return date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False


def _folded(column: pa.ChunkedArray | pa.Array) -> pa.Array:
    return pa.array([None if one is None else folded(one) for one in column.to_pylist()], pa.string())


def _wide(rows: pa.Table, kinds: Sequence[SearchKind], filters: Filters) -> pa.Table:
    """Maps of measures and words as columns."""
    measures, traits = spread(rows["measures"]), spread(rows["traits"])
    table = rows.select(FOUND_SCHEMA.names).cast(FOUND_SCHEMA)
    names = dict.fromkeys((column.name, column.sort) for kind in kinds for column in kind.columns)
    for name, sort in names:
        if name in COMMON_NAMES:
            continue
        is_number = sort is Sort.NUMBER
        held = (measures if is_number else traits).get(name)
        if held is None and not filters.names_kinds:
            continue
        title = name if name not in table.schema.names else f"{name}_word" if sort is Sort.WORD else f"{name}_number"
        kind = pa.float64() if is_number else pa.string()
        table = table.append_column(title, pa.nulls(rows.num_rows, kind) if held is None else held)
    return table
