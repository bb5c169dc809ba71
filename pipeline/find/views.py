"""Every game of a library as read-only DuckDB views: for SQL of one's own.

The connection reads one file, that of the search, which is open for reading only; everything else comes in as Arrow
data. DuckDB itself may open no file, load no extension and change none of that (``enable_external_access`` and
``lock_configuration`` of its documentation), so that a query can neither write nor read anything else.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import duckdb
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from pipeline.errors import SearchError
from pipeline.find.game_rows import game_rows
from pipeline.find.index import Progress, open_index
from pipeline.find.kept_tags import kept_tag_rows
from pipeline.find.tag_rows import decision_rows
from pipeline.find.view_words import VIEWS, View
from pipeline.library.games import Game, Library
from pipeline.tables import NAME_KEY, VERSION_KEY, TableSpec
from pipeline.tags.records import State

if TYPE_CHECKING:
    from pyarrow.dataset import Dataset


@dataclass(frozen=True, slots=True, eq=False)
class Views:
    """An open connection with the views, and a sentence for each table that they leave out."""

    connection: duckdb.DuckDBPyConnection
    left_out: tuple[str, ...]


def open_views(library: Library) -> duckdb.DuckDBPyConnection:
    """A connection that holds every view of :data:`~pipeline.find.view_words.VIEWS`; the caller closes it."""
    return views_of(library).connection


def views_of(library: Library, on_game: Progress = lambda _done, _of: None) -> Views:
    """The same, with what was left out."""
    library.must_exist()
    games, left_out = game_rows(library)
    with library.tag_store() as store:
        tags, decisions = kept_tag_rows(library, store), decision_rows(store)
    connection = open_index(library, on_game).connection
    sentences = list(left_out)
    made = {
        "games": games,
        "tags": tags.filter(pc.not_equal(tags["state"], State.WITHDRAWN.value)).drop_columns(["who"]),
        "decisions": decisions,
    }
    for view in VIEWS:
        held: pa.Table | Dataset
        if view.table is None:
            held = made[view.name]
        else:
            held, untold = _dataset(view.table, library.games())
            sentences += untold
        connection.register(f"rows_{view.name}", held)
        connection.execute(f"CREATE TEMP VIEW {view.name} AS SELECT {_selected(view)} FROM rows_{view.name}")
    return Views(connection, tuple(sentences))


def run_sql(connection: duckdb.DuckDBPyConnection, query: str) -> pa.Table:
    """What one query says.

    Raises
    ------
    SearchError
        If it is not one query, does more than read, or DuckDB refuses it; with DuckDB's words.
    """
    try:
        statements = connection.extract_statements(query)
        if len(statements) != 1:
            raise SearchError(f"Give one query, not {len(statements)}.")
        if statements[0].type != duckdb.StatementType.SELECT:
            name = statements[0].type.name
            raise SearchError(f"Only queries that read are run (SELECT, FROM, WITH, DESCRIBE), and this is {name}.")
        return connection.sql(statements[0].query).to_arrow_table()
    except duckdb.Error as error:
        raise SearchError(f"The query cannot be run. {error}") from error


def view_lines(names: Sequence[str] = ()) -> Iterator[str]:
    """The views, their columns and what they mean; all views if none is named."""
    for view in VIEWS:
        if names and view.name not in names:
            continue
        yield f"{view.name}: {view.meaning}"
        width = max(len(name) for name in view.columns)
        for name, meaning in view.columns.items():
            yield f"  {name:<{width}}  {meaning}"
        yield ""


def _selected(view: View) -> str:
    """The view's columns; what a table marks as unknown in its own way is null."""
    columns = []
    for name in view.columns:
        if name == "possession" and "event" in view.columns:
            columns.append("CASE WHEN possession >= 0 THEN possession END AS possession")
        elif name == "measures" and view.table is not None:
            columns.append(
                "map_from_entries(list_filter(map_entries(measures), lambda one: one.value IS NOT NULL "
                "AND NOT isnan(one.value))) AS measures"
            )
        else:
            columns.append(name)
    return ", ".join(columns)


def _dataset(spec: TableSpec, games: Sequence[Game]) -> tuple[Dataset, list[str]]:
    """One table of every game that has it as it is now, and a sentence for each other game."""
    import pyarrow.dataset as ds  # imports pandas where it is installed, which no search needs
    from pyarrow.fs import LocalFileSystem

    schema = pa.schema([pa.field("game", pa.string()), *spec.schema])
    paths, parts, left_out = [], [], []
    for game in games:
        problem = _problem(spec, game)
        if problem:
            left_out.append(f"Game '{game.name}' is left out of {spec.name}: {problem}")
        else:
            paths.append(str(spec.path(game.tables).resolve()))
            parts.append(ds.field("game") == game.name)
    if not paths:
        return ds.dataset(schema.empty_table()), left_out
    made = ds.FileSystemDataset.from_paths(
        paths, schema=schema, format=ds.ParquetFileFormat(), filesystem=LocalFileSystem(), partitions=parts
    )
    return made, left_out


def _problem(spec: TableSpec, game: Game) -> str:
    """Why a game's table cannot be shown; empty where it can."""
    path = spec.path(game.tables)
    if not path.is_file():
        return "it has no such table; run it again."
    try:
        metadata = pq.read_metadata(path).metadata or {}
    except (pa.ArrowException, OSError) as error:
        return f"{path} cannot be read ({error}); run it again."
    name, version = metadata.get(NAME_KEY, b"?").decode(), metadata.get(VERSION_KEY, b"?").decode()
    known = {str(spec.version), *([str(spec.version - 1)] if spec.added else [])}
    if name != spec.name or version not in known:
        return f"{path} holds {name} version {version}, this program knows {spec.version}; run it again."
    return ""
