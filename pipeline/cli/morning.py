"""The morning: look at candidates, decide, ask the library, and how often the program was right."""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from getpass import getuser
from pathlib import Path
from typing import Annotated, Any, Literal

import typer

from pipeline.cli.options import (
    ConfigsOption,
    FormOption,
    JsonOption,
    LibraryOption,
    OutFileOption,
    WhoOption,
    open_library,
    settings_of,
)
from pipeline.cli.screen import note, print_json, progress_bar, say, write_table

app = typer.Typer()


@app.command()
def review(
    library: LibraryOption = Path("library"),
    host: Annotated[str, typer.Option("--host", help="Address to listen on; this machine alone if left out.")] = (
        "127.0.0.1"
    ),
    port: Annotated[int, typer.Option("--port", min=1, max=65535, help="Port to listen on.")] = 8765,
    names: Annotated[
        list[str] | None, typer.Option("--name", help="Host name under which others reach it. May be repeated.")
    ] = None,
    certificate: Annotated[Path | None, typer.Option("--certificate", help="TLS certificate, PEM.")] = None,
    key: Annotated[Path | None, typer.Option("--key", help="Its private key, PEM.")] = None,
    configs: ConfigsOption = None,
) -> None:
    """Open the review pages: look at candidates, decide, search, build reels."""
    from pipeline.library.games import Library
    from pipeline.night.serving import Serving, serve

    serving = Serving(host, port, tuple(names or ()), certificate, key)
    serve(Library(library), settings_of(configs), serving, note)


@app.command("review-user")
def review_user(
    name: Annotated[str, typer.Argument(help="Name to log in with; it goes into the history.")],
    library: LibraryOption = Path("library"),
) -> None:
    """Give somebody a password for the review pages; asks twice, or reads one line from a pipe."""
    from pipeline.review.access import password_file

    place = password_file(open_library(library))
    place.set(name, _new_password())
    say(f"{name} can log in; the passwords are in {place.path}.")


def _new_password() -> str:
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\r\n")
    return str(typer.prompt("Password", hide_input=True, confirmation_prompt="The same again"))


@app.command()
def decide(
    tag: Annotated[int, typer.Argument(help="Number of a tag, as 'elbowroom list' shows it.")],
    verdict: Annotated[
        Literal["confirmed", "rejected", "unsure", "undo"],
        typer.Argument(help="What you say of it; undo takes the last decision or edit back."),
    ],
    reason: Annotated[str, typer.Option("--reason", help="Why, kept in the history.")] = "",
    who: WhoOption = None,
    library: LibraryOption = Path("library"),
) -> None:
    """Confirm or reject a tag, or say that one cannot tell; the history keeps who and when."""
    from pipeline.tags import State
    from pipeline.tags.telling import tag_line

    name, when = who or getuser(), datetime.now(UTC)
    with open_library(library).tag_store() as store:
        if verdict == "undo":
            decided = store.undo(tag, who=name, when=when)
        else:
            decided = store.decide(tag, State(verdict), who=name, when=when, text=reason)
    say(tag_line(decided))


@app.command()
def history(
    tag: Annotated[int, typer.Argument(help="Number of a tag, as 'elbowroom list' shows it.")],
    library: LibraryOption = Path("library"),
    as_json: JsonOption = False,
) -> None:
    """Tell everything that happened to a tag: what runs found, who decided or edited what, and when."""
    from pipeline.tags.telling import history_as_json, history_lines

    with open_library(library).tag_store() as store:
        told, notes = store.tag(tag), store.history(tag)
    if as_json:
        print_json(history_as_json(told, notes))
        return
    say(*history_lines(told, notes))


@app.command()
def explain(
    tag: Annotated[int, typer.Argument(help="Number of a tag, as 'elbowroom list' shows it.")],
    library: LibraryOption = Path("library"),
    action_of: Annotated[
        str | None,
        typer.Option("--action-of", help="A game: the number is then that of an action in its table of actions."),
    ] = None,
    configs: ConfigsOption = None,
) -> None:
    """Say which measured facts made a tag, which were missed, and by how much."""
    from pipeline.library.explaining import explain_event, explain_tag

    place = open_library(library)
    settings = settings_of(configs)
    if action_of is not None:
        lines = explain_event(place.game(action_of), tag, settings)
    else:
        with place.tag_store() as store:
            lines = explain_tag(place, store.tag(tag), settings)
    say(*lines)


def _several(name: str, what: str) -> Any:
    return typer.Option(f"--{name}", help=f"{what} May be repeated.")


@app.command()
def find(
    bar: Annotated[
        str | None, typer.Argument(help="A search in one line, as in the web's query bar: kinds, team:, …, condition.")
    ] = None,
    library: LibraryOption = Path("library"),
    sets: Annotated[list[str] | None, _several("set", "A set of the set library, or 'any'.")] = None,
    actions: Annotated[list[str] | None, _several("action", "A kind of action, or 'any'.")] = None,
    faults: Annotated[list[str] | None, _several("fault", "A spacing fault, or 'any'.")] = None,
    games: Annotated[list[str] | None, _several("game", "Only this game.")] = None,
    teams: Annotated[list[str] | None, _several("team", "Only attacks of this team, as game.toml names it.")] = None,
    periods: Annotated[list[int] | None, _several("period", "Only this period.")] = None,
    states: Annotated[list[str] | None, _several("state", "Only tags in this state, e.g. confirmed.")] = None,
    labels: Annotated[list[str] | None, _several("label", "Only tags with this label.")] = None,
    since: Annotated[str, typer.Option("--since", help="First day, e.g. 2026-01-31.")] = "",
    until: Annotated[str, typer.Option("--until", help="Last day.")] = "",
    where: Annotated[str, typer.Option("--where", help='Condition, e.g. "return_catch_ft > 28".')] = "",
    order: Annotated[str, typer.Option("--order", help='Columns, e.g. "score desc, t_s".')] = "",
    limit: Annotated[int | None, typer.Option("--limit", min=0, help="So many hits at most.")] = None,
    form: FormOption = "table",
    to: OutFileOption = None,
    show_columns: Annotated[
        bool, typer.Option("--columns", help="List what can be asked of these kinds, with meaning, and stop.")
    ] = False,
    configs: ConfigsOption = None,
) -> None:
    """Find plays, faults and actions in all games by what was measured of them."""
    from pipeline.find import Filters, columns, read_bar, search
    from pipeline.find.filters import joined
    from pipeline.find.telling import asked_names, column_lines, found_lines, shown
    from pipeline.library.games import Library

    settings = settings_of(configs)
    asked = Filters(
        tuple(actions or ()), tuple(sets or ()), tuple(faults or ()), tuple(games or ()), tuple(teams or ()),
        tuple(periods or ()), tuple(states or ()), tuple(labels or ()),
        since=since, until=until, where=where, order=order, limit=limit,
    )  # fmt: skip
    asked = joined(read_bar(bar or "", settings), asked)
    if show_columns:
        say(*column_lines(columns(settings, asked)))
        return
    with progress_bar("Reading") as progress:
        found = search(Library(library), asked, settings, progress)
    table = shown(found, asked_names(asked)) if form == "table" and to is None else found.table
    write_table(table, form, to)
    note(*found_lines(found))


@app.command()
def sql(
    query: Annotated[
        str | None, typer.Argument(help="One query; lists the views, their columns and meaning if left out.")
    ] = None,
    library: LibraryOption = Path("library"),
    form: FormOption = "table",
    to: OutFileOption = None,
) -> None:
    """Ask DuckDB about every game: read-only views of tags, decisions, actions, tracks and more."""
    from pipeline.find.views import run_sql, view_lines, views_of
    from pipeline.library.games import Library

    if query is None:
        say(*view_lines())
        return
    with progress_bar("Reading") as progress:
        views = views_of(Library(library), progress)
    with views.connection:
        write_table(run_sql(views.connection, query), form, to)
    note(*views.left_out)


@app.command()
def precision(
    library: LibraryOption = Path("library"),
    to: Annotated[Path | None, typer.Option("--out", help="Folder for a calibration plot of every kind.")] = None,
    as_json: JsonOption = False,
) -> None:
    """How often staff confirmed what each recogniser found, and how well its ranking is calibrated."""
    from pipeline.tags.precision_telling import precision_as_json, precision_lines, write_plots
    from pipeline.tags.ranking import precision as precision_of

    with open_library(library).tag_store() as store:
        kinds = precision_of(store.decisions())
    if as_json:
        print_json(precision_as_json(kinds))
    else:
        say(*precision_lines(kinds))
    if to is not None:
        for path in write_plots(kinds, to):
            note(f"Drawn: {path}")
