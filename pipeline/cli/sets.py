"""The files of the set library: checked, drawn, tried."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pipeline.cli.options import BookName, ConfigsOption, LibraryOption, settings_of
from pipeline.cli.screen import note, say

app = typer.Typer(name="sets", help="Check, draw and try the files of the set library.", no_args_is_help=True)


@app.command("check")
def sets_check(
    files: Annotated[list[Path], typer.Argument(help="Set files, or folders of them.")],
) -> None:
    """Read set files and say what is wrong with them: line, column, and the nearest name that exists."""
    from pipeline.sets.library import check_files

    checked = check_files(files)
    for one in checked:
        if one.error is None:
            say(one.text)
        else:
            note(f"elbowroom: {one.error}")
    if any(one.error is not None for one in checked):
        raise typer.Exit(2)


@app.command("show")
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
            say(f"Drawn: {drawn}")


@app.command("try")
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

    say(*try_set(file, game, library, settings_of(configs).sets, rule_book))
