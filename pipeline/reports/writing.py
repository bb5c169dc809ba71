"""Reports into files."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from pipeline.errors import LibraryError, SettingsError
from pipeline.reports.document import Document
from pipeline.reports.html import as_html
from pipeline.reports.pdf import as_pdf
from pipeline.whole_files import write_whole

ENDINGS = (".html", ".pdf")


def check_out(out: Path) -> None:
    """SettingsError unless a report can have this name."""
    if out.suffix.lower() not in ENDINGS:
        raise SettingsError(f"A report is written as HTML or PDF; name the file {out.name or 'report'}.html or .pdf.")


def write_report(document: Document, out: Path, made_at: datetime | None = None) -> Path:
    """Write a report whole: HTML or PDF by the file's ending.

    Raises
    ------
    SettingsError
        If the name ends in neither.
    LibraryError
        If it cannot be written.
    """
    check_out(out)
    data = as_pdf(document, made_at) if out.suffix.lower() == ".pdf" else as_html(document).encode()
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        write_whole(out, data)
    except OSError as error:
        raise LibraryError(f"The report cannot be written to {out} ({error.strerror}); check the folder.") from error
    return out
