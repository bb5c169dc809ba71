"""The floor: pins and pictures of it in a film, and the same for single pictures."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from pipeline.cli.options import BookName, ConfigsOption, LibraryOption, open_library, settings_of
from pipeline.cli.screen import note, progress_bar, say
from pipeline.errors import PictureError, SettingsError

app = typer.Typer()
court = typer.Typer(help="Show the floor that was found, and pin it by hand where it was not.", no_args_is_help=True)
app.add_typer(court, name="court")


GameArgument = Annotated[str, typer.Argument(help="Game of the library.")]
AtOption = Annotated[str, typer.Option("--at", help="Time in the film: seconds, or minutes:seconds.")]


@court.command("pin")
def court_pin(
    game: GameArgument,
    points: Annotated[list[str], typer.Argument(help="x,y=landmark in pixels of the film, at least four.")],
    at: AtOption,
    library: LibraryOption = Path("library"),
    configs: ConfigsOption = None,
) -> None:
    """Pin landmarks of the floor on a frame; the next run takes them as certain and redoes what rests on them."""
    from pipeline.library.pins import pin_frame

    one = open_library(library).game(game)
    done = pin_frame(one, at, points, settings_of(configs).court.registration)
    count, t_s = len(done.pins.points), done.pins.t_s
    say(f"{count} landmarks pinned at {t_s:.2f} s of '{game}', {done.miss_px:.1f} px off one camera.")
    if done.note:
        say(done.note)
    say("Run the film again to use them.")


@court.command("unpin")
def court_unpin(game: GameArgument, at: AtOption, library: LibraryOption = Path("library")) -> None:
    """Take the pins of a frame away."""
    from pipeline.library.pins import unpin_frame

    gone = unpin_frame(open_library(library).game(game), at)
    say(f"The pins at {gone.t_s:.2f} s of '{game}' are gone; run the film again.")


@court.command("show")
def court_show(
    game: GameArgument,
    at: AtOption,
    library: LibraryOption = Path("library"),
    to: Annotated[Path, typer.Option("--out", help="Folder for the picture.")] = Path("floors"),
    configs: ConfigsOption = None,
) -> None:
    """Draw the floor that was found, and the pins, over a frame of the film."""
    from pipeline.clips.floor_shown import show_floor

    one = open_library(library).game(game)
    path, text = show_floor(one, at, to, settings_of(configs).film.decode)
    say(text)
    say(f"Drawn: {path}")


@court.command("landmarks")
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
        say(f"{number:2d}  {one.name:28s} {one.x_ft:6.2f} {one.y_ft:6.2f} ft  {one.text}")
    if to is not None:
        say(f"Drawn: {write_picture(draw_landmarks(book), to, f'landmarks-{rule_book}')}")


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
    from pipeline.night.look import drawn_look, drawn_names, look_at, look_lines, picture_as_json, read_picture
    from pipeline.night.networks import open_areas, open_detector

    points = [_point(text) for text in at or []]
    settings = settings_of(configs, book=rule_book)
    folder = to if to is not None or as_json else Path("looks")
    areas, detector = open_areas(settings), open_detector(settings)
    failed = False
    with progress_bar("Looking") as progress:
        for number, (path, stem) in enumerate(zip(images, drawn_names(images), strict=True)):
            try:
                picture = read_picture(path)
            except PictureError as error:
                note(f"elbowroom: {error}")
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
                say(*look_lines(found, drawn))
            progress(number + 1, len(images))
    if failed:
        raise typer.Exit(2)


def _point(text: str) -> tuple[float, float]:
    parts = text.split(",")
    try:
        x, y = (float(part) for part in parts)
    except ValueError:
        raise SettingsError(f"--at takes X,Y in pixels, got '{text}'; write for example --at 640,360.") from None
    return x, y
