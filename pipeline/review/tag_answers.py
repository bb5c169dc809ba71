"""What the pages ask and tell of single tags: cards, what the player draws, decisions and other changes."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any, Literal

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response
from pydantic import BaseModel, ConfigDict, Field

from pipeline.review.cards import card_of, line_of, standing_of
from pipeline.review.play import play_of
from pipeline.review.site import session, site, store, who
from pipeline.tags import Deed, State, Tag, TagConflict

router = APIRouter(prefix="/api")

LONGEST_TEXT = 2000


class _Told(BaseModel):
    model_config = ConfigDict(extra="forbid")
    revision: int | None = Field(None, ge=0)


class Verdict(_Told):
    """A decision, with the revision of the tag that was looked at."""

    verdict: Literal["confirmed", "rejected", "unsure"]
    text: str = Field("", max_length=LONGEST_TEXT)


class Interval(_Told):
    """Another beginning and end."""

    from_s: float = Field(ge=0, le=1e6, allow_inf_nan=False)
    to_s: float = Field(ge=0, le=1e6, allow_inf_nan=False)


class Players(_Told):
    """Other players in the tag's roles, the main one first."""

    actors: list[tuple[str, int]] = Field(max_length=30)


class StepBack(_Told):
    """Take the last decision or change back."""


class Text(_Told):
    """A note."""

    text: str = Field(max_length=LONGEST_TEXT)


class Labels(BaseModel):
    """Labels to put on and take off."""

    model_config = ConfigDict(extra="forbid")
    add: list[str] = Field([], max_length=20)
    remove: list[str] = Field([], max_length=20)


@router.get("/me")
def me(request: Request) -> dict[str, Any]:
    """Who asks, and what their changes must carry."""
    own = session(request)
    return {"who": own.who, "token": site(request).access.sessions.token(own)}


@router.get("/tags/{number}")
def card(request: Request, number: int) -> dict[str, Any]:
    """A tag with its evidence and history."""
    return _card(request, store(request).tag(number))


@router.get("/tags/{number}/play.json")
def play(request: Request, number: int) -> JSONResponse:
    """What the player draws."""
    here = site(request)
    return JSONResponse(play_of(here.library, here.store.tag(number), here.settings))


@router.post("/tags/{number}/decide")
def decide(request: Request, number: int, told: Verdict) -> Response:
    """Confirm, reject, or say that one cannot tell."""
    try:
        tag = store(request).decide(
            number, State(told.verdict), who=who(request), when=_now(), text=told.text, revision=told.revision
        )
    except TagConflict as conflict:
        return _conflict(request, conflict)
    return _acknowledged(request, tag)


@router.post("/tags/{number}/undo")
def undo(request: Request, number: int, told: StepBack) -> Response:
    """Take back the last decision or change."""
    try:
        tag = store(request).undo(number, who=who(request), when=_now(), revision=told.revision)
    except TagConflict as conflict:
        if _is_my_own_again(request, conflict, told.revision, Deed.UNDONE):
            return _acknowledged(request, conflict.current)
        return _conflict(request, conflict)
    return _acknowledged(request, tag)


@router.post("/tags/{number}/interval")
def interval(request: Request, number: int, told: Interval) -> Response:
    """Move beginning and end."""
    try:
        tag = store(request).edit(
            number, who=who(request), when=_now(), start_s=told.from_s, end_s=told.to_s, revision=told.revision
        )
    except TagConflict as conflict:
        same = (conflict.current.start_s, conflict.current.end_s) == (told.from_s, told.to_s)
        if same and _is_my_own_again(request, conflict, told.revision, Deed.EDITED):
            return _acknowledged(request, conflict.current)
        return _conflict(request, conflict)
    return _acknowledged(request, tag)


@router.post("/tags/{number}/players")
def players(request: Request, number: int, told: Players) -> Response:
    """Put others into the tag's roles."""
    try:
        tag = store(request).edit(number, who=who(request), when=_now(), actors=told.actors, revision=told.revision)
    except TagConflict as conflict:
        same = list(conflict.current.actors) == [tuple(actor) for actor in told.actors]
        if same and _is_my_own_again(request, conflict, told.revision, Deed.EDITED):
            return _acknowledged(request, conflict.current)
        return _conflict(request, conflict)
    return _acknowledged(request, tag)


@router.post("/tags/{number}/note")
def note(request: Request, number: int, told: Text) -> Response:
    """Write the note; the one before stays in the history."""
    try:
        tag = store(request).note(number, told.text, who=who(request), when=_now(), revision=told.revision)
    except TagConflict as conflict:
        return _conflict(request, conflict)
    return _acknowledged(request, tag)


@router.post("/tags/{number}/label")
def label(request: Request, number: int, told: Labels) -> Response:
    """Put labels on and take them off; two people never hinder each other in that."""
    return _acknowledged(
        request, store(request).label(number, add=told.add, remove=told.remove, who=who(request), when=_now())
    )


def _now() -> datetime:
    return datetime.now(UTC)


def _card(request: Request, tag: Tag) -> dict[str, Any]:
    here = site(request)
    return card_of(here.library, here.store, tag, here.settings)


def _acknowledged(request: Request, tag: Tag) -> JSONResponse:
    """What is on the disk now: where the tag stands and its history."""
    history = [line_of(note) for note in store(request).history(tag.tag)]
    return JSONResponse(standing_of(tag) | {"history": history})


def _conflict(request: Request, conflict: TagConflict) -> JSONResponse:
    """Somebody else was there first: nothing was written; what they did."""
    last = None if conflict.note is None else line_of(conflict.note)
    history = [line_of(note) for note in store(request).history(conflict.current.tag)]
    told = standing_of(conflict.current) | {"history": history}
    return JSONResponse({"error": str(conflict), "current": told, "last": last}, 409)


def _is_my_own_again(request: Request, conflict: TagConflict, revision: int | None, deed: Deed) -> bool:
    """Whether the change that is in the way is the very one, sent again because its answer was lost."""
    last = conflict.note
    if last is None or revision is None or conflict.current.revision != revision + 1:
        return False
    return last.who == who(request) and last.deed == deed
