"""Reports for staff and coaches."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Literal

import typer

from pipeline.cli.options import ConfigsOption, LibraryOption, settings_of
from pipeline.cli.screen import say

app = typer.Typer(
    name="report",
    help="Write reports for staff and coaches: one HTML file or a PDF, by the ending of --out.",
    no_args_is_help=True,
)


ReportOut = Annotated[Path, typer.Option("--out", help="File to write, .html or .pdf.")]
OfOption = Annotated[
    str, typer.Option("--of", help="Part of the games, e.g. 'team:Harbour period:4 since:2026-10-01'; all if left out.")
]
CandidatesOption = Annotated[
    bool, typer.Option("--candidates", help="Count undecided candidates too; the page says how often such are right.")
]


@app.command("set")
def report_set_command(
    name: Annotated[str, typer.Argument(help="Set of the library.")],
    to: ReportOut,
    of: OfOption = "",
    candidates: CandidatesOption = False,
    library: LibraryOption = Path("library"),
    configs: ConfigsOption = None,
) -> None:
    """Write a set's execution sheet: runs, endings, every point of emphasis, best and worst runs, what was missing."""
    from pipeline.library.games import Library
    from pipeline.reports.making import report_set

    path = report_set(Library(library), name, of, settings_of(configs), _counted(candidates), to)
    say(f"Report: {path}")


@app.command("compare")
def report_compare_command(
    name: Annotated[str, typer.Argument(help="Set of the library.")],
    one: Annotated[str, typer.Argument(help="One side, e.g. 'team:Harbour' or 'team:Harbour until:2026-10-31'.")],
    other: Annotated[str, typer.Argument(help="The other side.")],
    to: ReportOut,
    candidates: CandidatesOption = False,
    library: LibraryOption = Path("library"),
    configs: ConfigsOption = None,
) -> None:
    """Write two teams, games, periods or stretches of days side by side on one set, and what the sample cannot tell."""
    from pipeline.library.games import Library
    from pipeline.reports.making import report_compare

    path = report_compare(Library(library), name, (one, other), settings_of(configs), _counted(candidates), to)
    say(f"Report: {path}")


@app.command("congestion")
def report_congestion_command(
    to: ReportOut, of: OfOption = "", library: LibraryOption = Path("library"), configs: ConfigsOption = None
) -> None:
    """Write how many stand in the paint as the corner is turned, by sort of ball screen and by unit."""
    from pipeline.library.games import Library
    from pipeline.reports.making import report_congestion

    say(f"Report: {report_congestion(Library(library), of, settings_of(configs), to)}")


@app.command("night")
def report_night_command(
    to: ReportOut,
    since: Annotated[
        str | None, typer.Option("--since", help="Only games run since then, e.g. 2026-11-25T18:00; all if left out.")
    ] = None,
    library: LibraryOption = Path("library"),
    configs: ConfigsOption = None,
) -> None:
    """Write what ran, what failed and why, what was seen, what was found and what is left to decide."""
    from pipeline.library.games import Library
    from pipeline.reports.making import report_night

    say(f"Report: {report_night(Library(library), since, settings_of(configs), to)}")


@app.command("trend")
def report_trend_command(
    what: Annotated[str, typer.Argument(help="What to count, as in the query bar: 'crowded_paint team:Harbour'.")],
    to: ReportOut,
    measure: Annotated[
        str | None, typer.Option("--measure", help="Show the median of this measure instead of a count.")
    ] = None,
    per: Annotated[Literal["possessions", "game"], typer.Option("--per", help="Per 100 possessions or per game.")] = (
        "possessions"
    ),
    candidates: CandidatesOption = False,
    library: LibraryOption = Path("library"),
    configs: ConfigsOption = None,
) -> None:
    """Write how often something happened, or how large it was, game after game."""
    from pipeline.library.games import Library
    from pipeline.reports.making import report_trend
    from pipeline.reports.trend import Per

    path = report_trend(
        Library(library),
        what,
        settings_of(configs),
        measure=measure,
        per=Per.GAME if per == "game" else Per.HUNDRED_POSSESSIONS,
        counted=_counted(candidates),
        out=to,
    )
    say(f"Report: {path}")


def _counted(candidates: bool) -> Any:
    from pipeline.reports.sides import Counted

    return Counted.WITH_CANDIDATES if candidates else Counted.CONFIRMED
