"""What the commands show: results on standard output, progress and notes on standard error."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rich.cells import cell_len
from rich.console import Console
from rich.live import Live
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn, TimeRemainingColumn
from rich.table import Table
from rich.text import Text

if TYPE_CHECKING:
    from pipeline.library.games import Library
    from pipeline.tags import Tag

out = Console(highlight=False, soft_wrap=True, width=None if sys.stdout.isatty() else 200)
err = Console(stderr=True, highlight=False, soft_wrap=True)


FOLDED_ROWS = 200
"""Longer tables are printed as they are: laying out a season's takes half a minute."""


def say(*lines: str) -> None:
    """Results, on standard output."""
    for line in lines:
        out.print(line, markup=False)


def note(*lines: str) -> None:
    """What goes beside the results, and errors, on standard error."""
    for line in lines:
        err.print(line, markup=False)


def print_tags(library: Library, tags: Sequence[Tag]) -> None:
    """Tags as a table."""
    from pipeline.library.listing import HEAD, tag_rows

    if not tags:
        say("No candidates.")
        return
    _draw(HEAD, list(tag_rows(library, tags)), right=("tag", "score"))


def print_json(value: Any) -> None:
    """A result for programs."""
    print(json.dumps(value, indent=1, allow_nan=False))


def print_report(result: dict[str, Any], as_json: bool) -> None:
    """An evaluation's numbers, as an outline or as JSON."""
    if as_json:
        print_json(result)
        return
    say(*_outline(result, 0))


def _outline(value: dict[str, Any], depth: int) -> Iterator[str]:
    for name, item in value.items():
        if isinstance(item, dict):
            yield f"{'  ' * depth}{name}"
            yield from _outline(item, depth + 1)
        elif isinstance(item, float):
            yield f"{'  ' * depth}{name}: {item:.4g}"
        else:
            yield f"{'  ' * depth}{name}: {item}"


def write_table(table: Any, form: str, to: Path | None) -> None:
    """A table as it was asked for: to a file, raw to standard output, or drawn there."""
    from pipeline.find.telling import Form, as_bytes, cells, write

    if to is not None:
        note(f"Written: {write(table, Form(form), to)}")
    elif form != "table":
        sys.stdout.buffer.write(as_bytes(table, Form(form)))
    else:
        head, *rows = cells(table)
        _draw(head, rows)


def _draw(head: Sequence[str], rows: Sequence[Sequence[str]], right: Collection[str] = ()) -> None:
    """Columns under their names; folded to the width of the screen, unless so many rows make that slow."""
    if len(rows) > FOLDED_ROWS:
        widths = [max(cell_len(row[k]) for row in (head, *rows)) for k in range(len(head))]
        for row in (head, *rows):
            padded = [
                " " * (width - cell_len(cell)) + cell if name in right else cell + " " * (width - cell_len(cell))
                for name, cell, width in zip(head, row, widths, strict=True)
            ]
            print(" ".join(padded).rstrip())
        return
    drawn = Table(box=None, pad_edge=False)
    for name in head:
        drawn.add_column(name, justify="right" if name in right else "left", overflow="fold")
    for row in rows:
        drawn.add_row(*(Text(cell) for cell in row))
    out.print(drawn)


@contextmanager
def stage_bars() -> Iterator[Callable[[str], Callable[[float, float], None]]]:
    """A bar per stage, on standard error; gives a function from a stage's name to its progress callback."""
    columns = (TextColumn("{task.description:<12}"), BarColumn(), TimeElapsedColumn(), TimeRemainingColumn())
    with Progress(*columns, console=err) as bars:
        running: list[Any] = []

        def finish() -> None:
            for task in running:
                bars.update(task, total=1, completed=1)
            running.clear()

        def begin(name: str) -> Callable[[float, float], None]:
            finish()
            task = bars.add_task(name, total=None)
            running.append(task)
            return lambda done, total: bars.update(task, completed=done, total=total or 1)

        yield begin
        finish()


@contextmanager
def progress_bar(name: str) -> Iterator[Callable[[float, float], None]]:
    """One bar, on standard error."""
    with stage_bars() as bars:
        yield bars(name)


@contextmanager
def night_screen() -> Iterator[tuple[Callable[[Any], None], Callable[[str], None]]]:
    """How a night is shown and told: a table that is kept up to date in a terminal, plain lines elsewhere."""
    from pipeline.night.night_screen import night_table

    if not err.is_terminal:
        yield lambda _: None, say
        return
    with Live(console=err, auto_refresh=False) as live:
        yield (
            lambda night: live.update(night_table(night, datetime.now(UTC)), refresh=True),
            lambda line: live.console.print(line, markup=False),
        )
