"""Comparison pages: two teams, games, periods or stretches of a season on one set, fault or action."""

from __future__ import annotations

import base64
from collections.abc import Mapping
from dataclasses import asdict
from functools import lru_cache
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from pipeline.errors import ElbowroomError
from pipeline.find.names import known_kinds
from pipeline.reports.comparison import compare_set
from pipeline.reports.document import Chart
from pipeline.reports.point_charts import two_sides_chart
from pipeline.reports.sides import Counted, side
from pipeline.review.compare_view import SideAsked, compare_kind, how_often, kind_named
from pipeline.review.searching import FAMILIES, choices
from pipeline.review.site import Site, files_state, page, site
from pipeline.review.two_sides import Short, TwoSides
from pipeline.tags import Family

router = APIRouter()

KEPT = 12
"""Comparisons that are kept."""


@router.get("/compare")
def compare(
    request: Request,
    asked: TwoSides,
    what: Short = "",
    count: Counted = Counted.WITH_CANDIDATES,
) -> HTMLResponse:
    """Choose two sides, and see them side by side."""
    own = site(request)
    context: dict[str, Any] = {
        "set_comparison": None,
        "kind_comparison": None,
        "charts": {},
        "wrong": "",
        "status": 200,
    }
    if what:
        try:
            state = (files_state(own.library), own.store.last_line())
            context |= _compared(own, what, asked, count, state)
        except ElbowroomError as error:
            context |= {"wrong": str(error), "status": 400}
    kinds = known_kinds(own.settings)
    return page(
        request,
        "compare.html",
        what=what,
        asked=asked,
        count=count,
        counts=list(Counted),
        kinds=[(family, [kind for kind in kinds if kind.family is family]) for family in FAMILIES],
        choices=choices(own),
        report_query=_report_query(what, asked, count),
        **context,
    )


@lru_cache(maxsize=KEPT)
def _compared(
    own: Site,
    what: str,
    asked: tuple[SideAsked, SideAsked],
    count: Counted,
    state: object,  # noqa: ARG001 - what it was worked out from: files of the games, newest line of the tags
) -> Mapping[str, Any]:
    """What a comparison shows, worked out once for each state of the library; over a season it takes seconds."""
    kind = kind_named(what, own.settings)
    sides = (side(asked[0].text(), own.settings), side(asked[1].text(), own.settings))
    if kind.family is not Family.SET:
        told = compare_kind(own.library, kind, sides, count, own.settings)
        return {"kind_comparison": told, "charts": {one.name: picture(one.chart) for one in told.measures if one.chart}}
    compared = compare_set(own.library, kind.name, *sides, own.settings, count)
    labels = (sides[0].label, sides[1].label)
    drawn = {point.name: two_sides_chart(point.facts, labels, compared.definition) for point in compared.points}
    often = how_often(own.library, kind, sides, count, own.settings)
    return {
        "set_comparison": compared,
        "often": often,
        "charts": {name: picture(chart) for name, chart in drawn.items() if chart},
    }


def _report_query(what: str, asked: tuple[SideAsked, SideAsked], count: Counted) -> str:
    """What the report of the same comparison is asked with."""
    told = {"name": what.partition(":")[2], "count": count.value}
    for lead, one in zip(("one", "other"), asked, strict=True):
        told |= {f"{lead}_{key}": value for key, value in asdict(one).items()}
    return urlencode({key: value for key, value in told.items() if value})


def picture(chart: Chart) -> tuple[str, str]:
    """A chart as an image's source, and what it shows in words."""
    return f"data:image/svg+xml;base64,{base64.b64encode(chart.svg.encode()).decode()}", chart.alt
