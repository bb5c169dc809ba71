"""How right every recogniser has been, as staff judged."""

from __future__ import annotations

import math

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse

from pipeline.clips.titles import title_of
from pipeline.errors import LibraryError
from pipeline.review.site import page, site
from pipeline.tags import Family
from pipeline.tags.precision_telling import calibration_plot, told
from pipeline.tags.ranking import LEAST_DECIDED, precision

router = APIRouter()


@router.get("/precision")
def precision_page(request: Request) -> HTMLResponse:
    """Every recogniser of which something was decided."""
    own = site(request)
    kinds = precision(own.store.decisions())
    return page(
        request,
        "precision.html",
        kinds=[(kind, title_of(kind.kind, own.settings)) for kind in kinds],
        told=told,
        known=math.isfinite,
        least=LEAST_DECIDED,
        undecided=len([tag for tag in own.store.tags() if tag.decided_by is None]),
    )


@router.get("/precision/{family}/{kind}.svg")
def plot(request: Request, family: Family, kind: str) -> Response:
    """A recogniser's calibration plot."""
    decisions = [one for one in site(request).store.decisions() if (one.family, one.kind) == (family, kind)]
    found = next(iter(precision(decisions)), None)
    if found is None or not found.bins:
        raise LibraryError(f"Nothing of '{kind}' was confirmed or rejected yet, so there is no plot of it.")
    return Response(calibration_plot(found), media_type="image/svg+xml")
