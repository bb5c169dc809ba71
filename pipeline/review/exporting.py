"""Files that the pages hand out: the answer of a search as a table, tags and reels as lists of cuts."""

from __future__ import annotations

import json
import math
import tempfile
from collections.abc import Sequence
from enum import StrEnum
from pathlib import Path
from urllib.parse import quote

import pyarrow as pa
import pyarrow.csv as pacsv
import pyarrow.parquet as pq
from fastapi import Response

from pipeline.clips.exports import ExportForm, export
from pipeline.library.games import Library
from pipeline.settings import Settings
from pipeline.tags import Reel, Tag


class TableForm(StrEnum):
    """How a table of hits can be written."""

    CSV = "csv"
    JSON = "json"
    PARQUET = "parquet"


CUTS = {
    ExportForm.EDL: "Cuts for a cutting program (EDL)",
    ExportForm.OTIO: "Cuts for a cutting program (OTIO)",
    ExportForm.WEBVTT: "Chapters (WebVTT)",
}
"""Lists of cuts, in words."""


def table_bytes(table: pa.Table, form: TableForm) -> bytes:
    """A table of hits as a file's content; unknown is empty, null in JSON."""
    sink = pa.BufferOutputStream()
    if form is TableForm.CSV:
        pacsv.write_csv(table, sink)
    elif form is TableForm.PARQUET:
        pq.write_table(table, sink)
    else:
        rows = [{name: _plain(value) for name, value in row.items()} for row in table.to_pylist()]
        return json.dumps(rows, ensure_ascii=False, allow_nan=False).encode()
    return bytes(sink.getvalue())


def _plain(value: object) -> object:
    return None if isinstance(value, float) and not math.isfinite(value) else value


def cuts_response(
    library: Library, tags: Sequence[Tag], form: ExportForm, stem: str, settings: Settings, reel: Reel | None = None
) -> Response:
    """A list of cuts to download."""
    with tempfile.TemporaryDirectory() as folder:
        out = export(library, tags, form, Path(folder) / f"{stem}.{form.value}", settings, reel=reel)
        return download(out.read_bytes(), out.name)


def download(data: bytes, name: str) -> Response:
    """A file for the browser to keep."""
    headers = {"Content-Disposition": f"attachment; filename*=UTF-8''{quote(name)}"}
    return Response(data, media_type="application/octet-stream", headers=headers)
