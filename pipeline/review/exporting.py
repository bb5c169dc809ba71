"""Files that the pages hand out: lists of cuts of tags and reels, and anything else to download."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from pathlib import Path
from urllib.parse import quote

from fastapi import Response

from pipeline.clips.exports import ExportForm, export
from pipeline.library.games import Library
from pipeline.settings import Settings
from pipeline.tags import Reel, Tag

CUTS = {
    ExportForm.EDL: "Cuts for a cutting program (EDL)",
    ExportForm.OTIO: "Cuts for a cutting program (OTIO)",
    ExportForm.WEBVTT: "Chapters (WebVTT)",
}
"""Lists of cuts, in words."""


ENDINGS = {ExportForm.WEBVTT: "vtt"}
"""Of files, where they are not the form's name."""


def cuts_response(
    library: Library, tags: Sequence[Tag], form: ExportForm, stem: str, settings: Settings, reel: Reel | None = None
) -> Response:
    """A list of cuts to download."""
    with tempfile.TemporaryDirectory() as folder:
        out = export(library, tags, form, Path(folder) / f"{stem}.{ENDINGS.get(form, form.value)}", settings, reel=reel)
        return download(out.read_bytes(), out.name)


def download(data: bytes, name: str) -> Response:
    """A file for the browser to keep."""
    headers = {"Content-Disposition": f"attachment; filename*=UTF-8''{quote(name)}"}
    return Response(data, media_type="application/octet-stream", headers=headers)
