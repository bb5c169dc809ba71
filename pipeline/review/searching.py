"""Search pages: a query bar and a form that say the same, the answer, saved searches, export."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import RedirectResponse, Response
from starlette.datastructures import QueryParams

from pipeline.clips.exports import ExportForm
from pipeline.errors import ElbowroomError, LibraryError, SearchError
from pipeline.find import Column, Filters, Found, bar_text, columns, read_bar, search
from pipeline.find.names import SearchKind, known_kinds
from pipeline.find.telling import Form as TableForm
from pipeline.find.telling import as_bytes
from pipeline.review.exporting import CUTS, cuts_response, download
from pipeline.review.reel_view import with_tags
from pipeline.review.search_view import Hit, filters_of, form_of, hits
from pipeline.review.site import Site, page, site, who
from pipeline.tags import Family, State

router = APIRouter()

A_PAGE = 40
"""Hits on one page."""

TABLES = (TableForm.CSV, TableForm.JSON, TableForm.PARQUET)

FAMILIES = (Family.FAULT, Family.SET, Family.ACTION)

ASKED_APART = frozenset({"family", "kind", "game", "team", "period", "state", "tag", "event", "shot", "possession"})
"""Columns of every hit that the form asks for otherwise, or not at all."""


@router.get("/search")
def search_page(request: Request, q: str | None = None, start: Annotated[int, Query(ge=0, le=10**7)] = 0) -> Response:
    """The answer to a query, or the query that a form says."""
    own = site(request)
    if q is None and request.query_params:
        return RedirectResponse(_link(bar_text(filters_of(_lists(request.query_params)))), 303)
    text = (q or "").strip()
    wrong, status, found = "", 200, None
    filters = Filters()
    try:
        filters = read_bar(text, own.settings)
        found = (
            search(own.library, _up_to(filters, start + A_PAGE), own.settings) if text or own.library.games() else None
        )
    except ElbowroomError as error:
        wrong, status = str(error), 400
        filters = _readable(filters, own)
    kinds = known_kinds(own.settings)
    known = columns(own.settings, filters)
    return page(
        request,
        "search.html",
        status=status,
        q=text,
        wrong=wrong,
        form=form_of(filters),
        families=FAMILIES,
        everywhere=[c for c in known if not c.kinds and c.name not in ASKED_APART],
        measures=[c for c in known if c.kinds],
        choices=choices(own),
        dated=any(game.file().date for game in own.library.games()),
        found=found,
        lines=_page_of(own, found, filters, kinds, start) if found else [],
        start=start,
        before=_link(text, max(0, start - A_PAGE)) if start else "",
        after=_link(text, start + A_PAGE) if found and _listed(found, filters) > start + A_PAGE else "",
        saved=own.store.searches(),
        reels=own.store.reels(),
        exports=[(form, words, _export_link(text, form)) for form, words in _exports()],
        kinds_options={
            f.value: [(k.name, k.title[:1].upper() + k.title[1:]) for k in kinds if k.family is f] for f in Family
        },
        orders=_orders(filters, known),
    )


@router.post("/search/save")
def save_search(request: Request, name: Annotated[str, Form()], q: Annotated[str, Form()] = "") -> Response:
    """Keep a search under a name."""
    own = site(request)
    name = " ".join(name.split())
    if not name or len(name) > 80:
        raise SearchError("A saved search needs a name of 1 to 80 letters; go back and write one.")
    read_bar(q, own.settings)
    own.store.save_search(name, q, who=who(request), when=datetime.now(UTC))
    return RedirectResponse(_link(q), 303)


@router.post("/search/drop")
def drop_search(request: Request, name: Annotated[str, Form()], q: Annotated[str, Form()] = "") -> Response:
    """Forget a saved search."""
    site(request).store.drop_search(name)
    return RedirectResponse(_link(q), 303)


@router.post("/search/reel")
def into_reel(
    request: Request,
    tags: Annotated[list[int] | None, Form()] = None,
    reel: Annotated[str, Form()] = "",
    title: Annotated[str, Form()] = "",
) -> Response:
    """Put chosen hits into a reel, a new one where none is named."""
    own, now = site(request), datetime.now(UTC)
    if not tags:
        raise SearchError("No hit was chosen; go back and tick those that belong in the reel.")
    for tag in tags:
        own.store.tag(tag)
    if reel.isdigit():
        chosen = own.store.reel(int(reel))
    else:
        chosen = own.store.make_reel(" ".join(title.split())[:120] or "New reel", who=who(request), when=now)
    own.store.save_reel(with_tags(chosen, tags), who=who(request), when=now)
    return RedirectResponse(f"/reels/{chosen.reel}", 303)


@router.get("/search/export")
def export_search(request: Request, form: str, q: str = "") -> Response:
    """The whole answer as a file."""
    own = site(request)
    found = search(own.library, read_bar(q, own.settings), own.settings)
    if form in TABLES:
        return download(as_bytes(found.table, TableForm(form)), f"search.{form}")
    if form not in [cut.value for cut in CUTS]:
        known = ", ".join([*TABLES, *(cut.value for cut in CUTS)])
        raise SearchError(f"There is no export '{form}'; there are {known}.")
    numbers = [tag for tag in found.table["tag"].to_pylist() if tag is not None]
    if not numbers:
        raise LibraryError("None of these hits is a tag, and only tags can be cut; export them as a table.")
    by_number = {tag.tag: tag for tag in own.store.tags_of(numbers)}
    tags = [by_number[number] for number in numbers if number in by_number]
    return cuts_response(own.library, tags, ExportForm(form), "search", own.settings)


def _up_to(filters: Filters, rows: int) -> Filters:
    """The same search for the first rows alone; how many there are is counted all the same."""
    return replace(filters, limit=rows if filters.limit is None else min(rows, filters.limit))


def _listed(found: Found, filters: Filters) -> int:
    """How many hits the pages of the answer show together."""
    return found.total if filters.limit is None else min(found.total, filters.limit)


def _link(text: str, start: int = 0) -> str:
    asked: dict[str, str | int] = {"q": text}
    if start:
        asked["start"] = start
    return f"/search?{urlencode(asked)}"


def _export_link(text: str, form: str) -> str:
    return f"/search/export?{urlencode({'q': text, 'form': form})}"


def _lists(given: QueryParams) -> dict[str, list[str]]:
    return {key: given.getlist(key) for key in given}


def _readable(filters: Filters, own: Site) -> Filters:
    """Filters whose kinds exist, for the form beside an error; empty ones where they do not."""
    try:
        columns(own.settings, filters)
    except ElbowroomError:
        return Filters()
    return filters


def choices(own: Site) -> Mapping[str, list[tuple[str, str]]]:
    """What the form offers: value and words."""
    games, teams = [], {}
    for game in own.library.games():
        told = game.file()
        day = " ".join(part for part in (told.date, f"against {told.opponent}" if told.opponent else "") if part)
        games.append((game.name, f"{game.name} ({day})" if day else game.name))
        teams.update({team.name: team.name for team in (told.team_0, told.team_1) if team.name})
    return {
        "games": games,
        "teams": sorted(teams.items()),
        "periods": [(str(n), f"Period {n}") for n in range(1, 6)],
        "states": [(state.value, state.value) for state in State],
        "labels": [(label, label) for label in own.store.all_labels()],
    }


def _orders(filters: Filters, known: tuple[Column, ...]) -> list[tuple[str, str]]:
    """Orders that the form offers; that of the bar is among them."""
    own = [c for c in known if c.kinds and c.sort == "number"] if filters.names_kinds else []
    found = [("", "game and time"), ("probability desc", "most likely first"), ("score desc", "surest rule first")]
    for column in own:
        found += [(f"{column.name} desc", f"most: {column.meaning}"), (column.name, f"least: {column.meaning}")]
    if filters.order not in dict(found):
        found.append((filters.order, filters.order))
    return found


def _exports() -> list[tuple[str, str]]:
    tables = [(form.value, f"Every hit with its measures ({form.value.upper()})") for form in TABLES]
    return [*tables, *((form.value, words) for form, words in CUTS.items())]


def _page_of(own: Site, found: Found, filters: Filters, kinds: tuple[SearchKind, ...], start: int) -> list[Hit]:
    table = found.table.slice(start, A_PAGE)
    games = {game.name: game.file() for game in own.library.games() if game.name in table["game"].to_pylist()}
    return hits(table, {kind.name: kind for kind in kinds}, filters, games)
