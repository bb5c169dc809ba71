"""Tags as rows: CSV for spreadsheets, Parquet for analysts."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from pipeline.clips.titles import title_of
from pipeline.errors import ExportError
from pipeline.library.game_time import game_times
from pipeline.library.games import Library
from pipeline.settings import Settings
from pipeline.tags import Reel, ReelItem, Tag

Listed = tuple[Tag, ReelItem | None]
"""A tag, and how it stands in a reel."""

COLUMNS = [
    ("position", pa.int32()),  # in the reel or the list, from 1
    ("tag", pa.int64()),
    ("game", pa.string()),
    ("date", pa.string()),
    ("opponent", pa.string()),
    ("family", pa.string()),
    ("kind", pa.string()),
    ("title", pa.string()),
    ("state", pa.string()),
    ("decided_by", pa.string()),
    ("decided_at", pa.timestamp("us", tz="UTC")),
    ("labels", pa.list_(pa.string())),
    ("note", pa.string()),
    ("shot", pa.int32()),
    ("possession", pa.int32()),
    ("team", pa.int8()),  # the attackers, 0 or 1
    ("period", pa.int8()),
    ("game_clock_s", pa.float64()),
    ("start_s", pa.float64()),  # film time, as staff left it
    ("end_s", pa.float64()),
    ("t_s", pa.float64()),
    ("actors", pa.list_(pa.struct([("role", pa.string()), ("track", pa.int32())]))),
    ("score", pa.float64()),
    ("probability", pa.float64()),
    ("severity", pa.string()),
    ("sentence", pa.string()),
    ("ending", pa.string()),
    ("missing", pa.list_(pa.string())),
    ("reel_title", pa.string()),
    ("reel_note", pa.string()),
    ("reel_freeze", pa.bool_()),
    ("reel_speed", pa.float64()),
]
TABLE = pa.schema(
    [*COLUMNS, ("measures", pa.map_(pa.string(), pa.float64())), ("traits", pa.map_(pa.string(), pa.string()))],
    metadata={b"elbowroom.table": b"exported_tags", b"elbowroom.schema_version": b"1"},
)
"""Columns of the Parquet form; what is not known is null."""


def listed(tags: Sequence[Tag], reel: Reel | None) -> list[Listed]:
    """Tags in the order they are written in: a reel's, or as given.

    Raises
    ------
    ExportError
        If a reel holds a tag that is not among them.
    """
    if reel is None:
        return [(tag, None) for tag in tags]
    known = {tag.tag: tag for tag in tags}
    gone = [str(item.tag) for item in reel.items if item.tag not in known]
    if gone:
        raise ExportError(
            f"The reel '{reel.title}' holds tag {', '.join(gone)}, which the library no longer has; take it out."
        )
    return [(known[item.tag], item) for item in reel.items]


def as_parquet(library: Library, chosen: Sequence[Listed], settings: Settings) -> bytes:
    """The rows as a Parquet file, see :data:`TABLE`."""
    rows = _rows(library, chosen, settings)
    table = pa.Table.from_pylist(
        [{**row, "measures": list(row["measures"].items()), "traits": list(row["traits"].items())} for row in rows],
        schema=TABLE,
    )
    sink = io.BytesIO()
    pq.write_table(table, sink)
    return sink.getvalue()


def as_csv(library: Library, chosen: Sequence[Listed], settings: Settings) -> str:
    """The rows as CSV (RFC 4180) with a head; a column for every measure and trait that any of them has."""
    rows = _rows(library, chosen, settings)
    measures = sorted({name for row in rows for name in row["measures"]})
    traits = sorted({name for row in rows for name in row["traits"]})
    names = [name for name, _ in COLUMNS]
    taken = {*names, *measures}
    sheet = io.StringIO()
    writer = csv.writer(sheet, lineterminator="\r\n")
    writer.writerow([*names, *measures, *(f"{name}_said" if name in taken else name for name in traits)])
    for row in rows:
        plain = [_plain(name, row[name]) for name in names]
        known = [row["measures"].get(name, "") for name in measures]
        writer.writerow([*plain, *known, *(row["traits"].get(name, "") for name in traits)])
    return sheet.getvalue()


def _rows(library: Library, chosen: Sequence[Listed], settings: Settings) -> list[dict[str, Any]]:
    tags = [tag for tag, _ in chosen]
    times = game_times(library, tags)
    files = {name: library.game(name).file() for name in dict.fromkeys(tag.game for tag in tags)}
    rows = []
    for position, (tag, item) in enumerate(chosen, start=1):
        found, time, file = tag.candidate, times.get(tag.tag), files[tag.game]
        rows.append(
            {
                "position": position,
                "tag": tag.tag,
                "game": tag.game,
                "date": file.date or None,
                "opponent": file.opponent or None,
                "family": found.family.value,
                "kind": found.kind,
                "title": title_of(found.kind, settings),
                "state": tag.state.value,
                "decided_by": tag.decided_by,
                "decided_at": tag.decided_at,
                "labels": list(tag.labels),
                "note": tag.note or None,
                "shot": found.shot,
                "possession": found.possession,
                "team": found.team,
                "period": None if time is None else time.period,
                "game_clock_s": None if time is None else round(time.clock_s, 2),
                "start_s": tag.start_s,
                "end_s": tag.end_s,
                "t_s": found.t_s,
                "actors": [{"role": role, "track": track} for role, track in tag.actors],
                "score": found.score,
                "probability": tag.probability,
                "severity": found.severity or None,
                "sentence": found.sentence or None,
                "ending": found.ending,
                "missing": list(found.missing),
                "reel_title": None if item is None else item.title,
                "reel_note": None if item is None else item.note,
                "reel_freeze": None if item is None else item.freeze,
                "reel_speed": None if item is None else item.slow,
                "measures": {name: float(value) for name, value in found.measures.items() if not math.isnan(value)},
                "traits": dict(found.traits),
            }
        )
    return rows


def _plain(name: str, value: Any) -> Any:
    """A value as a cell of a sheet."""
    if value is None:
        return ""
    if name == "actors":
        return "; ".join(f"{actor['role']} {actor['track']}" for actor in value)
    if isinstance(value, list):
        return "; ".join(value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value.isoformat() if hasattr(value, "isoformat") else value
