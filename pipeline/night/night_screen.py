"""What a terminal shows of a night: a table while it runs, or plain lines."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

from rich.table import Table

from pipeline.library.nights import FilmState, Night

MOST_ROWS = 30
"""Films in the live table; those that run or failed come first."""

_FIRST = (FilmState.RUNNING, FilmState.FAILED, FilmState.STOPPED, FilmState.COPYING, FilmState.WAITING, FilmState.DONE)


def minutes(seconds: float) -> str:
    """A length of time as people say it."""
    if seconds < 90:
        return f"{seconds:.0f} s"
    whole = round(seconds / 60)
    return f"{whole} min" if whole < 60 else f"{whole // 60} h {whole % 60:02d} min"


def night_table(night: Night, now: datetime) -> Table:
    """A night as it stands, a line for each film."""
    table = Table(title=_title(night, now), title_justify="left", box=None, pad_edge=False)
    for name in ("film", "state", "stage", "done", "time", "what"):
        table.add_column(
            name, no_wrap=name != "what", overflow="fold", justify="right" if name in ("done", "time") else "left"
        )
    films = sorted(night.films, key=lambda film: _FIRST.index(film.state))
    for film in films[:MOST_ROWS]:
        begun = film.tries > 0
        table.add_row(
            Path(film.film).name,
            film.state.value,
            film.stage if film.state is FilmState.RUNNING else "",
            f"{100 * film.share:.0f} %" if begun else "",
            minutes(film.seconds) if begun else "",
            film.sentence,
        )
    if len(films) > MOST_ROWS:
        table.add_row(f"and {len(films) - MOST_ROWS} more", "", "", "", "", "")
    return table


def night_lines(night: Night, now: datetime) -> Iterator[str]:
    """The same as plain lines, every film."""
    yield _title(night, now)
    for film in night.films:
        how = f", {film.stage} {100 * film.share:.0f} %" if film.state is FilmState.RUNNING else ""
        took = f", {minutes(film.seconds)}" if film.tries else ""
        yield f"{film.state.value:<8} {Path(film.film).name}{how}{took}{': ' + film.sentence if film.sentence else ''}"


def _title(night: Night, now: datetime) -> str:
    began = f"{night.began.astimezone():%Y-%m-%d %H:%M}"
    counts = ", ".join(f"{night.count(state)} {state.value}" for state in FilmState if night.count(state))
    head = f"Night of {began}, {night.folder}: {counts or 'no films yet'}."
    if night.ended is not None:
        return f"{head} Ended {night.ended.astimezone():%H:%M}. {night.sentence}"
    if night.died(now):
        return (
            f"{head} It was ended from outside, last heard of {night.beat.astimezone():%H:%M:%S}; start it again, it "
            "goes on where it was."
        )
    left_s = night.left_s(now)
    until = "" if night.until is None else f" It ends at {night.until.astimezone():%H:%M}."
    return f"{head} {'Time left is not known yet.' if left_s is None else f'About {minutes(left_s)} left.'}{until}"
