"""Films and tracking data in, tables and candidates out: a night, one film, a game again."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import Annotated, Literal

import typer

from pipeline.cli.options import (
    BookName,
    ClusterOption,
    ConfigsOption,
    DeviceOption,
    JsonOption,
    LibraryOption,
    ProfileOption,
    open_library,
    settings_of,
)
from pipeline.cli.screen import night_screen, print_json, print_tags, say, stage_bars
from pipeline.cli.showing import cut_clips

app = typer.Typer()


@app.command()
def run(
    film: Annotated[str, typer.Argument(help="The film: a path, or an address (s3://, sftp://, https://).")],
    library: LibraryOption = Path("library"),
    rule_book: Annotated[
        BookName | None, typer.Option("--rule-book", help="Rule book of a new game's floor; recognised if left out.")
    ] = None,
    clips: Annotated[bool, typer.Option("--clips", help="Also cut a drawn clip of every candidate.")] = False,
    cluster: ClusterOption = None,
    device: DeviceOption = None,
    configs: ConfigsOption = None,
) -> None:
    """Run a film through every stage and list the candidates found in it."""
    from pipeline.film.fetching import fetched, is_address
    from pipeline.library.games import Library
    from pipeline.night.networks import cluster_networks, film_networks
    from pipeline.night.run import run_film
    from pipeline.night.telling import run_lines

    settings = settings_of(configs, device=device)
    place = Library(library)
    address = film if is_address(film) else ""
    path = fetched(address, settings.night.fetched_films) if address else Path(film)
    networks = film_networks(settings) if cluster is None else cluster_networks(cluster, settings)
    with stage_bars() as bars:
        result = run_film(path, place, networks, settings, book=rule_book, progress=bars, address=address)
    say(*run_lines(result))
    print_tags(place, result.tags)
    if clips:
        cut_clips(place, result.tags, settings)


@app.command()
def night(
    folder: Annotated[Path, typer.Argument(help="Folder of films; folders in it are looked through too.")],
    library: LibraryOption = Path("library"),
    profile: ProfileOption = None,
    until: Annotated[
        str | None, typer.Option("--until", help="Time of day at which it ends at the latest, for example 07:00.")
    ] = None,
    watch: Annotated[bool, typer.Option("--watch", help="Go on looking for new films until it is ended.")] = False,
    cluster: ClusterOption = None,
    device: DeviceOption = None,
    configs: ConfigsOption = None,
) -> None:
    """Run every film of a folder, unattended, and leave a page for the morning."""
    from pipeline.library.games import Library
    from pipeline.night.batch import run_night
    from pipeline.night.morning import write_morning_page
    from pipeline.night.networks import night_networks
    from pipeline.night.orders import Orders, Watching, time_of_day

    settings = settings_of(configs, device=device, profile=profile)
    end = None if until is None else time_of_day(until, datetime.now().astimezone())
    page = partial(write_morning_page, settings=settings)
    with night_networks(cluster) as (networks, at_once), night_screen() as (show, tell):
        orders = Orders(folder, end, Watching.ON if watch else Watching.ONCE, at_once)
        done = run_night(orders, Library(library), settings, networks, show=show, say=tell, write_page=page)
    if any(film.state == "failed" for film in done.films):
        raise typer.Exit(1)


@app.command()
def status(library: LibraryOption = Path("library"), as_json: JsonOption = False) -> None:
    """Show how far the night on a library is, or how the last one ended."""
    from pipeline.library.nights import newest_night
    from pipeline.night.night_screen import night_lines

    found = newest_night(open_library(library))
    if as_json:
        print_json(None if found is None else found.model_dump(mode="json"))
    elif found is None:
        say(f"No night has been run into {library} yet; 'elbowroom night FOLDER' runs one.")
    else:
        say(*night_lines(found, datetime.now(UTC)))


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
    from pipeline.night.networks import film_networks
    from pipeline.night.rerun import From, rerun_game
    from pipeline.tags.telling import merge_lines

    settings, place = settings_of(configs, device=device, profile=profile), open_library(library)
    for game in [place.game(name) for name in games] if games else place.games():
        with stage_bars() as bars:
            done = rerun_game(game, place, film_networks(settings), settings, since=From(since), progress=bars)
        ran = ", ".join(f"{stage.stage} {stage.seconds:.1f} s" for stage in done.stages if stage.ran)
        say(f"{game.name}: {ran}.", *merge_lines(done.merge, done.tags))


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
    from pipeline.night.telling import import_lines
    from pipeline.players.imported_rows import Convention

    settings, place = settings_of(configs), Library(library)
    with stage_bars() as bars:
        done = import_tracks(
            files, place, settings, book=rule_book, convention=Convention(origin, y_axis), progress=bars
        )  # fmt: skip
    say(*import_lines(done))
    if len(done) == 1:
        print_tags(place, done[0].tags)


@app.command("list")
def list_tags(
    library: LibraryOption = Path("library"),
    game: Annotated[str | None, typer.Option("--game", help="Only this game.")] = None,
    kind: Annotated[str | None, typer.Option("--kind", help="Only this kind, e.g. crowded_paint.")] = None,
    as_json: JsonOption = False,
) -> None:
    """List the tags of a library."""
    from pipeline.library.listing import tags_as_json

    place = open_library(library)
    if game is not None:
        place.game(game)
    with place.tag_store() as store:
        tags = store.tags(game=game, kind=kind)
    if as_json:
        print_json(tags_as_json(place, tags))
    else:
        print_tags(place, tags)
