"""The film in byte ranges (RFC 9110, section 14): whole, or the cut of a tag."""

from __future__ import annotations

import re

from fastapi import APIRouter, Request
from fastapi.responses import FileResponse

from pipeline.errors import LibraryError
from pipeline.review.film_file import ShownFilm, made, shown_film, whole_film
from pipeline.review.site import site

router = APIRouter(prefix="/film")

RANGES = re.compile(r"bytes=\s*(\d+-\d*|-\d+)(\s*,\s*(\d+-\d*|-\d+))*\s*")


@router.api_route("/games/{name}", methods=["GET", "HEAD"])
def film_of_game(request: Request, name: str) -> FileResponse:
    """A game's film, if browsers can play it."""
    here = site(request)
    shown = whole_film(here.library, here.library.game(name), here.settings)
    if shown is None:
        raise LibraryError(
            f"Browsers cannot play the film of game '{name}' as it is; its tags are shown in cuts, on their pages."
        )
    return _bytes_of(request, shown)


@router.api_route("/tags/{number}", methods=["GET", "HEAD"])
def cut_of_tag(request: Request, number: int) -> FileResponse:
    """A tag's stretch of film in a form that every browser plays; the first time it is cut, which takes seconds."""
    here = site(request)
    tag = here.store.tag(number)
    return _bytes_of(request, made(shown_film(here.library, tag, here.settings), here.library, tag, here.settings))


def _bytes_of(request: Request, shown: ShownFilm) -> FileResponse:
    """The file, or the part of it that is asked for; a range that is none is ignored, as the RFC says."""
    if not RANGES.fullmatch(request.headers.get("range", "bytes=0-")):
        request.scope["headers"] = [pair for pair in request.scope["headers"] if pair[0] != b"range"]
    return FileResponse(shown.path, media_type=shown.media_type, headers={"Cache-Control": "private, no-cache"})
