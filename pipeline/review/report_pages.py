"""Reports from the pages: what can be made, with its choices, as a page of its own or as a PDF."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from enum import StrEnum
from pathlib import Path

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from pipeline.errors import SettingsError
from pipeline.find.names import known_kinds
from pipeline.reports.html import style_digest
from pipeline.reports.making import report_compare, report_congestion, report_night, report_set, report_trend
from pipeline.reports.sides import Counted
from pipeline.reports.trend import Per
from pipeline.review.compare_view import SideAsked
from pipeline.review.exporting import download
from pipeline.review.searching import FAMILIES, choices
from pipeline.review.site import Site, page, site
from pipeline.review.two_sides import Short, TwoSides

router = APIRouter()


class ReportForm(StrEnum):
    """How a report is given."""

    HTML = "html"
    PDF = "pdf"


@router.get("/reports")
def reports(request: Request) -> HTMLResponse:
    """What can be made."""
    own = site(request)
    kinds = known_kinds(own.settings)
    return page(
        request,
        "reports.html",
        sets=[(one.name, one.title) for one in own.settings.set_library.definitions],
        kinds=[(family, [kind for kind in kinds if kind.family is family]) for family in FAMILIES],
        choices=choices(own),
        counts=[(one.value, one.value) for one in Counted],
        pers=[(one.value, one.value) for one in Per],
        any_game=bool(own.library.games()),
    )


@router.get("/reports/set.{form}")
def set_report(
    request: Request,
    form: ReportForm,
    name: Short,
    team: Short = "",
    game: Short = "",
    count: Counted = Counted.CONFIRMED,
) -> Response:
    """A set's execution sheet."""
    own = site(request)
    of = SideAsked(team, game).text()
    return _made(
        own, form, f"{_stem(name)}-sheet", lambda out: report_set(own.library, name, of, own.settings, count, out)
    )


@router.get("/reports/compare.{form}")
def compare_report(
    request: Request,
    form: ReportForm,
    name: Short,
    asked: TwoSides,
    count: Counted = Counted.CONFIRMED,
) -> Response:
    """Two sides on a set."""
    own = site(request)
    sides = (asked[0].text(), asked[1].text())
    stem = f"{_stem(name)}-compared"
    return _made(own, form, stem, lambda out: report_compare(own.library, name, sides, own.settings, count, out))


@router.get("/reports/congestion.{form}")
def congestion_report(request: Request, form: ReportForm, team: Short = "", game: Short = "") -> Response:
    """Bodies in the paint by ball screen and by unit."""
    own = site(request)
    of = SideAsked(team, game).text()
    return _made(own, form, "congestion", lambda out: report_congestion(own.library, of, own.settings, out))


@router.get("/reports/night.{form}")
def night_report(request: Request, form: ReportForm, since: Short = "") -> Response:
    """What ran, since a time."""
    own = site(request)
    return _made(own, form, "night", lambda out: report_night(own.library, since or None, own.settings, out))


@router.get("/reports/trend.{form}")
def trend_report(
    request: Request,
    form: ReportForm,
    what: Short,
    team: Short = "",
    measure: Short = "",
    per: Per = Per.HUNDRED_POSSESSIONS,
    count: Counted = Counted.CONFIRMED,
) -> Response:
    """A count or a measure, game after game."""
    own = site(request)
    text = f"{what} {SideAsked(team).text()}".strip()

    def make(out: Path) -> Path:
        chosen = measure.strip() or None
        return report_trend(own.library, text, own.settings, measure=chosen, per=per, counted=count, out=out)

    return _made(own, form, "trend", make)


def _made(own: Site, form: ReportForm, stem: str, make: Callable[[Path], Path]) -> Response:
    """A report, shown as a page with the style that it brings along, or given as a PDF."""
    if not own.library.games():
        raise SettingsError("There is no game in this library yet, so there is nothing to report.")
    with tempfile.TemporaryDirectory() as folder:
        data = make(Path(folder) / f"{stem}.{form.value}").read_bytes()
    if form is ReportForm.PDF:
        return download(data, f"{stem}.pdf")
    policy = f"default-src 'none'; style-src '{style_digest()}'; img-src data:; base-uri 'none'; frame-ancestors 'none'"
    return HTMLResponse(data, headers={"Content-Security-Policy": policy})


def _stem(name: str) -> str:
    """A set's name as a part of a file's name."""
    return "".join(letter if letter.isascii() and letter.isalnum() else "-" for letter in name)[:60]
