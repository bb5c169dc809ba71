"""The queue of what is left to decide, and the page of one tag; both are the same desk."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from pipeline.clips.titles import title_of
from pipeline.review.cards import clock
from pipeline.review.ranks import ranked
from pipeline.review.site import page, site
from pipeline.tags import Family, State, Tag

router = APIRouter()

LONGEST_QUEUE = 500
"""So many tags are listed at most; more come when these are done."""

STATES = (
    (State.CANDIDATE, "to decide"),
    (State.UNSURE, "unsure"),
    (State.CONFIRMED, "confirmed"),
    (State.REJECTED, "rejected"),
)
FAMILIES = ((Family.FAULT, "faults"), (Family.SET, "sets"), (Family.ACTION, "actions"))


@router.get("/queue")
def queue(
    request: Request,
    game: Annotated[str, Query(max_length=200)] = "",
    kind: Annotated[str, Query(max_length=100)] = "",
    family: Annotated[Family | None, Query()] = None,
    state: Annotated[State, Query()] = State.CANDIDATE,
) -> Response:
    """Tags in the order in which they are best decided."""
    here = site(request)
    everything = here.store.tags(state=state)
    chosen = [
        tag
        for tag in everything
        if game in ("", tag.game) and kind in ("", tag.candidate.kind) and family in (None, tag.candidate.family)
    ]
    listed = ranked(here.store, chosen)
    kinds = sorted({tag.candidate.kind for tag in everything} | ({kind} if kind else set()))
    return page(
        request,
        "queue.html",
        tags=[_line(tag, request) for tag in listed[:LONGEST_QUEUE]],
        total=len(listed),
        games=sorted({tag.game for tag in everything} | ({game} if game else set())),
        kinds=[(one, title_of(one, here.settings)) for one in kinds],
        states=STATES,
        families=FAMILIES,
        chosen={"game": game, "kind": kind, "family": family or "", "state": state},
        nudge_s=here.settings.review.nudge_s,
    )


@router.get("/tags/{number}")
def tag_page(request: Request, number: int) -> Response:
    """One tag."""
    here = site(request)
    (tag,) = ranked(here.store, [here.store.tag(number)])
    return page(
        request,
        "tag.html",
        tags=[_line(tag, request)],
        title=title_of(tag.candidate.kind, here.settings),
        reels=here.store.reels(),
        nudge_s=here.settings.review.nudge_s,
    )


def _line(tag: Tag, request: Request) -> dict[str, object]:
    """A tag in a list."""
    return {
        "tag": tag.tag,
        "game": tag.game,
        "title": title_of(tag.candidate.kind, site(request).settings),
        "at": clock(tag.candidate.t_s),
        "likely": "" if tag.probability is None else round(100 * tag.probability),
        "state": str(tag.state),
        "severity": tag.candidate.severity,
    }
