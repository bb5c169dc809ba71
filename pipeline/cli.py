"""The ``elbowroom`` command: parses, calls one function, prints.

Results go to standard output, progress and errors to standard error. An error is one sentence and exit code 2.
"""

from __future__ import annotations

import json
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from functools import partial
from getpass import getuser
from importlib.metadata import version
from pathlib import Path
from typing import Annotated, Any, Literal

import typer
from rich.console import Console
from rich.live import Live
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn, TimeRemainingColumn
from rich.table import Table
from rich.text import Text

from pipeline.errors import ElbowroomError, PictureError, SettingsError

BookName = Literal["fiba", "nba", "ncaa", "nfhs"]
PlanName = Literal[
    "weak_side_motion",
    "crowded_drive",
    "clear_drive",
    "unscripted",
    "transition",
    "free_throws",
    "excerpt",
    "game",
    "drill",
]

app = typer.Typer(
    name="elbowroom",
    help="Finds, measures, compares and teaches what a basketball offence does, from game film.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)
evaluate_app = typer.Typer(help="Measure how right the program is, against truth or labels.", no_args_is_help=True)
app.add_typer(evaluate_app, name="evaluate")
court_app = typer.Typer(
    help="Show the floor that was found, and pin it by hand where it was not.", no_args_is_help=True
)
app.add_typer(court_app, name="court")
sets_app = typer.Typer(help="Check, draw and try the files of the set library.", no_args_is_help=True)
app.add_typer(sets_app, name="sets")

report_app = typer.Typer(
    help="Write reports for staff and coaches: one HTML file or a PDF, by the ending of --out.", no_args_is_help=True
)
app.add_typer(report_app, name="report")

LibraryOption = Annotated[Path, typer.Option("--library", help="Folder of the library; made when it is not there.")]
ConfigsOption = Annotated[
    Path | None,
    typer.Option("--configs", help="Folder with settings.toml and faults/; the shipped one if left out."),
]
ProfileOption = Annotated[
    str | None,
    typer.Option("--profile", help="Profile of the configs folder (quick, thorough) that changes some settings."),
]
DeviceOption = Annotated[
    Literal["auto", "cpu", "cuda"] | None,
    typer.Option("--device", help="Where the networks run; auto takes a GPU where there is one."),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON.")]
FolderArgument = Annotated[Path, typer.Argument(help="Folder in the documented form.")]

HELD_OUT = ("tv_c", "gym_b")
"""Games of the labelled real frames that the shipped networks never saw."""

out = Console(highlight=False, soft_wrap=True, width=None if sys.stdout.isatty() else 200)
err = Console(stderr=True, highlight=False, soft_wrap=True)


def main() -> None:
    """Run the command line; every expected error is one sentence on standard error and exit code 2."""
    try:
        app()
    except ElbowroomError as error:
        err.print(f"elbowroom: {error}", markup=False)
        sys.exit(2)
    except ImportError as error:
        if "lib" not in str(error) or ".so" not in str(error):
            raise
        err.print(
            f"elbowroom: a system library is missing ({error}); see 'Before you install' in the README.", markup=False
        )
        sys.exit(2)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(1)


@app.callback(invoke_without_command=True)
def _root(
    show_version: Annotated[bool, typer.Option("--version", help="Print the version and stop.")] = False,
) -> None:
    if show_version:
        print(f"elbowroom {version('elbowroom')}")
        raise typer.Exit


@app.command()
def run(
    film: Annotated[Path, typer.Argument(help="The film.")],
    library: LibraryOption = Path("library"),
    rule_book: Annotated[
        BookName | None, typer.Option("--rule-book", help="Rule book of a new game's floor; recognised if left out.")
    ] = None,
    clips: Annotated[bool, typer.Option("--clips", help="Also cut a drawn clip of every candidate.")] = False,
    device: DeviceOption = None,
    configs: ConfigsOption = None,
) -> None:
    """Run a film through every stage and list the candidates found in it."""
    from pipeline.library.games import Library
    from pipeline.night.networks import film_networks
    from pipeline.night.run import run_film

    settings = _settings(configs, device=device)
    place = Library(library)
    with _stage_bars() as bars:
        result = run_film(film, place, film_networks(settings), settings, book=rule_book, progress=bars)
    for line in _run_lines(result):
        out.print(line, markup=False)
    _print_tags(result.tags, _game_times(place, result.tags))
    if clips:
        _cut_clips(place, result.tags, None, settings)


@app.command()
def night(
    folder: Annotated[Path, typer.Argument(help="Folder of films; folders in it are looked through too.")],
    library: LibraryOption = Path("library"),
    profile: ProfileOption = None,
    until: Annotated[
        str | None, typer.Option("--until", help="Time of day at which it ends at the latest, for example 07:00.")
    ] = None,
    watch: Annotated[bool, typer.Option("--watch", help="Go on looking for new films until it is ended.")] = False,
    device: DeviceOption = None,
    configs: ConfigsOption = None,
) -> None:
    """Run every film of a folder, unattended, and leave a page for the morning."""
    from pipeline.library.games import Library
    from pipeline.night.batch import run_night
    from pipeline.night.morning import write_morning_page
    from pipeline.night.networks import film_networks
    from pipeline.night.orders import Orders, Watching, time_of_day

    settings = _settings(configs, device=device, profile=profile)
    end = None if until is None else time_of_day(until, datetime.now().astimezone())
    orders = Orders(folder, end, Watching.ON if watch else Watching.ONCE)
    page = partial(write_morning_page, settings=settings)
    with _night_screen() as (show, say):
        done = run_night(orders, Library(library), settings, film_networks, show=show, say=say, write_page=page)
    if any(film.state == "failed" for film in done.films):
        raise typer.Exit(1)


@app.command()
def status(library: LibraryOption = Path("library"), as_json: JsonOption = False) -> None:
    """Show how far the night on a library is, or how the last one ended."""
    from pipeline.library.games import Library
    from pipeline.library.nights import newest_night
    from pipeline.night.night_screen import night_lines

    found = newest_night(Library(library).must_exist())
    if as_json:
        _print_json(None if found is None else found.model_dump(mode="json"))
    elif found is None:
        out.print(f"No night has been run into {library} yet; 'elbowroom night FOLDER' runs one.", markup=False)
    else:
        for line in night_lines(found, datetime.now(UTC)):
            out.print(line, markup=False)


@app.command()
def rerun(
    games: Annotated[list[str] | None, typer.Argument(help="Games of the library; all of them if left out.")] = None,
    since: Annotated[
        Literal["film", "clock", "court", "players", "ball", "actions", "sets", "spacing"],
        typer.Option("--from", help="The first stage that is run again; the film is opened for 'film' only."),
    ] = "actions",
    library: LibraryOption = Path("library"),
    profile: ProfileOption = None,
    device: DeviceOption = None,
    configs: ConfigsOption = None,
) -> None:
    """Run games again from one stage on, from the tables that they have; decisions are kept."""
    from pipeline.library.games import Library
    from pipeline.night.networks import film_networks
    from pipeline.night.rerun import From, rerun_game
    from pipeline.tags.telling import merge_lines

    settings, place = _settings(configs, device=device, profile=profile), Library(library).must_exist()
    for game in [place.game(name) for name in games] if games else place.games():
        with _stage_bars() as bars:
            done = rerun_game(game, place, film_networks(settings), settings, since=From(since), progress=bars)
        ran = ", ".join(f"{stage.stage} {stage.seconds:.1f} s" for stage in done.stages if stage.ran)
        for line in (f"{game.name}: {ran}.", *merge_lines(done.merge, done.tags)):
            out.print(line, markup=False)


@app.command("import-tracks")
def import_tracks_command(
    files: Annotated[list[Path], typer.Argument(help="CSV or Parquet files, or folders with tracks.parquet.")],
    library: LibraryOption = Path("library"),
    rule_book: Annotated[BookName, typer.Option("--rule-book", help="Rule book of the court.")] = "nba",
    origin: Annotated[
        Literal["corner", "centre"], typer.Option("--origin", help="Where places are measured from.")
    ] = "corner",
    y_axis: Annotated[
        Literal["away", "towards"], typer.Option("--y-axis", help="Which way y grows, seen from the main camera.")
    ] = "away",
    configs: ConfigsOption = None,
) -> None:
    """Run the rules on tracking data without a film and list the candidates found in it."""
    from pipeline.library.games import Library
    from pipeline.night.import_tracks import import_tracks
    from pipeline.players.imported_rows import Convention

    settings, place = _settings(configs), Library(library)
    with _stage_bars() as bars:
        done = import_tracks(
            files, place, settings, book=rule_book, convention=Convention(origin, y_axis), progress=bars
        )  # fmt: skip
    for line in _import_lines(done):
        out.print(line, markup=False)
    if len(done) == 1:
        _print_tags(done[0].tags, _game_times(place, done[0].tags))


@app.command()
def bench(
    film: Annotated[Path, typer.Argument(help="The film.")],
    device: DeviceOption = None,
    rate: Annotated[
        float | None, typer.Option("--rate", min=1, max=60, help="Frames of film a second that the networks look at.")
    ] = None,
    configs: ConfigsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Measure a film: decoding alone, every stage, and ultralytics' own track call beside them."""
    from pipeline.night.bench import bench_as_json, bench_film, bench_lines

    settings = _settings(configs, device=device, rate=rate)
    with _stage_bars() as bars:
        result = bench_film(film, settings, lambda name: bars(name)(0, 1))
    if as_json:
        _print_json(bench_as_json(result))
    else:
        for line in bench_lines(result):
            out.print(line, markup=False)


@app.command("list")
def list_tags(
    library: LibraryOption = Path("library"),
    game: Annotated[str | None, typer.Option("--game", help="Only this game.")] = None,
    kind: Annotated[str | None, typer.Option("--kind", help="Only this kind, e.g. crowded_paint.")] = None,
    as_json: JsonOption = False,
) -> None:
    """List the tags of a library."""
    from pipeline.library.games import Library

    place = Library(library).must_exist()
    if game is not None:
        place.game(game)
    with place.tag_store() as store:
        tags = store.tags(game=game, kind=kind)
    if as_json:
        times = _game_times(place, tags)
        _print_json([_tag_as_json(tag, times.get(tag.tag)) for tag in tags])
    else:
        _print_tags(tags, _game_times(place, tags))


@app.command()
def clip(
    tags: Annotated[list[int], typer.Argument(help="Numbers of tags, as 'elbowroom list' shows them.")],
    library: LibraryOption = Path("library"),
    to: Annotated[Path | None, typer.Option("--out", help="Folder for the clips; <library>/clips if left out.")] = None,
    still: Annotated[bool, typer.Option("--still", help="A picture of the moment in place of a clip.")] = False,
    diagram: Annotated[
        Literal["svg", "png", "gif", "mp4"] | None,
        typer.Option("--diagram", help="A half-court diagram: printed (svg, png) or moving (gif, mp4); needs no film."),
    ] = None,
    drawing: Annotated[bool, typer.Option("--drawing/--no-drawing", help="Draw on the floor, or leave it.")] = True,
    slow: Annotated[float, typer.Option("--slow", help="Speed around the moment, 0.1 to 1 (as filmed).")] = 1.0,
    freeze: Annotated[
        Literal["none", "moment", "phases"] | None,
        typer.Option("--freeze", help="What is held; as the settings say if left out."),
    ] = None,
    configs: ConfigsOption = None,
) -> None:
    """Cut a clip of a tag, drawn on the floor; or make a still or a half-court diagram of it."""
    from pipeline.clips.making import Made, frozen, make_of_tag
    from pipeline.clips.tag_film import Show
    from pipeline.library.games import Library

    if still and diagram:
        raise SettingsError("Choose --still or --diagram; a run makes one of them.")
    place, settings = Library(library).must_exist(), frozen(_settings(configs), freeze)
    with place.tag_store() as store:
        chosen = [store.tag(number) for number in tags]
    made = Made.STILL if still else Made(diagram or "film")
    show = Show.FLOOR if drawing else Show.NOTHING
    folder = to if to is not None else place.root / "clips"
    with _stage_bars() as bars:
        paths = [
            make_of_tag(place, tag, folder, settings, made, show=show, speed=slow, progress=bars(f"clip {tag.tag}"))
            for tag in chosen
        ]
    for path in paths:
        out.print(f"{made.called}: {path}", markup=False)


@app.command()
def reel(
    number: Annotated[int | None, typer.Argument(help="Number of a reel; leave it out and name tags.")] = None,
    to: Annotated[Path, typer.Option("--out", help="MP4 file to write.")] = Path("reel.mp4"),
    tags: Annotated[
        list[int] | None, typer.Option("--tag", help="Number of a tag, for a reel that is not stored. May be repeated.")
    ] = None,
    title: Annotated[str, typer.Option("--title", help="Title of a reel that is not stored.")] = "Clips",
    library: LibraryOption = Path("library"),
    configs: ConfigsOption = None,
) -> None:
    """Write a reel as one film: a title, then every clip behind a card with its title and note."""
    from pipeline.clips.reels import chosen_reel, reel_film
    from pipeline.library.games import Library

    place, settings = Library(library).must_exist(), _settings(configs)
    with place.tag_store() as store:
        chosen, held = chosen_reel(store, number, tags or (), title, settings)
    with _bar("Reel") as progress:
        film = reel_film(place, chosen, held, to, settings, progress=progress)
    out.print(f"Reel: {film.path} ({film.length_s:.1f} s, {len(film.chapters)} clip(s))", markup=False)


@app.command("export")
def export_command(
    form: Annotated[
        Literal["csv", "webvtt", "edl", "otio", "mot", "parquet"], typer.Option("--form", help="Form of the list.")
    ],
    to: Annotated[Path, typer.Option("--out", help="File to write.")],
    tags: Annotated[list[int] | None, typer.Argument(help="Numbers of tags; all of them if left out.")] = None,
    reel_number: Annotated[int | None, typer.Option("--reel", help="Number of a reel, in place of tags.")] = None,
    game: Annotated[str | None, typer.Option("--game", help="Only this game.")] = None,
    kind: Annotated[str | None, typer.Option("--kind", help="Only this kind, e.g. crowded_paint.")] = None,
    library: LibraryOption = Path("library"),
    configs: ConfigsOption = None,
) -> None:
    """Write tags or a reel for a spreadsheet, a player, a cutting room, a tracker or a database."""
    from pipeline.clips.exports import ExportForm, export, listed_tags
    from pipeline.library.games import Library

    place = Library(library).must_exist()
    if game is not None:
        place.game(game)
    with place.tag_store() as store:
        chosen, own = listed_tags(store, tags or (), reel_number, game=game, kind=kind)
    path = export(place, chosen, ExportForm(form), to, _settings(configs), reel=own)
    out.print(f"{ExportForm(form).name}: {path}", markup=False)


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
    from pipeline.library.games import Library

    place = Library(library).must_exist()
    settings = _settings(configs)
    if action_of is not None:
        lines = explain_event(place.game(action_of), tag, settings)
    else:
        with place.tag_store() as store:
            lines = explain_tag(place, store.tag(tag), settings)
    for line in lines:
        out.print(line, markup=False)


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
    serve(Library(library), _settings(configs), serving, lambda line: err.print(line, markup=False))


@app.command("review-user")
def review_user(
    name: Annotated[str, typer.Argument(help="Name to log in with; it goes into the history.")],
    library: LibraryOption = Path("library"),
) -> None:
    """Give somebody a password for the review pages; asks twice, or reads one line from a pipe."""
    from pipeline.library.games import Library
    from pipeline.review.access import password_file

    place = password_file(Library(library).must_exist())
    place.set(name, _new_password())
    out.print(f"{name} can log in; the passwords are in {place.path}.", markup=False)


FormOption = Annotated[
    Literal["table", "csv", "json", "parquet"], typer.Option("--form", help="How the answer is written.")
]
OutFileOption = Annotated[Path | None, typer.Option("--out", help="File for the answer; standard output if left out.")]


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

    settings = _settings(configs)
    asked = Filters(
        tuple(actions or ()), tuple(sets or ()), tuple(faults or ()), tuple(games or ()), tuple(teams or ()),
        tuple(periods or ()), tuple(states or ()), tuple(labels or ()),
        since=since, until=until, where=where, order=order, limit=limit,
    )  # fmt: skip
    asked = joined(read_bar(bar or "", settings), asked)
    if show_columns:
        for line in column_lines(columns(settings, asked)):
            out.print(line, markup=False)
        return
    with _bar("Reading") as progress:
        found = search(Library(library), asked, settings, progress)
    table = shown(found, asked_names(asked)) if form == "table" and to is None else found.table
    _write_table(table, form, to)
    for line in found_lines(found):
        err.print(line, markup=False)


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
        for line in view_lines():
            out.print(line, markup=False)
        return
    with _bar("Reading") as progress:
        views = views_of(Library(library), progress)
    with views.connection:
        _write_table(run_sql(views.connection, query), form, to)
    for line in views.left_out:
        err.print(line, markup=False)


@app.command()
def precision(
    library: LibraryOption = Path("library"),
    to: Annotated[Path | None, typer.Option("--out", help="Folder for a calibration plot of every kind.")] = None,
    as_json: JsonOption = False,
) -> None:
    """How often staff confirmed what each recogniser found, and how well its ranking is calibrated."""
    from pipeline.library.games import Library
    from pipeline.tags.precision_telling import precision_as_json, precision_lines, write_plots
    from pipeline.tags.ranking import precision as precision_of

    with Library(library).must_exist().tag_store() as store:
        kinds = precision_of(store.decisions())
    if as_json:
        _print_json(precision_as_json(kinds))
    else:
        for line in precision_lines(kinds):
            out.print(line, markup=False)
    if to is not None:
        for path in write_plots(kinds, to):
            err.print(f"Drawn: {path}", markup=False)


WhoOption = Annotated[str | None, typer.Option("--who", help="Who does it; your name on this machine if left out.")]


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
    from pipeline.library.games import Library
    from pipeline.tags import State
    from pipeline.tags.telling import tag_line

    name, when = who or getuser(), datetime.now(UTC)
    with Library(library).must_exist().tag_store() as store:
        if verdict == "undo":
            decided = store.undo(tag, who=name, when=when)
        else:
            decided = store.decide(tag, State(verdict), who=name, when=when, text=reason)
    out.print(tag_line(decided), markup=False)


@app.command()
def history(
    tag: Annotated[int, typer.Argument(help="Number of a tag, as 'elbowroom list' shows it.")],
    library: LibraryOption = Path("library"),
    as_json: JsonOption = False,
) -> None:
    """Tell everything that happened to a tag: what runs found, who decided or edited what, and when."""
    from pipeline.library.games import Library
    from pipeline.tags.telling import history_as_json, history_lines

    with Library(library).must_exist().tag_store() as store:
        told, notes = store.tag(tag), store.history(tag)
    if as_json:
        _print_json(history_as_json(told, notes))
        return
    for line in history_lines(told, notes):
        out.print(line, markup=False)


@app.command()
def backup(
    file: Annotated[Path, typer.Argument(help="The backup; nothing may be there yet.")],
    library: LibraryOption = Path("library"),
) -> None:
    """Write everything that staff and runs put into the tag store into one file, while others go on working."""
    from pipeline.library.games import Library
    from pipeline.tags.backup import back_up
    from pipeline.tags.telling import contents_line

    out.print(f"{file}: {contents_line(back_up(Library(library).must_exist().tag_place, file))}.", markup=False)


@app.command()
def restore(
    file: Annotated[Path, typer.Argument(help="A backup.")],
    library: LibraryOption = Path("library"),
    keep: Annotated[
        Path | None, typer.Option("--keep", help="First back up what is in the store now into this file.")
    ] = None,
) -> None:
    """Put a backup into a library's tag store; refused where that would lose what the store holds."""
    from pipeline.library.games import Library
    from pipeline.tags.backup import restore as restore_into
    from pipeline.tags.telling import contents_line

    restored = restore_into(file, Library(library).tag_place, keep=keep)
    out.print(f"Restored: {contents_line(restored)}.", markup=False)


@app.command()
def look(
    images: Annotated[list[Path], typer.Argument(help="Pictures.")],
    at: Annotated[
        list[str] | None, typer.Option("--at", help="X,Y in pixels: say where on the floor that is. May be repeated.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object per picture, one a line.")] = False,
    to: Annotated[
        Path | None, typer.Option("--out", help="Folder for drawn pictures (default: looks; none with --json alone).")
    ] = None,
    rule_book: Annotated[
        BookName | None, typer.Option("--rule-book", help="Rule book of the floor; recognised if left out.")
    ] = None,
    configs: ConfigsOption = None,
) -> None:
    """Find the floor, the bodies and the paint count in single pictures, and draw them."""
    from pipeline.clips.picture import write_picture
    from pipeline.night.look import drawn_look, look_at, picture_as_json, read_picture
    from pipeline.night.networks import open_areas, open_detector

    points = [_point(text) for text in at or []]
    settings = _settings(configs, book=rule_book)
    folder = to if to is not None or as_json else Path("looks")
    areas, detector = open_areas(settings), open_detector(settings)
    failed = False
    with _bar("Looking") as progress:
        for number, (path, stem) in enumerate(zip(images, _stems(images), strict=True)):
            try:
                picture = read_picture(path)
            except PictureError as error:
                err.print(f"elbowroom: {error}", markup=False)
                failed = True
                continue
            read = look_at(picture, areas, detector, settings)
            found = picture_as_json(str(path), read, points)
            drawn = None
            if folder is not None:
                drawn = write_picture(drawn_look(picture, read, points), folder, stem)
            if as_json:
                print(json.dumps(found, allow_nan=False), flush=True)
            else:
                for line in _look_lines(found, drawn):
                    out.print(line, markup=False)
            progress(number + 1, len(images))
    if failed:
        raise typer.Exit(2)


@app.command()
def sim(
    plan: Annotated[PlanName, typer.Argument(help="The script, 'excerpt' (two minutes with cuts), 'game' or 'drill'.")],
    to: Annotated[Path, typer.Option("--out", help="Folder for the film and its truth.")] = Path("simulated"),
    seed: Annotated[int, typer.Option("--seed", min=0, help="Decides movement, cameras, cuts and look.")] = 1,
    look_seed: Annotated[int | None, typer.Option("--look-seed", min=0, help="Another look for the same game.")] = None,
    rule_book: Annotated[
        BookName | None, typer.Option("--rule-book", help="Court markings; drawn from the seed if left out.")
    ] = None,
    venue: Annotated[Literal["arena", "hall", "gym"], typer.Option("--venue", help="Kind of building.")] = "arena",
    width: Annotated[int, typer.Option("--width", min=160, max=3840, help="Width of the picture, pixels.")] = 1280,
    height: Annotated[int, typer.Option("--height", min=90, max=2160, help="Height of the picture, pixels.")] = 720,
    rate: Annotated[
        str | None, typer.Option("--rate", help="Frames a second, e.g. 25 or 30000/1001; from the seed if left out.")
    ] = None,
    minutes: Annotated[float, typer.Option("--minutes", help="Length of the plans 'game' and 'drill'.")] = 5.0,
    bodies: Annotated[
        int | None, typer.Option("--bodies", min=0, max=7, help="Others in the paint on the scripted drive.")
    ] = None,
    quality: Annotated[
        Literal["good", "bad"] | None, typer.Option("--quality", help="Execution of the set; drawn if left out.")
    ] = None,
    name: Annotated[str | None, typer.Option("--name", help="Stem of the files; plan and seed if left out.")] = None,
    workers: Annotated[int, typer.Option("--workers", min=1, max=128, help="Drawing processes.")] = 2,
) -> None:
    """Make a simulated film with its truth; the same seed gives the same truth."""
    from pydantic import ValidationError

    from pipeline.sim.make import sim_command
    from pipeline.sim.settings import SimSettings

    try:
        wanted = SimSettings(
            plan=plan,
            seed=seed,
            look_seed=look_seed,
            rule_book=rule_book,
            venue=venue,
            width_px=width,
            height_px=height,
            rate=rate,
            minutes=minutes,
            bodies=bodies,
            quality=quality,
            workers=workers,
        )
    except ValidationError as error:
        first = error.errors()[0]
        raise SettingsError(f"'{first['loc'][0]}' cannot be {first['input']!r}: {first['msg']}; change it.") from error
    with _bar("Drawing") as progress:
        made = sim_command(wanted, to, name=name, progress=progress)
    out.print(f"{made.film}: {made.seconds:.1f} s, {made.frames} frames, {made.faults} crowded drive(s)", markup=False)
    out.print(f"{made.truth}: truth", markup=False)


@app.command("settings")
def show_settings() -> None:
    """Print a settings.toml with every setting, its meaning and its default."""
    from pipeline.settings import settings_as_toml

    print(settings_as_toml(), end="")


GameArgument = Annotated[str, typer.Argument(help="Game of the library.")]
AtOption = Annotated[str, typer.Option("--at", help="Time in the film: seconds, or minutes:seconds.")]


@court_app.command("pin")
def court_pin(
    game: GameArgument,
    points: Annotated[list[str], typer.Argument(help="x,y=landmark in pixels of the film, at least four.")],
    at: AtOption,
    library: LibraryOption = Path("library"),
    configs: ConfigsOption = None,
) -> None:
    """Pin landmarks of the floor on a frame; the next run takes them as certain and redoes what rests on them."""
    from pipeline.library.games import Library
    from pipeline.library.pins import pin_frame

    one = Library(library).must_exist().game(game)
    done = pin_frame(one, at, points, _settings(configs).court.registration)
    count, t_s = len(done.pins.points), done.pins.t_s
    out.print(
        f"{count} landmarks pinned at {t_s:.2f} s of '{game}', {done.miss_px:.1f} px off one camera.", markup=False
    )
    if done.note:
        out.print(done.note, markup=False)
    out.print("Run the film again to use them.", markup=False)


@court_app.command("unpin")
def court_unpin(game: GameArgument, at: AtOption, library: LibraryOption = Path("library")) -> None:
    """Take the pins of a frame away."""
    from pipeline.library.games import Library
    from pipeline.library.pins import unpin_frame

    gone = unpin_frame(Library(library).must_exist().game(game), at)
    out.print(f"The pins at {gone.t_s:.2f} s of '{game}' are gone; run the film again.", markup=False)


@court_app.command("show")
def court_show(
    game: GameArgument,
    at: AtOption,
    library: LibraryOption = Path("library"),
    to: Annotated[Path, typer.Option("--out", help="Folder for the picture.")] = Path("floors"),
    configs: ConfigsOption = None,
) -> None:
    """Draw the floor that was found, and the pins, over a frame of the film."""
    from pipeline.clips.floor_shown import show_floor
    from pipeline.library.games import Library

    one = Library(library).must_exist().game(game)
    path, text = show_floor(one, at, to, _settings(configs).film.decode)
    out.print(text, markup=False)
    out.print(f"Drawn: {path}", markup=False)


@court_app.command("landmarks")
def court_landmarks(
    rule_book: Annotated[BookName, typer.Option("--rule-book", help="Rule book of the floor.")] = "fiba",
    to: Annotated[
        Path | None, typer.Option("--out", help="Folder for a drawn plan; none is drawn if left out.")
    ] = None,
) -> None:
    """List the landmarks that can be pinned, and draw them on a plan of the court."""
    from pipeline.clips.picture import draw_landmarks, write_picture
    from pipeline.court.landmarks import landmarks
    from pipeline.court.rule_books import rule_book as book_named

    book = book_named(rule_book)
    for number, one in enumerate(landmarks(book).values(), start=1):
        out.print(f"{number:2d}  {one.name:28s} {one.x_ft:6.2f} {one.y_ft:6.2f} ft  {one.text}", markup=False)
    if to is not None:
        out.print(f"Drawn: {write_picture(draw_landmarks(book), to, f'landmarks-{rule_book}')}", markup=False)


@sets_app.command("check")
def sets_check(
    files: Annotated[list[Path], typer.Argument(help="Set files, or folders of them.")],
) -> None:
    """Read set files and say what is wrong with them: line, column, and the nearest name that exists."""
    from pipeline.sets.library import check_files

    checked = check_files(files)
    for one in checked:
        if one.error is None:
            out.print(one.text, markup=False)
        else:
            err.print(f"elbowroom: {one.error}", markup=False)
    if any(one.error is not None for one in checked):
        raise typer.Exit(2)


@sets_app.command("show")
def sets_show(
    names: Annotated[list[str], typer.Argument(help="Sets of the library, or set files.")],
    to: Annotated[Path, typer.Option("--out", help="Folder for the drawings.")] = Path("drawings"),
    rule_book: Annotated[BookName, typer.Option("--rule-book", help="Markings of the floor.")] = "nba",
    configs: ConfigsOption = None,
) -> None:
    """Draw sets as numbered half-court frames, SVG and PNG: solid line cut, dashed pass, wavy dribble, bar screen."""
    from pipeline.court.rule_books import rule_book as book_named
    from pipeline.sets.library import read_set_file, set_path
    from pipeline.sets.sheet import write_sheet
    from pipeline.shipped import Shipped, shipped

    folder = configs or shipped(Shipped.CONFIGS)
    for name in names:
        path = Path(name) if name.endswith(".set") else set_path(folder, name)
        for drawn in write_sheet(read_set_file(path), to, book_named(rule_book)):
            out.print(f"Drawn: {drawn}", markup=False)


@sets_app.command("try")
def sets_try(
    file: Annotated[Path, typer.Argument(help="A set file.")],
    game: Annotated[str, typer.Argument(help="Game of the library, or a folder of tables.")],
    library: LibraryOption = Path("library"),
    rule_book: Annotated[
        BookName | None, typer.Option("--rule-book", help="Rule book of the floor; the game's own if left out.")
    ] = None,
    configs: ConfigsOption = None,
) -> None:
    """Match one set file against a game now: who played what, when, how it ended, how well, what was missing."""
    from pipeline.night.set_trial import try_set

    for line in try_set(file, game, library, _settings(configs).sets, rule_book):
        out.print(line, markup=False)


ReportOut = Annotated[Path, typer.Option("--out", help="File to write, .html or .pdf.")]
OfOption = Annotated[
    str, typer.Option("--of", help="Part of the games, e.g. 'team:Harbour period:4 since:2026-10-01'; all if left out.")
]
CandidatesOption = Annotated[
    bool, typer.Option("--candidates", help="Count undecided candidates too; the page says how often such are right.")
]


@report_app.command("set")
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

    path = report_set(Library(library), name, of, _settings(configs), _counted(candidates), to)
    out.print(f"Report: {path}", markup=False)


@report_app.command("compare")
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

    path = report_compare(Library(library), name, (one, other), _settings(configs), _counted(candidates), to)
    out.print(f"Report: {path}", markup=False)


@report_app.command("congestion")
def report_congestion_command(
    to: ReportOut, of: OfOption = "", library: LibraryOption = Path("library"), configs: ConfigsOption = None
) -> None:
    """Write how many stand in the paint as the corner is turned, by sort of ball screen and by unit."""
    from pipeline.library.games import Library
    from pipeline.reports.making import report_congestion

    out.print(f"Report: {report_congestion(Library(library), of, _settings(configs), to)}", markup=False)


@report_app.command("night")
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

    out.print(f"Report: {report_night(Library(library), since, _settings(configs), to)}", markup=False)


@report_app.command("trend")
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
        _settings(configs),
        measure=measure,
        per=Per.GAME if per == "game" else Per.HUNDRED_POSSESSIONS,
        counted=_counted(candidates),
        out=to,
    )
    out.print(f"Report: {path}", markup=False)


def _counted(candidates: bool) -> Any:
    from pipeline.reports.sides import Counted

    return Counted.WITH_CANDIDATES if candidates else Counted.CONFIRMED


@evaluate_app.command("film")
def evaluate_film_command(
    game: Annotated[Path, typer.Argument(help="Game folder of a library.")],
    truth: Annotated[Path, typer.Argument(help="Folder of truth tables.")],
    as_json: JsonOption = False,
) -> None:
    """Compare a game's tables with the truth of a simulated film."""
    from pipeline.evaluate.film import evaluate_film

    _report(evaluate_film(game, truth), as_json)


@evaluate_app.command("films")
def evaluate_films_command(
    tables: Annotated[Path, typer.Argument(help="Library, or folder with a folder of tables for each film.")],
    truths: Annotated[Path, typer.Argument(help="Folder with the films' <film>_truth folders.")],
    as_json: JsonOption = False,
) -> None:
    """Compare several games with the truth of their simulated films, against the figures asked for."""
    from pipeline.evaluate.films import as_markdown, evaluate_films

    result = evaluate_films(tables, truths)
    if as_json:
        _report(result, as_json)
    else:
        out.print(as_markdown(result), markup=False, soft_wrap=True)


GamesArgument = Annotated[Path, typer.Argument(help="A game (or its folder of tables), or a folder of several.")]
AgainOption = Annotated[
    bool, typer.Option("--again", help="First find everything anew from the games' tracks, ball and touches.")
]
TruthsArgument = Annotated[Path, typer.Argument(help="The game's folder of truth tables, or a folder of several.")]


@evaluate_app.command("actions")
def evaluate_actions_command(
    games: GamesArgument,
    truths: TruthsArgument,
    again: AgainOption = False,
    configs: ConfigsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Compare the actions of games with the true ones: each kind, its moment, its measures."""
    _evaluate_events(games, truths, "actions", _settings(configs) if again else None, as_json)


@evaluate_app.command("sets")
def evaluate_sets_command(
    games: GamesArgument,
    truths: TruthsArgument,
    again: AgainOption = False,
    configs: ConfigsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Compare the sets found in games with those that were run."""
    _evaluate_events(games, truths, "sets", _settings(configs) if again else None, as_json)


@evaluate_app.command("faults")
def evaluate_faults_command(
    games: GamesArgument,
    truths: TruthsArgument,
    again: AgainOption = False,
    configs: ConfigsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Compare the spacing faults found in games with the true ones."""
    _evaluate_events(games, truths, "faults", _settings(configs) if again else None, as_json)


@evaluate_app.command("court-frames")
def evaluate_court_frames_command(
    folder: FolderArgument,
    weights: Annotated[
        Path | None,
        typer.Option("--weights", help="Court network, ONNX or ultralytics weights; the shipped if left out."),
    ] = None,
    held_out: Annotated[
        list[str] | None,
        typer.Option("--held-out", help="Measure this game only, one that the weights never saw. May be repeated."),
    ] = None,
    rule_book: Annotated[BookName, typer.Option("--rule-book", help="Rule book of the labelled floors.")] = "fiba",
    configs: ConfigsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Register labelled pictures and measure the floor's error in feet."""
    from pipeline.evaluate.court_frames import evaluate_court_frames
    from pipeline.night.networks import open_areas

    settings = _settings(configs)
    with _bar("Registering") as progress:
        result = evaluate_court_frames(
            folder,
            open_areas(settings, weights),
            settings=settings.court.registration,
            marking=settings.court.marks,
            book_name=rule_book,
            games=held_out or (),
            on_progress=progress,
        )
    _report(result, as_json)


@evaluate_app.command("boxes")
def evaluate_boxes_command(folder: FolderArgument, configs: ConfigsOption = None, as_json: JsonOption = False) -> None:
    """Score the detector on pictures with labelled boxes."""
    from pipeline.evaluate.boxes import evaluate_boxes

    settings = _settings(configs)
    with _bar("Detecting") as progress:
        result = evaluate_boxes(folder, settings=settings.detector, on_progress=progress)
    _report(result, as_json)


@evaluate_app.command("mot")
def evaluate_mot_command(
    folder: FolderArgument,
    seed: Annotated[int, typer.Option("--seed", min=0, help="Seed of the disturbance.")] = 0,
    as_json: JsonOption = False,
) -> None:
    """Score this tracker and three public ones on the same disturbed boxes."""
    from pipeline.evaluate.mot import evaluate_mot

    with _bar("Tracking") as progress:
        result = evaluate_mot(folder, seed, on_step=lambda _name, done, total: progress(done, total))
    _report(result, as_json)


@evaluate_app.command("play")
def evaluate_play_command(
    folder: FolderArgument,
    labels: Annotated[
        Path | None, typer.Option("--labels", help="Readers' labels; labels.json of the folder if left out.")
    ] = None,
    rule_book: Annotated[BookName, typer.Option("--rule-book", help="Rule book of the court.")] = "nba",
    configs: ConfigsOption = None,
    as_json: JsonOption = False,
) -> None:
    """How often every action, set and fault is found in tracked possessions, and agreement with their readers."""
    from pipeline.evaluate.play import evaluate_play, play_lines

    settings = _settings(configs)
    with _bar("Reading possessions") as progress:
        result = evaluate_play(folder, settings=settings, labels=labels, book=rule_book, on_progress=progress)
    if as_json:
        _print_json(result)
    else:
        for line in play_lines(result):
            out.print(line, markup=False)


@evaluate_app.command("report")
def evaluate_report_command(
    data: Annotated[Path, typer.Option("--data", help="Folder of outside data.")] = Path("../shared/data"),
    films: Annotated[Path, typer.Option("--clips", help="Films with their truth beside them.")] = Path("sample_clips"),
    boxes: Annotated[
        list[Path] | None, typer.Option("--boxes", help="Folder of pictures with labelled boxes. May be repeated.")
    ] = None,
    held_out: Annotated[
        list[str] | None, typer.Option("--held-out", help="Game that training did not see. May be repeated.")
    ] = None,
    film_tables: Annotated[
        Path | None, typer.Option("--film-tables", help="Library or folders of tables of a set of simulated films.")
    ] = None,
    film_truths: Annotated[
        Path | None, typer.Option("--film-truths", help="Folder of that set's <film>_truth folders.")
    ] = None,
    played: Annotated[
        Path | None, typer.Option("--games", help="Games whose actions, sets and faults are scored.")
    ] = None,
    played_truths: Annotated[Path | None, typer.Option("--game-truths", help="Folder of those games' truth.")] = None,
    drills: Annotated[
        Path | None, typer.Option("--drills", help="Folder of simulated drills, scored on their true tracks.")
    ] = None,
    readme: Annotated[Path, typer.Option("--readme", help="File whose table is written.")] = Path("README.md"),
) -> None:
    """Run every evaluation whose data is at hand and write the README's table of numbers."""
    from pipeline.evaluate.report import Sources, write_report

    if not readme.is_file():
        raise SettingsError(f"{readme} does not exist; run this in a checkout, or name the file with --readme.")
    if (film_tables is None) != (film_truths is None):
        raise SettingsError("--film-tables and --film-truths belong together; give both or neither.")
    if (played is None) != (played_truths is None):
        raise SettingsError("--games and --game-truths belong together; give both or neither.")
    source = Sources(
        films,
        data,
        tuple(boxes or ()),
        tuple(held_out or HELD_OUT),
        film_tables,
        film_truths,
        played,
        played_truths,
        drills,
    )
    with _stage_bars() as bars:
        rows = write_report(source, readme, lambda name: bars(name)(0, 1))
    for row in rows:
        out.print(f"{row.measure}, {row.data}: {row.value} ({row.count})", markup=False)


def _evaluate_events(games: Path, truths: Path, family: str, again: Any, as_json: bool) -> None:
    from pipeline.evaluate.games import Family, as_lines, found_again, game_pairs, score_games

    pairs = game_pairs(games, truths)
    with tempfile.TemporaryDirectory() as folder:
        if again is not None:
            with _bar("Finding anew") as progress:
                for number, (name, (game, truth)) in enumerate(pairs.items()):
                    pairs[name] = (found_again(game, Path(folder) / str(number), again), truth)
                    progress(number + 1, len(pairs))
        result = score_games(pairs, Family(family))
    if as_json:
        _report(result, as_json)
    else:
        for line in as_lines(result):
            out.print(line, markup=False, soft_wrap=True)


def _settings(
    configs: Path | None,
    *,
    book: BookName | None = None,
    device: Literal["auto", "cpu", "cuda"] | None = None,
    rate: float | None = None,
    profile: str | None = None,
) -> Any:
    from pipeline.night.settings import NightSettings
    from pipeline.settings import load_settings
    from pipeline.shipped import Shipped, shipped

    settings = load_settings(configs if configs is not None else shipped(Shipped.CONFIGS), profile)
    told = {"device": device, "analysed_frames_per_s": rate}
    night = settings.night.model_dump() | {name: value for name, value in told.items() if value is not None}
    settings = settings.model_copy(update={"night": NightSettings.model_validate(night)})
    return settings.with_rule_book(book) if book is not None else settings


def _new_password() -> str:
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\r\n")
    return str(typer.prompt("Password", hide_input=True, confirmation_prompt="The same again"))


def _stems(images: list[Path]) -> list[str]:
    """File stems for drawn pictures, told apart by a number where two pictures have one name."""
    found: list[str] = []
    for path in images:
        stem, number = path.stem, 2
        while stem in found:
            stem, number = f"{path.stem}-{number}", number + 1
        found.append(stem)
    return found


def _point(text: str) -> tuple[float, float]:
    parts = text.split(",")
    try:
        x, y = (float(part) for part in parts)
    except ValueError:
        raise SettingsError(f"--at takes X,Y in pixels, got '{text}'; write for example --at 640,360.") from None
    return x, y


def _cut_clips(library: Any, tags: Any, folder: Path | None, settings: Any) -> None:
    from pipeline.clips.tag_film import cut_tag

    to = folder if folder is not None else library.root / "clips"
    with _stage_bars() as bars:
        made = [cut_tag(library, tag, to, settings, progress=bars(f"clip {tag.tag}")) for tag in tags]
    for path in made:
        out.print(f"Clip: {path}", markup=False)


def _run_lines(result: Any) -> Iterator[str]:
    from pipeline.tags.telling import merge_lines

    done = [ran.stage for ran in result.stages if not ran.ran]
    yield f"Game '{result.game.name}' in {result.game.folder}"
    yield (
        f"{result.length_s:.1f} s of film, {result.live_s:.1f} s of live play, "
        f"floor found in {result.registered_frames} of {result.live_frames} live frames, "
        f"{result.possessions} possession(s)."
    )
    if result.damage:
        yield f"The film is damaged: {result.damage}"
    if done:
        yield f"Unchanged since the last run: {', '.join(done)}."
    yield from merge_lines(result.merge, result.tags)


def _import_lines(done: Any) -> Iterator[str]:
    from pipeline.tags.telling import merge_lines

    shown = 12
    for one in done[:shown]:
        yield (
            f"Game '{one.game.name}' in {one.game.folder}: {one.length_s:.1f} s in {one.stretches} stretch(es) of play,"
            f" {one.possessions} possession(s), {len(one.tags)} candidate(s)."
        )
        if one.merge.changed or one.merge.missing:
            yield from merge_lines(one.merge, one.tags)
    if len(done) > shown:
        possessions, tags = sum(one.possessions for one in done), sum(len(one.tags) for one in done)
        yield f"... {len(done)} games in all: {possessions} possessions, {tags} candidates."
    unused = sorted({name for one in done for name in one.unused})
    if unused:
        yield f"Columns that were not read: {', '.join(unused)}."


def _game_times(library: Any, tags: Any) -> dict[int, Any]:
    from pipeline.library.game_time import game_times

    return game_times(library, tags)


def _print_tags(tags: Any, times: dict[int, Any]) -> None:
    if not tags:
        out.print("No candidates.")
        return
    table = Table(box=None, pad_edge=False)
    for name in ("tag", "game", "kind", "time", "clock", "score", "state", "what"):
        table.add_column(name, justify="right" if name in ("tag", "score") else "left", overflow="fold")
    for tag in tags:
        seen = tag.candidate
        table.add_row(
            str(tag.tag),
            tag.game,
            seen.kind,
            _clock(seen.t_s),
            str(times.get(tag.tag, "")),
            f"{seen.score:.2f}",
            tag.state.value,
            seen.sentence,
        )
    out.print(table)


def _tag_as_json(tag: Any, time: Any) -> dict[str, Any]:
    seen = tag.candidate
    return {
        "tag": tag.tag,
        "game": tag.game,
        "kind": seen.kind,
        "state": tag.state.value,
        "shot": seen.shot,
        "start_s": seen.start_s,
        "end_s": seen.end_s,
        "t_s": seen.t_s,
        "period": None if time is None else time.period,
        "game_clock_s": None if time is None else round(time.clock_s, 2),
        "score": seen.score,
        "severity": seen.severity,
        "sentence": seen.sentence,
        "actors": [{"role": role, "track": track} for role, track in seen.actors],
        "measures": dict(seen.measures),
    }


def _look_lines(found: dict[str, Any], drawn: Path | None) -> Iterator[str]:
    if found["registered"]:
        others = found["other_rule_books"]
        doubt = f" (or {' or '.join(others)}: the picture does not tell; --rule-book says)" if others else ""
        yield (
            f"{found['image']}: {found['rule_book']} floor{doubt}, {found['residual_ft']:.2f} ft off the markings; "
            f"{len(found['bodies'])} bodies, {found['paint_count']} players in the {found['paint_end']} paint."
        )
    else:
        yield f"{found['image']}: no floor. {found['reason']} {len(found['bodies'])} bodies."
    for point in found["points"]:
        place = point["court_ft"]
        where = "not on the floor" if place is None else f"{place[0]:.2f}, {place[1]:.2f} ft"
        yield f"  pixel {point['px'][0]:g},{point['px'][1]:g}: {where}"
    if drawn is not None:
        yield f"  drawn: {drawn}"


def _report(result: dict[str, Any], as_json: bool) -> None:
    if as_json:
        _print_json(result)
        return
    for line in _outline(result, 0):
        out.print(line, markup=False)


def _outline(value: dict[str, Any], depth: int) -> Iterator[str]:
    for name, item in value.items():
        if isinstance(item, dict):
            yield f"{'  ' * depth}{name}"
            yield from _outline(item, depth + 1)
        elif isinstance(item, float):
            yield f"{'  ' * depth}{name}: {item:.4g}"
        else:
            yield f"{'  ' * depth}{name}: {item}"


def _write_table(table: Any, form: str, to: Path | None) -> None:
    """A table as it was asked for: to a file, raw to standard output, or drawn there."""
    from pipeline.find.telling import Form, as_bytes, cells, write

    if to is not None:
        err.print(f"Written: {write(table, Form(form), to)}", markup=False)
    elif form != "table":
        sys.stdout.buffer.write(as_bytes(table, Form(form)))
    else:
        drawn = Table(box=None, pad_edge=False)
        head, *rows = cells(table)
        for name in head:
            drawn.add_column(name, overflow="fold")
        for row in rows:
            drawn.add_row(*(Text(cell) for cell in row))
        out.print(drawn)


def _print_json(value: Any) -> None:
    print(json.dumps(value, indent=1, allow_nan=False))


def _clock(t_s: float) -> str:
    minutes, seconds = divmod(t_s, 60)
    return f"{int(minutes)}:{seconds:04.1f}"


@contextmanager
def _stage_bars() -> Iterator[Callable[[str], Callable[[float, float], None]]]:
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
def _night_screen() -> Iterator[tuple[Callable[[Any], None], Callable[[str], None]]]:
    """How a night is shown and told: a table that is kept up to date in a terminal, plain lines elsewhere."""
    from pipeline.night.night_screen import night_table

    if not err.is_terminal:
        yield lambda _: None, lambda line: out.print(line, markup=False)
        return
    with Live(console=err, auto_refresh=False) as live:
        yield (
            lambda night: live.update(night_table(night, datetime.now(UTC)), refresh=True),
            lambda line: live.console.print(line, markup=False),
        )


@contextmanager
def _bar(name: str) -> Iterator[Callable[[float, float], None]]:
    with _stage_bars() as bars:
        yield bars(name)


if __name__ == "__main__":
    main()
