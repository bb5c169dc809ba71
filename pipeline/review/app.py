"""The app: routers, safety and errors put together."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from fastapi import APIRouter, Depends, FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import Response
from fastapi.staticfiles import StaticFiles
from starlette.exceptions import HTTPException

from pipeline.errors import ElbowroomError, LibraryError, StoreError
from pipeline.library.games import Library
from pipeline.review import (
    comparing,
    drawings,
    film_page,
    floor_fixes,
    night_page,
    people,
    playbook,
    precision_page,
    queue_page,
    reels,
    report_pages,
    searching,
    setting_list,
    tag_answers,
)
from pipeline.review.access import Access
from pipeline.review.jobs import Jobs
from pipeline.review.limits import Limit
from pipeline.review.safety import Safety, checked_token, refusal_page
from pipeline.review.site import STATIC, Rerun, Site
from pipeline.settings import Settings

ROUTERS: tuple[APIRouter, ...] = (
    night_page.router,
    queue_page.router,
    tag_answers.router,
    film_page.router,
    people.router,
    searching.router,
    reels.router,
    drawings.router,
    comparing.router,
    playbook.router,
    floor_fixes.router,
    precision_page.router,
    report_pages.router,
    setting_list.router,
)
"""Every page."""


def create_app(library: Library, settings: Settings, *, access: Access, rerun: Rerun | None = None) -> FastAPI:
    """The site of a library.

    Parameters
    ----------
    library : Library
        One that exists.
    settings : Settings
    access : Access
        From :func:`~pipeline.review.access.access_for`.
    rerun : callable, optional
        Runs a game's film again, for corrections of the floor.
    """
    store = library.must_exist().tag_store()
    jobs = Jobs()

    @asynccontextmanager
    async def life(_: FastAPI) -> AsyncIterator[None]:
        yield
        jobs.close()
        store.close()

    app = FastAPI(
        title="Elbowroom",
        openapi_url=None,
        docs_url=None,
        redoc_url=None,
        lifespan=life,
        dependencies=[Depends(checked_token)],
        exception_handlers={
            ElbowroomError: _refused,
            HTTPException: _http,
            RequestValidationError: _not_understood,
        },
    )
    app.state.site = Site(library, store, settings, access, rerun, jobs, Limit(settings.review.logins_per_minute))
    for router in ROUTERS:
        app.include_router(router)
    app.mount("/static", StaticFiles(directory=STATIC))
    app.add_middleware(Safety, served=app.state.site)
    return app


async def _refused(request: Request, error: Exception) -> Response:
    status = 503 if isinstance(error, StoreError) else 404 if isinstance(error, LibraryError) else 400
    return refusal_page(request, status, str(error))


async def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    told = {404: "There is no such page here.", 405: "That cannot be done with this page."}
    standard = error.detail in ("Not Found", "Method Not Allowed")
    answer = refusal_page(request, error.status_code, told[error.status_code] if standard else str(error.detail))
    answer.headers.update(error.headers or {})
    return answer


async def _not_understood(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    first = error.errors()[0]
    name = first["loc"][-1]
    return refusal_page(request, 422, f"'{name}' was not understood: {first['msg'].lower()}; go back and change it.")
