"""Hits for people and programs: a table in a terminal, CSV, JSON, Parquet."""

from __future__ import annotations

import io
import json
import math
from collections.abc import Iterator
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pcsv
import pyarrow.parquet as pq

from pipeline.conditions import folded, names_in, read_condition
from pipeline.errors import SearchError
from pipeline.find.bar import SOURCE
from pipeline.find.filters import Filters
from pipeline.find.names import COMMON_NAMES, Column, Sort
from pipeline.find.searching import Found

SHOWN = ("tag", "game", "kind", "team", "period", "clock_s", "t_s", "state", "score", "ended", "sentence")
"""Columns of every hit that a terminal shows, where any hit has them."""

OWN_SHOWN = 6
"""Measures and words that a terminal shows where more were asked for; files have them all."""


class Form(StrEnum):
    """How hits are written."""

    TABLE = "table"
    CSV = "csv"
    JSON = "json"
    PARQUET = "parquet"


def as_bytes(table: pa.Table, form: Form) -> bytes:
    """A table as a file of CSV, JSON (a list of objects) or Parquet."""
    stream = io.BytesIO()
    if form is Form.PARQUET:
        pq.write_table(table, stream, compression="zstd")
    elif form is Form.CSV:
        pcsv.write_csv(_flat(table), stream)
    elif form is Form.JSON:
        text = json.dumps(table.to_pylist(maps_as_pydicts="strict"), indent=1, ensure_ascii=False, default=_plain)
        stream.write(text.encode() + b"\n")
    else:
        stream.write(("\n".join(_cells_as_text(table)) + "\n").encode())
    return stream.getvalue()


def write(table: pa.Table, form: Form, to: Path) -> Path:
    """Write a table to a file."""
    try:
        to.write_bytes(as_bytes(table, form))
    except OSError as error:
        raise SearchError(f"{to} cannot be written ({error.strerror}); check the path and the disk.") from error
    return to


def shown(found: Found, asked: tuple[str, ...]) -> pa.Table:
    """The columns that a terminal has room for: common ones that say something, those of the condition, some others."""
    table = found.table
    said = [name for name in SHOWN if name in table.schema.names and table[name].null_count < table.num_rows]
    own = [name for name in table.schema.names if name not in COMMON_NAMES and name != "sentence"]
    first = [name for name in own if name in asked]
    rest = [name for name in own if name not in asked and table[name].null_count < table.num_rows]
    room = max(0, OWN_SHOWN - len(first)) if not first else 0
    chosen = (
        [*said[:-1], *first, *rest[:room], *said[-1:]] if said[-1:] == ["sentence"] else [*said, *first, *rest[:room]]
    )
    return table.select(list(dict.fromkeys(chosen)))


def asked_names(filters: Filters) -> tuple[str, ...]:
    """Names that a search's condition and order speak of."""
    names: list[str] = []
    if filters.where.strip():
        names += names_in(read_condition(filters.where, source=SOURCE, within=filters.written or None))
    names += [folded(piece.split()[0]) for piece in filters.order.split(",") if piece.split()]
    return tuple(dict.fromkeys(names))


def cells(table: pa.Table) -> Iterator[list[str]]:
    """A table's rows as text, the head first."""
    yield list(table.schema.names)
    for row in table.to_pylist(maps_as_pydicts="lossy"):
        yield [_cell(name, row[name]) for name in table.schema.names]


def found_lines(found: Found) -> Iterator[str]:
    """What is to be said beside the hits."""
    rows = found.table.num_rows
    if found.total > rows:
        yield f"{rows} of {found.total} hits; a higher limit shows more."
    else:
        yield f"{rows} hit{'' if rows == 1 else 's'}."
    if found.unknown:
        yield (
            f"{found.unknown} more cannot be told: what the condition asks for was not seen there "
            "('NAME unknown' as a condition finds such)."
        )
    yield from found.left_out


def column_lines(known: tuple[Column, ...]) -> Iterator[str]:
    """The columns that a search can name, with unit or words and meaning."""
    for column in known:
        words = ", ".join(column.values[:10]) + (", ..." if len(column.values) > 10 else "")
        unit = {"ft_s": "ft/s"}.get(column.unit, column.unit)
        told = words if column.sort is Sort.WORD else unit or "number"
        yield f"{column.name}: {column.meaning} ({told or 'word'})"


def _cells_as_text(table: pa.Table) -> Iterator[str]:
    rows = list(cells(table))
    widths = [max(len(row[n]) for row in rows) for n in range(len(rows[0]))] if rows[0] else []
    for row in rows:
        yield "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()


def _cell(name: str, value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, float):
        if not math.isfinite(value):
            return str(value)
        if name in ("t_s", "start_s", "end_s", "clock_s"):
            minutes, seconds = divmod(round(value, 1), 60)
            return f"{int(minutes)}:{seconds:04.1f}"
        return f"{value:.2f}" if abs(value) < 100 else f"{value:.1f}"
    if isinstance(value, str):
        return " ".join(value.split())
    if isinstance(value, datetime):
        return value.isoformat(timespec="seconds")
    if isinstance(value, list | dict):
        return json.dumps(value, ensure_ascii=False, default=_plain)
    return str(value)


def _flat(table: pa.Table) -> pa.Table:
    """Lists and maps as JSON text, which CSV can hold."""
    for place, field in enumerate(table.schema):
        if pa.types.is_nested(field.type):
            text = [
                None if one is None else json.dumps(one, ensure_ascii=False, default=_plain)
                for one in table.select([place]).to_pylist(maps_as_pydicts="lossy")
                for one in [one[field.name]]
            ]
            table = table.set_column(place, field.name, pa.array(text, pa.string()))
        elif pa.types.is_dictionary(field.type):
            table = table.set_column(place, field.name, pc.cast(table[place], pa.string()))
    return table


def _plain(value: Any) -> Any:
    return value.isoformat() if hasattr(value, "isoformat") else str(value)
