"""What is kept: backups of the tag store, and every setting."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pipeline.cli.options import LibraryOption, open_library
from pipeline.cli.screen import say

app = typer.Typer()


@app.command()
def backup(
    file: Annotated[Path, typer.Argument(help="The backup; nothing may be there yet.")],
    library: LibraryOption = Path("library"),
) -> None:
    """Write everything that staff and runs put into the tag store into one file, while others go on working."""
    from pipeline.tags.backup import back_up
    from pipeline.tags.telling import contents_line

    say(f"{file}: {contents_line(back_up(open_library(library).tag_place, file))}.")


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
    say(f"Restored: {contents_line(restored)}.")


@app.command("settings")
def show_settings() -> None:
    """Print a settings.toml with every setting, its meaning and its default."""
    from pipeline.settings import settings_as_toml

    print(settings_as_toml(), end="")
