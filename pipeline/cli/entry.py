"""Where the command line begins: every command, and what becomes of an error."""

from __future__ import annotations

import sys
from importlib.metadata import version
from typing import Annotated

import typer

from pipeline.cli import floor, keeping, measuring, morning, night, reports, sets, showing
from pipeline.cli.screen import note
from pipeline.errors import ElbowroomError

app = typer.Typer(
    name="elbowroom",
    help="Finds, measures, compares and teaches what a basketball offence does, from game film.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)
PURPOSES = (
    ("Over night", (night.app,)),
    ("In the morning: decide and find", (morning.app,)),
    ("Show and teach", (showing.app, reports.app)),
    ("The floor, the sets, the settings", (floor.app, sets.app, keeping.app)),
    ("How right, how fast", (measuring.app,)),
)
"""Commands as the help groups them; an application that has a name is one command with others below it."""

for purpose, applications in PURPOSES:
    for application in applications:
        if not application.info.name:
            for command in application.registered_commands:
                command.rich_help_panel = purpose
            for group in application.registered_groups:
                group.rich_help_panel = purpose
        app.add_typer(application, rich_help_panel=purpose)


def main() -> None:
    """Run the command line; every expected error is one sentence on standard error and exit code 2."""
    try:
        app()
    except ElbowroomError as error:
        note(f"elbowroom: {error}")
        sys.exit(2)
    except ImportError as error:
        if "lib" not in str(error) or ".so" not in str(error):
            raise
        note(f"elbowroom: a system library is missing ({error}); see 'Before you install' in the README.")
        sys.exit(2)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(1)
    except OSError as error:
        what = f"{error.strerror or error}{f': {error.filename}' if error.filename else ''}"
        note(
            f"elbowroom: reading or writing failed ({what}); check the disk's room and the share and do it again: what "
            "was there is as it was, and a run goes on where it stopped."
        )
        sys.exit(2)


@app.callback(invoke_without_command=True)
def _root(
    show_version: Annotated[bool, typer.Option("--version", help="Print the version and stop.")] = False,
) -> None:
    if show_version:
        print(f"elbowroom {version('elbowroom')}")
        raise typer.Exit
