"""What every page of the site stands on: the library, who asks, and how a page is put together."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from fastapi import Request
from fastapi.responses import HTMLResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined, select_autoescape

from pipeline.library.games import Game, Library
from pipeline.review.access import Access
from pipeline.review.jobs import Jobs, Progress
from pipeline.review.limits import Limit
from pipeline.review.sessions import Session
from pipeline.settings import Settings
from pipeline.tags import TagStore

HERE = Path(__file__).parent
STATIC = HERE / "static"

Rerun = Callable[[Game, Progress], None]
"""Runs a game's film again and tells how far it is; called in a thread of its own."""


@dataclass(frozen=True, slots=True)
class Entry:
    """A place that the navigation leads to.

    Attributes
    ----------
    path : str
        Where it is; pages below it belong to it.
    word : str
        What it is called.
    """

    path: str
    word: str


NAV: tuple[Entry, ...] = (
    Entry("/", "The night"),
    Entry("/queue", "Decide"),
    Entry("/search", "Search"),
    Entry("/reels", "Reels"),
    Entry("/compare", "Compare"),
    Entry("/sets", "Sets"),
    Entry("/court", "Court"),
    Entry("/precision", "Precision"),
    Entry("/reports", "Reports"),
    Entry("/settings", "Settings"),
)
"""The navigation, in order."""


@dataclass(frozen=True, slots=True, eq=False)
class Site:
    """What the pages of one running server share.

    Attributes
    ----------
    library : Library
    store : TagStore
        Opened once, used by all requests.
    settings : Settings
    access : Access
        Who may come in.
    rerun : callable or None
        Runs a game again; None where the server was started without it.
    logins : Limit
        How often one address or name may try to log in.
    """

    library: Library
    store: TagStore
    settings: Settings
    access: Access
    rerun: Rerun | None
    jobs: Jobs
    logins: Limit


def site(request: Request) -> Site:
    """The site that a request is for."""
    found = request.app.state.site
    assert isinstance(found, Site)
    return found


def store(request: Request) -> TagStore:
    """The library's tag store."""
    return site(request).store


def session(request: Request) -> Session:
    """The session that a request belongs to."""
    found = request.state.session
    assert isinstance(found, Session)
    return found


def who(request: Request) -> str:
    """The name of the person who asks, as it goes into the history."""
    return session(request).who


def files_state(library: Library, *further: str) -> tuple[tuple[str, int], ...]:
    """What a library's files were when they were looked at: another value when a game was run or its file edited.

    Parameters
    ----------
    library : Library
    *further : str
        Patterns of other files that matter, below the library.
    """
    files = [
        path for pattern in ("games/*/state.json", "games/*/game.toml", *further) for path in library.root.glob(pattern)
    ]
    return tuple(sorted((str(path), path.stat().st_mtime_ns) for path in files))


def page(request: Request, template: str, *, status: int = 200, **context: Any) -> HTMLResponse:
    """A page from a template that extends ``layout.html``.

    Parameters
    ----------
    request : Request
    template : str
        File in ``templates/``.
    status : int
        HTTP status.
    **context
        What the template shows.
    """
    own = session(request)
    here = request.url.path
    given = {
        "user": own.who,
        "logged_in": own.logged_in,
        "csrf_token": site(request).access.sessions.token(own),
        "nav": NAV,
        "here": max((e.path for e in NAV if _below(here, e.path)), key=len, default=""),
    }
    return HTMLResponse(_templates().get_template(template).render(given | context), status_code=status)


def _below(path: str, top: str) -> bool:
    return path == top or (top != "/" and path.startswith(f"{top}/"))


@cache
def _templates() -> Environment:
    return Environment(
        loader=FileSystemLoader(HERE / "templates"),
        autoescape=select_autoescape(default=True, default_for_string=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
