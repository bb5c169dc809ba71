"""A tag on a half court: printed frames or moving, to look at or to keep; and a reel's clips as a handout."""

from __future__ import annotations

import tempfile
from pathlib import Path
from types import MappingProxyType

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse

from pipeline.clips.half_court import DiagramForm, diagram
from pipeline.review.exporting import download
from pipeline.review.reels import lines_of
from pipeline.review.site import page, site

router = APIRouter()

SHOWN = MappingProxyType({DiagramForm.SVG: "image/svg+xml", DiagramForm.PNG: "image/png"})
"""Forms that a page shows; the others are given to keep."""


@router.get("/drawings/{tag}.{form}")
def drawing(request: Request, tag: int, form: DiagramForm) -> Response:
    """What happened in a tag, on a half court."""
    own = site(request)
    chosen = own.store.tag(tag)
    with tempfile.TemporaryDirectory() as folder:
        out = diagram(own.library, chosen, form, Path(folder) / f"tag-{tag}.{form.value}", own.settings)
        data = out.read_bytes()
    if form in SHOWN:
        return Response(data, media_type=SHOWN[form], headers={"Cache-Control": "private, max-age=60"})
    return download(data, f"tag-{tag}.{form.value}")


@router.get("/reels/{number}/handout")
def handout(request: Request, number: int) -> HTMLResponse:
    """A reel's clips on paper: titles, notes, and what happened, drawn."""
    own = site(request)
    reel = own.store.reel(number)
    return page(request, "handout.html", reel=reel, lines=lines_of(own, reel))
