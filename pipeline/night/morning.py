"""The page that a night leaves for the morning."""

from __future__ import annotations

from pathlib import Path

from pipeline.library.games import Library
from pipeline.library.nights import Night
from pipeline.reports.night_page import night_page
from pipeline.reports.night_summary import night_summary
from pipeline.reports.writing import write_report
from pipeline.settings import Settings


def write_morning_page(library: Library, night: Night, place: Path, settings: Settings) -> None:
    """Write what a night came to as one HTML file."""
    write_report(night_page(night_summary(library, settings, since=night.began)), place)
