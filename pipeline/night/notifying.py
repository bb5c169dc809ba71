"""Tells somebody that a night has ended, by a command that staff configured."""

from __future__ import annotations

import subprocess
from collections.abc import Callable, Sequence
from pathlib import Path

LIMIT_S = 60.0
"""The command is given up after so long."""


def notify(command: Sequence[str], record: Path, log: Callable[[str], None]) -> None:
    """Run the command that staff configured; what goes wrong with it is a line of the log."""
    if not command:
        return
    try:
        done = subprocess.run([*command, str(record)], check=False, capture_output=True, timeout=LIMIT_S, text=True)
    except (OSError, subprocess.TimeoutExpired) as error:
        log(f"The command night.notify could not be run ({error}); check it in the settings.")
        return
    if done.returncode:
        told = (done.stderr or done.stdout).strip().splitlines()
        log(f"The command night.notify ended with {done.returncode}{f': {told[-1]}' if told else ''}.")
