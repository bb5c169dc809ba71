"""The first page: what ran in the night, what failed, what was seen, and what is left to decide."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import Response

from pipeline.review.site import page, site

router = APIRouter()


@router.get("/")
def night(request: Request) -> Response:
    """The night."""
    return page(request, "night.html", games=[game.name for game in site(request).library.games()])
