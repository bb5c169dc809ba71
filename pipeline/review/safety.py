"""What every request passes through before a page sees it, and every answer on its way out.

In order: the host name must be one of ours (so that no foreign name can be pointed at this machine), a request that
changes something must come from our own pages, nothing too large is read, the session is looked up, nobody gets past
a closed door, and nobody writes too often. Every answer carries a strict content security policy.
"""

from __future__ import annotations

import logging
import math
from urllib.parse import quote, urlsplit

from fastapi import HTTPException, Request
from fastapi.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from pipeline.errors import LibraryError
from pipeline.review.access import Door, Transport, host_of
from pipeline.review.limits import Limit
from pipeline.review.sessions import COOKIE, Session
from pipeline.review.site import Site, page, site

SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
NO_LOGIN = ("/static/",)
"""What may be seen without a login: nothing of the library."""
NO_LOGIN_PAGES = frozenset({"/login", "/about"})

FORMS = ("application/x-www-form-urlencoded", "multipart/form-data")

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; media-src 'self'; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",  # 'no-referrer' would make browsers hide the origin of our own forms
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
}

_log = logging.getLogger(__name__)


class Safety:
    """The middleware; see the module's text.

    Parameters
    ----------
    app : ASGI application
    served : Site
    """

    def __init__(self, app: ASGIApp, served: Site) -> None:
        self._app, self._site = app, served
        self._writes = Limit(served.settings.review.writes_per_minute)
        self._most_bytes = round(served.settings.review.upload_mb * 1e6)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            raise RuntimeError(f"The site speaks HTTP, not {scope['type']}.")
        state = scope.setdefault("state", {})
        begun = False
        counted = _Counted(receive, self._most_bytes)

        async def answer(message: Message) -> None:
            nonlocal begun
            if message["type"] == "http.response.start":
                if counted.exceeded:
                    raise _TooLargeError
                begun = True
                self._finish(MutableHeaders(scope=message), scope)
            await send(message)

        try:
            refusal = self._refusal(scope, state)
            await (refusal or self._app)(scope, counted.receive, answer)
        except _TooLargeError:
            if begun:
                raise
            counted.exceeded = False
            await _told(scope, 413, self._too_large())(scope, receive, answer)
        except Exception:
            _log.exception("A request failed: %s %s", scope["method"], scope["path"])
            if begun:
                raise
            told = "Something broke in the program; the terminal in which it runs says what."
            await _told(scope, 500, told)(scope, receive, answer)

    def _refusal(self, scope: Scope, state: dict[str, object]) -> Response | None:
        """Why the request goes no further, as an answer; None when it may."""
        headers, access = Headers(scope=scope), self._site.access
        hosts = headers.getlist("host")
        host = host_of(hosts[0]) if len(hosts) == 1 else ""
        if not host or (access.host_names and host not in access.host_names):
            return _told(scope, 421, "This site is not served under that name; use the address that was printed.")
        changes = scope["method"] not in SAFE
        if changes and not _from_here(headers, hosts[0]):
            return _told(scope, 403, "A change must come from this site's own pages; open the page again.")
        length = headers.get("content-length", "0")
        if not length.isdigit() or int(length) > self._most_bytes:
            return _told(scope, 413, self._too_large())
        try:
            session = self._session(headers)
        except LibraryError as error:
            return _told(scope, 503, str(error))
        path = scope["path"]
        if access.door is Door.LOGIN and not (session is not None and session.logged_in):
            if not (path.startswith(NO_LOGIN) or path in NO_LOGIN_PAGES):
                if _wants_json(scope):
                    return _told(scope, 401, "Your login has ended; log in again.")
                back = quote(path + (f"?{scope['query_string'].decode('latin-1')}" if scope["query_string"] else ""))
                return RedirectResponse(f"/login?back={back}" if not changes else "/login", 303)
            known = session or access.sessions.begin("")
        else:
            known = session or access.sessions.begin(access.visitor)
        used = access.sessions.used(known)
        state["session"], state["new_cookie"] = used or known, session is None or used is not None
        session = known
        wait_s = self._writes.wait_s(session.who if session.logged_in else session.number) if changes else 0.0
        if wait_s:
            refused = _told(scope, 429, "Too many changes at once; wait a moment.")
            refused.headers["Retry-After"] = str(math.ceil(wait_s))
            return refused
        return None

    def _session(self, headers: Headers) -> Session | None:
        """The session that the request's cookie stands for, if it is good for this door.

        Behind a closed door somebody may be known by a session without a login, who is on the way to it.
        """
        access = self._site.access
        cookie = _cookie(headers)
        session = access.sessions.read(cookie) if cookie else None
        if session is None or access.door is Door.OPEN:
            return session
        if not session.logged_in:
            return None if session.who else session
        told = access.passwords.hashes().get(session.who)
        return session if told is not None and access.sessions.proof(told) == session.proof else None

    def _finish(self, headers: MutableHeaders, scope: Scope) -> None:
        for name, value in HEADERS.items():
            headers.setdefault(name, value)
        if scope["path"].startswith("/static/"):
            headers.setdefault("Cache-Control", "no-cache")
        headers.setdefault("Cache-Control", "private, no-store")
        tls = self._site.access.transport is Transport.TLS
        if tls:
            headers["Strict-Transport-Security"] = "max-age=31536000"
        state = scope["state"]
        if state.get("new_cookie") and not scope["path"].startswith("/static/"):
            value = self._site.access.sessions.cookie(state["session"])
            secure = "; Secure" if tls else ""
            headers.append("Set-Cookie", f"{COOKIE}={value}; Path=/; HttpOnly; SameSite=Lax{secure}")

    def _too_large(self) -> str:
        return f"The request is larger than {self._most_bytes / 1e6:g} MB; send less."


async def checked_token(request: Request) -> None:
    """Refuse a change whose token is not the session's; every route depends on this."""
    if request.method in SAFE:
        return
    told = request.headers.get("x-csrf-token", "")
    if not told and request.headers.get("content-type", "").startswith(FORMS):
        told = str((await request.form()).get("csrf", ""))
    if not site(request).access.sessions.is_token(request.state.session, told):
        raise HTTPException(403, "This page is too old to change anything; load it again.")


def set_session(request: Request, session: Session) -> None:
    """Give the browser another session with the answer."""
    request.state.session = session
    request.state.new_cookie = True


def refusal_page(request: Request, status: int, sentence: str) -> Response:
    """An error as one sentence: JSON for programs, a page for people."""
    if _wants_json(request.scope):
        return JSONResponse({"error": sentence}, status)
    return page(request, "error.html", status=status, sentence=sentence)


def _told(scope: Scope, status: int, sentence: str) -> Response:
    """An error before there is a session."""
    if _wants_json(scope):
        return JSONResponse({"error": sentence}, status)
    return PlainTextResponse(sentence + "\n", status)


def _wants_json(scope: Scope) -> bool:
    return bool(scope["path"].startswith("/api/")) or "application/json" in Headers(scope=scope).get("accept", "")


def _from_here(headers: Headers, host: str) -> bool:
    """Whether a browser says that a request comes from a page of ours; what is no browser says nothing."""
    if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return False
    origins = headers.getlist("origin")
    return not origins or (len(origins) == 1 and urlsplit(origins[0]).netloc.lower() == host.lower())


def _cookie(headers: Headers) -> str:
    for line in headers.getlist("cookie"):
        for part in line.split(";"):
            name, _, value = part.strip().partition("=")
            if name == COOKIE:
                return value
    return ""


class _TooLargeError(Exception):
    """More was sent than is read."""


class _Counted:
    """Counts what is received, for requests that do not announce their length."""

    def __init__(self, receive: Receive, most: int) -> None:
        self._receive, self._most, self._seen = receive, most, 0
        self.exceeded = False

    async def receive(self) -> Message:
        message = await self._receive()
        self._seen += len(message.get("body", b""))
        if self._seen > self._most:
            self.exceeded = True
            raise _TooLargeError
        return message
