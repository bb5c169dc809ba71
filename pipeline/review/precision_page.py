"""How right every recogniser has been, as staff judged."""

from __future__ import annotations

import math
from functools import lru_cache

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse

from pipeline.clips.titles import title_of
from pipeline.errors import LibraryError
from pipeline.review.site import page, site
from pipeline.tags import Family, State, TagStore
from pipeline.tags.precision_telling import calibration_plot, told
from pipeline.tags.ranking import LEAST_DECIDED, KindPrecision, precision

router = APIRouter()


@router.get("/precision")
def precision_page(request: Request) -> HTMLResponse:
    """Every recogniser of which something was decided."""
    own = site(request)
    kinds = _precision(own.store, own.store.last_line())
    return page(
        request,
        "precision.html",
        kinds=[(kind, title_of(kind.kind, own.settings)) for kind in kinds],
        told=told,
        known=math.isfinite,
        least=LEAST_DECIDED,
        undecided=sum(n for (_, _, state), n in own.store.counts().items() if state is State.CANDIDATE),
    )


@router.get("/precision/{family}/{kind}.svg")
def plot(request: Request, family: Family, kind: str) -> Response:
    """A recogniser's calibration plot."""
    store = site(request).store
    kinds = _precision(store, store.last_line())
    found = next((one for one in kinds if (one.family, one.kind) == (family, kind)), None)
    if found is None or not found.bins:
        raise LibraryError(f"Nothing of '{kind}' was confirmed or rejected yet, so there is no plot of it.")
    return Response(calibration_plot(found), media_type="image/svg+xml")


@lru_cache(maxsize=2)
def _precision(store: TagStore, _line: int) -> tuple[KindPrecision, ...]:
    """What the decisions say, worked out once for each state of the store; ``_line`` is its newest line."""
    return precision(store.decisions())
