"""The queue of what is left to decide, and the page of one tag; both are the same desk."""

from __future__ import annotations

from typing import Annotated

import pyarrow.compute as pc
from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from pipeline.clips.titles import title_of
from pipeline.find.kept_tags import kept_tag_rows
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
    waiting = kept_tag_rows(here.library, here.store, ("tag", "game", "kind", "family", "state", "probability"))
    waiting = waiting.filter(pc.equal(waiting["state"], state.value))
    chosen = waiting
    for name, value in (("game", game), ("kind", kind), ("family", "" if family is None else family.value)):
        chosen = chosen.filter(pc.equal(chosen[name], value)) if value else chosen
    ordered = chosen.sort_by([("probability", "descending"), ("tag", "ascending")])
    listed = ranked(here.store, here.store.tags_of(ordered["tag"][:LONGEST_QUEUE].to_pylist()))
    kinds = sorted({*pc.unique(waiting["kind"]).to_pylist(), *([kind] if kind else [])})
    return page(
        request,
        "queue.html",
        tags=[_line(tag, request) for tag in listed],
        total=ordered.num_rows,
        games=sorted({*pc.unique(waiting["game"]).to_pylist(), *([game] if game else [])}),
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
