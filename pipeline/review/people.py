"""Login, logout, and what an open door's visitor wants to be called."""

from __future__ import annotations

import math
from typing import Annotated

from fastapi import APIRouter, Form, HTTPException, Request
from fastapi.responses import RedirectResponse, Response

from pipeline.errors import SettingsError
from pipeline.review.access import Door
from pipeline.review.passwords import check_name
from pipeline.review.safety import set_session
from pipeline.review.site import page, session, site

router = APIRouter()


@router.get("/login")
def login_page(request: Request, back: str = "/") -> Response:
    """The form."""
    if site(request).access.door is Door.OPEN:
        return RedirectResponse("/me", 303)
    return page(request, "login.html", back=_own(back), wrong="")


@router.post("/login")
def login(
    request: Request, name: Annotated[str, Form()], password: Annotated[str, Form()], back: Annotated[str, Form()] = "/"
) -> Response:
    """Check a name and its password."""
    access = site(request).access
    if access.door is Door.OPEN:
        return RedirectResponse("/me", 303)
    limit = site(request).logins
    address = request.client.host if request.client else ""
    wait_s = max(limit.wait_s(("address", address)), limit.wait_s(("name", name)))
    if wait_s:
        raise HTTPException(
            429, f"Too many tries; wait {math.ceil(wait_s)} seconds.", {"Retry-After": str(math.ceil(wait_s))}
        )
    told = access.passwords.check(name, password)
    if told is None:
        return page(request, "login.html", status=401, back=_own(back), wrong="Name and password do not match.")
    set_session(request, access.sessions.begin(name, proof=access.sessions.proof(told)))
    return RedirectResponse(_own(back), 303)


@router.post("/logout")
def logout(request: Request) -> Response:
    """End the session."""
    access = site(request).access
    access.sessions.end(session(request))
    set_session(request, access.sessions.begin("" if access.door is Door.LOGIN else access.visitor))
    return RedirectResponse("/login" if access.door is Door.LOGIN else "/", 303)


@router.get("/me")
def me_page(request: Request) -> Response:
    """Who decisions are written down for."""
    return page(request, "me.html", wrong="")


@router.post("/me")
def me(request: Request, name: Annotated[str, Form()]) -> Response:
    """Say a name, where nobody logs in."""
    access = site(request).access
    if access.door is Door.LOGIN:
        raise HTTPException(403, "Your name is the one that you logged in with.")
    try:
        told = check_name(name)
    except SettingsError as error:
        return page(request, "me.html", status=400, wrong=str(error))
    access.sessions.end(session(request))
    set_session(request, access.sessions.begin(told))
    return RedirectResponse("/", 303)


@router.get("/about")
def about(request: Request) -> Response:
    """Rights, minors, and what tags are for."""
    return page(request, "about.html")


def _own(back: str) -> str:
    """A path of this site to go back to; the first page for anything else."""
    return back if back.startswith("/") and not back.startswith(("//", "/\\")) and back.isprintable() else "/"
