"""The set library: every set with its drawings, its text, its points of emphasis, how often it was found."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path

import pyarrow.parquet as pq
from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse

from pipeline.review.set_view import Found, figure_svg, found_sets, set_named, set_page
from pipeline.review.site import Site, page, site
from pipeline.sets.definition import SetDefinition
from pipeline.sets.tables import SET_CANDIDATES
from pipeline.tags import Family

router = APIRouter()


@router.get("/sets")
def sets(request: Request) -> HTMLResponse:
    """Every set of the library."""
    own = site(request)
    return page(request, "sets.html", sets=_definitions(own), found=_found(own))


@router.get("/sets/{name}")
def one_set(request: Request, name: str) -> HTMLResponse:
    """One set."""
    own = site(request)
    definition = set_named(name, _definitions(own))
    text = next((one.text for one in own.settings.set_library.files if one.name.endswith(f"{name}.set")), "")
    return page(
        request, "set.html", set=set_page(definition), text=text, found=_found(own).get(name), sets=_definitions(own)
    )


@router.get("/sets/{name}/drawings/{number}.svg")
def drawing(request: Request, name: str, number: int) -> Response:
    """One drawing of a set."""
    definition = set_named(name, _definitions(site(request)))
    return Response(figure_svg(definition, number), media_type="image/svg+xml")


def _definitions(own: Site) -> tuple[SetDefinition, ...]:
    return own.settings.set_library.definitions


def _found(own: Site) -> Mapping[str, Found]:
    paths = [SET_CANDIDATES.path(game.tables) for game in own.library.games()]
    counted = [_counted(path, path.stat().st_mtime_ns) for path in paths if path.is_file()]
    said = {(kind, state): count for (family, kind, state), count in own.store.counts().items() if family is Family.SET}
    return found_sets(counted, said)


@lru_cache(maxsize=2048)
def _counted(path: Path, _when: int) -> tuple[tuple[str, bool, int], ...]:
    """How often a game has each set, whole or not; counted once for each run of it."""
    table = pq.read_table(path, columns=["kind", "complete"])
    pairs = Counter(zip(table["kind"].to_pylist(), table["complete"].to_pylist(), strict=True))
    return tuple((kind, bool(whole), count) for (kind, whole), count in pairs.items())
