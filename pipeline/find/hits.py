"""The rows of one game that a search looks through: its actions, sets and faults, each with team and game clock."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.actions.tables import ACTIONS
from pipeline.ball.tables import POSSESSIONS
from pipeline.conditions import folded
from pipeline.errors import LibraryError
from pipeline.film.clock import game_times
from pipeline.film.tables import CLOCK
from pipeline.find.maps import known_entries, one_map
from pipeline.library.games import Game
from pipeline.sets.tables import SET_CANDIDATES
from pipeline.spacing.tables import FAULTS
from pipeline.tables import TableSpec
from pipeline.tags.records import Family

VERSION = 1
"""Raised when the rows below are made otherwise, so that kept ones are made anew."""

SOURCES: tuple[tuple[Family, TableSpec], ...] = (
    (Family.ACTION, ACTIONS),
    (Family.SET, SET_CANDIDATES),
    (Family.FAULT, FAULTS),
)

HITS = pa.schema(
    [
        ("game", pa.string()),
        ("family", pa.string()),
        ("kind", pa.string()),
        ("event", pa.int32()),
        ("shot", pa.int32()),
        ("possession", pa.int32()),
        ("team", pa.int8()),  # 0 or 1; null where unknown
        ("period", pa.int8()),
        ("clock_s", pa.float64()),
        ("t_s", pa.float64()),
        ("start_s", pa.float64()),
        ("end_s", pa.float64()),
        ("score", pa.float64()),
        ("ended", pa.string()),
        ("complete", pa.bool_()),
        ("who", pa.string()),  # actors as role:track, ';' between
        ("measures", pa.map_(pa.string(), pa.float64())),  # known ones
        ("traits", pa.map_(pa.string(), pa.string())),  # known ones, folded
    ]
)


@dataclass(frozen=True, slots=True, eq=False)
class GameHits:
    """Rows of one game (``HITS``), and a sentence for each table that could not be read."""

    table: pa.Table
    left_out: tuple[str, ...]


def tables_key(game: Game) -> str:
    """Recognises the state of a game's tables: a table is written whole and renamed, so a new one is a new file."""
    digest = hashlib.blake2b(f"{VERSION} {game.name}".encode(), digest_size=12)
    for spec in (*(spec for _, spec in SOURCES), POSSESSIONS, CLOCK):
        path = spec.path(game.tables)
        try:
            told = path.stat()
            state = f"{told.st_size} {told.st_mtime_ns} {told.st_ino}"
        except OSError:
            state = "none"
        digest.update(f"\n{spec.name} {spec.version} {state}".encode())
    return digest.hexdigest()


def hits_of(game: Game) -> GameHits:
    """Every action, set and fault of a game's tables; what cannot be read is left out and said."""
    left_out: list[str] = []
    sources: list[tuple[Family, pa.Table]] = []
    for family, spec in SOURCES:
        table = _read(spec, game, left_out, f"its {spec.name.replace('_', ' ')} are left out")
        if table is not None and table.num_rows:
            sources.append((family, table))
    if not sources:
        return GameHits(HITS.empty_table(), tuple(left_out))
    teams = _teams(_read(POSSESSIONS, game, left_out, "its teams are unknown"))
    # Games imported without a clock have no such table, and none is missed.
    clock = _read(CLOCK, game, left_out, "its periods are unknown") if CLOCK.path(game.tables).is_file() else None
    rows = [_hits(game.name, family, table, teams, clock) for family, table in sources]
    return GameHits(pa.concat_tables(rows), tuple(left_out))


def _read(spec: TableSpec, game: Game, left_out: list[str], so: str) -> pa.Table | None:
    try:
        return spec.read(game.tables)
    except LibraryError as error:
        left_out.append(f"Game '{game.name}': {so}. {error}")
        return None


def _teams(possessions: pa.Table | None) -> dict[int, int]:
    if possessions is None:
        return {}
    pairs = zip(possessions["possession"].to_pylist(), possessions["team"].to_pylist(), strict=True)
    return {number: team for number, team in pairs if team in (0, 1)}


def _hits(game: str, family: Family, table: pa.Table, teams: dict[int, int], clock: pa.Table | None) -> pa.Table:
    count = table.num_rows
    measures, traits = one_map(table["measures"]), _with_folded(one_map(table["traits"]))
    times = table["t_s"].to_numpy()
    possession = table["possession"].to_pylist()
    if clock is None:
        period, clock_s = np.zeros(count, np.int64), np.full(count, np.nan)
    else:
        period, clock_s = game_times(clock, times)
    is_set = family is Family.SET
    columns = {
        "game": pa.array([game] * count, pa.string()),
        "family": pa.array([family.value] * count, pa.string()),
        "kind": table["kind"],
        "event": table["event"],
        "shot": table["shot"],
        "possession": pa.array([None if p is None or p < 0 else p for p in possession], pa.int32()),
        "team": pa.array([None if p is None else teams.get(p) for p in possession], pa.int8()),
        "period": pa.array(period, pa.int8(), mask=period == 0),
        "clock_s": pa.array(clock_s, pa.float64(), mask=np.isnan(clock_s)),
        "t_s": _known(table["t_s"]),
        "start_s": _known(table["start_s"]),
        "end_s": _known(table["end_s"]),
        "score": _known(table["score"].cast(pa.float64())),
        "ended": table["ending"] if is_set else pa.nulls(count, pa.string()),
        "complete": table["complete"] if is_set else pa.array(np.ones(count, bool)),
        "who": pa.array([told_actors((a["role"], a["track"]) for a in row) for row in table["actors"].to_pylist()]),
        "measures": known_entries(measures, _is_number(measures.items)),
        "traits": known_entries(traits, _is_said(traits.items)),
    }
    return pa.Table.from_arrays([_one(columns[field.name], field.type) for field in HITS], schema=HITS)


def told_actors(actors: Iterable[tuple[str, int]]) -> str:
    """Actors as one text, by which a tag and its row know each other."""
    return ";".join(f"{role}:{track}" for role, track in actors)


def _one(column: pa.Array | pa.ChunkedArray, kind: pa.DataType) -> pa.Array:
    array = column.combine_chunks() if isinstance(column, pa.ChunkedArray) else column
    return array if array.type == kind else array.cast(kind)


def _known(column: pa.ChunkedArray) -> pa.Array:
    array = column.combine_chunks()
    return pc.if_else(pc.is_nan(array), pa.scalar(None, array.type), array)


def _is_number(items: pa.Array) -> np.ndarray:
    return np.asarray(pc.fill_null(pc.invert(pc.is_nan(items)), False))  # noqa: FBT003 - Arrow's own fill value


def _is_said(items: pa.Array) -> np.ndarray:
    spoken = pc.fill_null(items, "unknown")
    return ~np.isin(np.asarray(spoken.to_numpy(zero_copy_only=False), dtype=object), ["unknown", ""])


def _with_folded(maps: pa.MapArray) -> pa.MapArray:
    """A map's words as conditions compare them."""
    coded = pc.dictionary_encode(maps.items)
    words = pa.array([None if one is None else folded(one) for one in coded.dictionary.to_pylist()], pa.string())
    items = words.take(coded.indices) if len(words) else maps.items
    return pa.MapArray.from_arrays(maps.offsets, maps.keys, items)
