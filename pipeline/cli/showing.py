"""Clips, reels and lists: what is shown to players and given to other programs."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from pipeline.cli.options import ConfigsOption, LibraryOption, open_library, settings_of
from pipeline.cli.screen import progress_bar, say, stage_bars
from pipeline.errors import SettingsError

if TYPE_CHECKING:
    from pipeline.library.games import Library
    from pipeline.settings import Settings
    from pipeline.tags import Tag

app = typer.Typer()


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

    if still and diagram:
        raise SettingsError("Choose --still or --diagram; a run makes one of them.")
    place, settings = open_library(library), frozen(settings_of(configs), freeze)
    with place.tag_store() as store:
        chosen = [store.tag(number) for number in tags]
    made = Made.STILL if still else Made(diagram or "film")
    show = Show.FLOOR if drawing else Show.NOTHING
    folder = to if to is not None else place.root / "clips"
    with stage_bars() as bars:
        paths = [
            make_of_tag(place, tag, folder, settings, made, show=show, speed=slow, progress=bars(f"clip {tag.tag}"))
            for tag in chosen
        ]
    for path in paths:
        say(f"{made.called}: {path}")


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

    place, settings = open_library(library), settings_of(configs)
    with place.tag_store() as store:
        chosen, held = chosen_reel(store, number, tags or (), title, settings)
    with progress_bar("Reel") as progress:
        film = reel_film(place, chosen, held, to, settings, progress=progress)
    say(f"Reel: {film.path} ({film.length_s:.1f} s, {len(film.chapters)} clip(s))")


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

    place = open_library(library)
    if game is not None:
        place.game(game)
    with place.tag_store() as store:
        chosen, own = listed_tags(store, tags or (), reel_number, game=game, kind=kind)
    path = export(place, chosen, ExportForm(form), to, settings_of(configs), reel=own)
    say(f"{ExportForm(form).name}: {path}")


def cut_clips(library: Library, tags: Sequence[Tag], settings: Settings) -> None:
    """Cut a drawn clip of every tag into the library's folder of clips."""
    from pipeline.clips.tag_film import cut_tag

    to = library.root / "clips"
    with stage_bars() as bars:
        made = [cut_tag(library, tag, to, settings, progress=bars(f"clip {tag.tag}")) for tag in tags]
    for path in made:
        say(f"Clip: {path}")
