"""Reports into files."""

from __future__ import annotations

import os
from datetime import datetime
from pathlib import Path

from pipeline.errors import LibraryError, SettingsError
from pipeline.reports.document import Document
from pipeline.reports.html import as_html
from pipeline.reports.pdf import as_pdf

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
    temporary = out.with_name(f".{out.name}.{os.getpid()}.tmp")
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        temporary.write_bytes(data)
        os.replace(temporary, out)
    except OSError as error:
        raise LibraryError(f"The report cannot be written to {out} ({error.strerror}); check the folder.") from error
    finally:
        if temporary.is_file():
            temporary.unlink()
    return out
