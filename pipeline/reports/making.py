"""From a library to a report's file: what the command line and the review pages call."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path

from pipeline.errors import SettingsError
from pipeline.library.games import Library
from pipeline.reports.compare_page import compare_page
from pipeline.reports.comparison import compare_set
from pipeline.reports.congestion import congestion
from pipeline.reports.congestion_page import congestion_page
from pipeline.reports.document import Document
from pipeline.reports.execution import execution_sheet
from pipeline.reports.moments import moments_of
from pipeline.reports.night_page import night_page
from pipeline.reports.night_summary import night_summary
from pipeline.reports.set_page import set_page
from pipeline.reports.sides import Counted, side
from pipeline.reports.trend import Per, trend
from pipeline.reports.trend_page import trend_page
from pipeline.reports.writing import check_out, write_report
from pipeline.settings import Settings


def report_set(library: Library, name: str, of: str, settings: Settings, counted: Counted, out: Path) -> Path:
    """Write a set's execution sheet, with pictures of its best and worst runs; ``of`` is a part of the games."""
    check_out(out)
    sheet = execution_sheet(library, name, side(of, settings), settings, counted)
    pictures = moments_of(library, (*sheet.best, *sheet.worst), settings)
    return _write(set_page(sheet, pictures), out)


def report_compare(
    library: Library, name: str, sides: tuple[str, str], settings: Settings, counted: Counted, out: Path
) -> Path:
    """Write two sides of the games on one set."""
    check_out(out)
    one, other = (side(text, settings) for text in sides)
    return _write(compare_page(compare_set(library, name, one, other, settings, counted)), out)


def report_congestion(library: Library, of: str, settings: Settings, out: Path) -> Path:
    """Write bodies in the paint by ball screen and by unit."""
    check_out(out)
    return _write(congestion_page(congestion(library, side(of, settings), settings)), out)


def report_night(library: Library, since: str | None, settings: Settings, out: Path) -> Path:
    """Write what the games came to that were run since a time (of this machine's clock, unless it says its zone)."""
    check_out(out)
    return _write(night_page(night_summary(library, settings, None if since is None else moment(since))), out)


def report_trend(
    library: Library, text: str, settings: Settings, *, measure: str | None, per: Per, counted: Counted, out: Path
) -> Path:
    """Write a count or a measure, game after game."""
    check_out(out)
    return _write(trend_page(trend(library, text, settings, measure=measure, per=per, counted=counted)), out)


def moment(text: str) -> datetime:
    """A time as somebody writes it; SettingsError where it is none."""
    try:
        when = datetime.fromisoformat(text)
    except ValueError:
        raise SettingsError(f"'{text}' is no time; write 2026-11-25 or 2026-11-25T18:00.") from None
    return when.astimezone(UTC)


def dated(document: Document, when: datetime) -> Document:
    """The report with the time at which it was made."""
    made = f"Made {when.astimezone(UTC):%Y-%m-%d %H:%M} UTC by elbowroom {version('elbowroom')}."
    return replace(document, footer=(*document.footer, made))


def _write(document: Document, out: Path) -> Path:
    now = datetime.now(UTC)
    return write_report(dated(document, now), out, now)
