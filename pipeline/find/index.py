"""All games' rows in one file beside them, so that a search reads one file and not some hundreds.

``<library>/.find/hits-<key>.duckdb``. The key comes from the state of every game's tables, so that a file with the
right name holds what they hold now; one that is missing is made from the last one, where games have not changed, and
from the tables of those that have. The folder may be deleted at any time. Where it cannot be written everything is read
anew.
"""

from __future__ import annotations

import hashlib
import os
import threading
from collections.abc import Callable, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import duckdb
import pyarrow as pa
from filelock import FileLock

from pipeline.find.hits import HITS, GameHits, hits_of, tables_key
from pipeline.library.games import Game, Library

FOLDER = ".find"
ATTEMPTS = 3
Progress = Callable[[int, int], None]

SEALED: dict[str, str | bool | int | float | list[str]] = {
    "enable_external_access": "false",
    "autoinstall_known_extensions": "false",
    "autoload_known_extensions": "false",
    "allow_community_extensions": "false",
    "python_enable_replacements": "false",
    "lock_configuration": "true",
}
"""DuckDB opens no file but the index, loads nothing, sees no Python variable, and stays so."""

_ONE_CONNECTS = threading.Lock()
"""DuckDB 2.0.1 gives threads that connect to one file at once the same database, to the later one before it can read
Arrow tables (seen as "Table Function with name python_arrow_scan does not exist")."""

_GAMES = pa.schema([("game", pa.string()), ("key", pa.string()), ("left_out", pa.list_(pa.string()))])


@dataclass(frozen=True, slots=True)
class Index:
    """Where the rows are.

    Attributes
    ----------
    connection : DuckDBPyConnection
        Holds the tables ``hits`` and ``indexed``; the caller closes it.
    left_out : tuple of str
        A sentence for each table that could not be read.
    """

    connection: duckdb.DuckDBPyConnection
    left_out: tuple[str, ...]


def open_index(library: Library, on_game: Progress = lambda _done, _of: None) -> Index:
    """The rows of a library's games as their tables are now."""
    keys = {game: tables_key(game) for game in library.games()}
    folder = library.root / FOLDER
    path = folder / f"hits-{_name(keys)}.duckdb"
    for _ in range(ATTEMPTS):
        try:
            if path.is_file():
                with _ONE_CONNECTS:
                    connection = duckdb.connect(path, read_only=True, config=SEALED)
                return _opened(connection)
        except duckdb.Error:  # damaged, or taken away by somebody who made a newer one
            path.unlink(missing_ok=True)
        try:
            folder.mkdir(exist_ok=True)
            with FileLock(folder / ".lock", timeout=600):
                if not path.is_file():
                    _make(path, keys, _last(folder), on_game)
        except OSError:
            break
    return _opened(_in_memory(keys, on_game))


def _name(keys: Mapping[Game, str]) -> str:
    told = "\n".join(f"{game.name} {key}" for game, key in keys.items())
    return hashlib.blake2b(told.encode(), digest_size=12).hexdigest()


def _opened(connection: duckdb.DuckDBPyConnection) -> Index:
    told = connection.execute("SELECT unnest(left_out) FROM indexed ORDER BY game").fetchall()
    return Index(connection, tuple(text for (text,) in told))


def _last(folder: Path) -> Path | None:
    """The newest index there is."""
    found = sorted(folder.glob("hits-*.duckdb"), key=lambda path: path.stat().st_mtime_ns)
    return found[-1] if found else None


def _in_memory(keys: Mapping[Game, str], on_game: Progress) -> duckdb.DuckDBPyConnection:
    connection = duckdb.connect()
    _fill(connection, keys, {}, on_game)
    return connection


def _make(path: Path, keys: Mapping[Game, str], last: Path | None, on_game: Progress) -> None:
    """Write an index whole under a temporary name, rename it, and take the earlier ones away."""
    temporary = path.with_suffix(f".{os.getpid()}.tmp")
    temporary.unlink(missing_ok=True)
    try:
        with duckdb.connect(temporary) as connection:
            kept = _taken_over(connection, last, keys)
            _fill(connection, keys, kept, on_game)
        os.replace(temporary, path)
    finally:
        temporary.unlink(missing_ok=True)
    for old in path.parent.glob("hits-*.duckdb"):
        if old != path:
            old.unlink(missing_ok=True)


def _taken_over(
    connection: duckdb.DuckDBPyConnection, last: Path | None, keys: Mapping[Game, str]
) -> Mapping[str, str]:
    """Attach the last index and say which of its games are as they were; none where it cannot be read."""
    if last is None:
        return {}
    try:
        connection.execute(f"ATTACH '{str(last).replace(chr(39), chr(39) * 2)}' AS last (READ_ONLY)")
        before = dict(connection.execute("SELECT game, key FROM last.indexed").fetchall())
    except duckdb.Error:
        return {}  # damaged or of another version of DuckDB: everything is read anew
    return {game.name: key for game, key in keys.items() if before.get(game.name) == key}


def _fill(
    connection: duckdb.DuckDBPyConnection, keys: Mapping[Game, str], kept: Mapping[str, str], on_game: Progress
) -> None:
    """Make the tables, rows of one kind together."""
    fresh: list[pa.Table] = []
    told: list[tuple[Game, str, Sequence[str]]] = []
    new = [game for game in keys if game.name not in kept]
    for number, game in enumerate(new):
        on_game(number, len(new))
        found: GameHits = hits_of(game)
        fresh.append(found.table)
        told.append((game, keys[game], found.left_out))
    rows = pa.concat_tables(fresh) if fresh else HITS.empty_table()
    games = pa.Table.from_pylist(
        [{"game": game.name, "key": key, "left_out": list(left_out)} for game, key, left_out in told], schema=_GAMES
    )
    with _registered(connection, rows=rows, games=games, kept=pa.table({"game": pa.array(kept, pa.string())})):
        before_hits, before_games = "", ""
        if kept:
            before_hits = "UNION ALL BY NAME SELECT * FROM last.hits WHERE game IN (SELECT game FROM kept)"
            before_games = "UNION ALL BY NAME SELECT * FROM last.indexed WHERE game IN (SELECT game FROM kept)"
        connection.execute(
            f"CREATE TABLE hits AS SELECT * FROM (SELECT * FROM rows {before_hits}) ORDER BY family, kind, game, t_s"
        )
        connection.execute(f"CREATE TABLE indexed AS SELECT * FROM games {before_games}")


@contextmanager
def _registered(connection: duckdb.DuckDBPyConnection, **tables: pa.Table):  # type: ignore[no-untyped-def]
    for name, table in tables.items():
        connection.register(name, table)
    try:
        yield
    finally:
        for name in tables:
            connection.unregister(name)
