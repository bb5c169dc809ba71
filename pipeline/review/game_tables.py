"""Tables of games, kept in memory while their files stay the same; a queue asks for the same ones again and again."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc

from pipeline.library.games import Game
from pipeline.tables import TableSpec

KEPT = 24
"""Some four games' worth."""


def table_of(game: Game, spec: TableSpec) -> pa.Table:
    """A game's table; empty where the game has none, as one that was run before the table existed."""
    path = spec.path(game.tables)
    if not path.is_file():
        return spec.empty()
    state = path.stat()
    return _read(_Spec(spec), game.tables, state.st_size, state.st_mtime_ns)


def between(table: pa.Table, start_s: float, end_s: float) -> pa.Table:
    """The rows of moments in a closed stretch of time, in order of time."""
    times = table["t_s"]
    return table.filter(pc.and_(pc.greater_equal(times, start_s), pc.less_equal(times, end_s))).sort_by("t_s")


class _Spec:
    """A table's spec as a key: one table, one name."""

    def __init__(self, spec: TableSpec) -> None:
        self.spec = spec

    def __hash__(self) -> int:
        return hash(self.spec.name)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Spec) and other.spec.name == self.spec.name


@lru_cache(maxsize=KEPT)
def _read(key: _Spec, folder: Path, size: int, mtime_ns: int) -> pa.Table:  # noqa: ARG001 - the file's state is the key
    return key.spec.read(folder)
