"""Files that people write by hand or bring along: one way to read them, whatever is wrong with them.

Whatever a file holds, reading it ends soon, in its text, in its values, or in one error of the reader's own sort with
one sentence: what is wrong, in which file and line, and what to do.
"""

from __future__ import annotations

import json
import os
import stat
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from pipeline.errors import ElbowroomError

LARGEST_MB = 1
"""No file that somebody writes by hand is larger."""

LONGEST_LINE = 20_000
"""Characters; what is longer was not written by hand, and readers of nested text take ages over it."""

DEEPEST = 20
"""Lists and tables within each other."""

SHOWN_AT_MOST = 160

Wrong = Callable[[str], ElbowroomError]
"""What an error of a reader is made with."""


def read_text(path: Path, wrong: Wrong, *, largest_mb: float = LARGEST_MB, longest_line: int = LONGEST_LINE) -> str:
    """The text of a file in UTF-8; a mark at its beginning and the line ends of other systems are taken away.

    Raises
    ------
    FileNotFoundError
        If nothing is there; the caller knows what that means.
    ElbowroomError
        By ``wrong``, if it is no file, too large, may not be read, or is no text.
    """
    try:
        data = _read_bytes(path, wrong, largest_mb)
    except FileNotFoundError:
        raise
    except OSError as error:
        raise wrong(f"{path} cannot be read ({error.strerror or error}); check its permissions.") from error
    except ValueError as error:
        raise wrong(f"{shown(str(path))} is no name of a file ({error}); correct it.") from error
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        at = data[: error.start].count(b"\n") + 1
        raise wrong(f"{path}, line {at}, is not UTF-8 text; save it as UTF-8.") from error
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    for number, line in enumerate(lines, start=1):
        if len(line) > longest_line:
            raise wrong(f"{path}, line {number}, is {len(line)} characters long; break it up or take it away.")
        if "\0" in line:
            raise wrong(f"{path}, line {number}, holds a zero byte, so it is damaged or no text; write it again.")
    return "\n".join(lines)


def _read_bytes(path: Path, wrong: Wrong, largest_mb: float) -> bytes:
    told = path.stat()
    if stat.S_ISDIR(told.st_mode):
        raise wrong(f"{path} is a folder where a file belongs; move it away.")
    if not stat.S_ISREG(told.st_mode):
        raise wrong(f"{path} is a pipe or device where a file belongs; move it away.")
    if told.st_size > largest_mb * 1e6:
        raise wrong(
            f"{path} is {told.st_size / 1e6:.0f} MB large and should be below {largest_mb:g} MB; it is another file, "
            "or damaged: put the right one there."
        )
    return path.read_bytes()


def read_toml(path: Path, wrong: Wrong, *, advice: str = "repair that place") -> dict[str, Any]:
    """The values of a TOML file.

    Raises
    ------
    FileNotFoundError
        If nothing is there.
    ElbowroomError
        By ``wrong``, as for :func:`read_text`, and if it is no TOML.
    """
    text = read_text(path, wrong)
    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        what = shown(str(error))
        if "Cannot overwrite a value" in what:
            what = f"something is written twice {what.rpartition(' (')[2].rstrip(')')}"
        raise wrong(f"{path} is not valid TOML: {what}; {advice}.") from error
    except RecursionError as error:
        raise wrong(f"{path} is not valid TOML: it nests lists or tables hundreds deep; {advice}.") from error
    except ValueError as error:
        raise wrong(f"{path} is not valid TOML: {shown(str(error))}; {advice}.") from error
    if _is_deeper(values, DEEPEST):
        raise wrong(f"{path} nests lists or tables more than {DEEPEST} deep; {advice}.")
    return values


def _is_deeper(values: Any, deepest: int) -> bool:
    """Whether lists and tables lie within each other deeper than that; goes level by level."""
    level = [values]
    for _ in range(deepest):
        inside = [one for value in level for one in (value.values() if isinstance(value, dict) else value)]
        level = [one for one in inside if isinstance(one, dict | list)]
    return bool(level)


def read_json(path: Path, wrong: Wrong, *, advice: str, largest_mb: float = 256) -> Any:
    """The values of a JSON file that a program wrote.

    Raises
    ------
    FileNotFoundError
        If nothing is there.
    ElbowroomError
        By ``wrong``, as for :func:`read_text`, and if it is no JSON.
    """
    text = read_text(path, wrong, largest_mb=largest_mb, longest_line=int(largest_mb * 1e6))
    try:
        return json.loads(text)
    except RecursionError as error:
        raise wrong(f"{path} is not valid JSON (it nests hundreds deep); {advice}.") from error
    except ValueError as error:
        raise wrong(f"{path} is not valid JSON ({shown(str(error))}); {advice}.") from error


def first_wrong(error: ValidationError) -> tuple[str, str]:
    """Name (dotted, empty for the whole) and trouble of the first value that a model refused."""
    first = error.errors(include_url=False)[0]
    name = ".".join(str(part) for part in first["loc"])
    return shown(name), shown(first["msg"].removeprefix("Value error, "))


def sayable(path: Path) -> str:
    """A path as text that can be written anywhere: bytes in its name that are no letters become a sign for that."""
    return os.fsencode(path).decode("utf-8", errors="replace")


def one_line(text: str) -> str:
    """A text without line breaks and other signs that cannot be printed."""
    return "".join(sign if sign.isprintable() else " " for sign in text)


def shown(text: str, at_most: int = SHOWN_AT_MOST) -> str:
    """Somebody else's words as they may stand in a sentence: one line, not too long, nothing that cannot be printed."""
    line = " ".join(one_line(text[: 4 * at_most]).split())
    return line if len(line) <= at_most else f"{line[: at_most - 1]}…"


def shown_value(value: object, at_most: int = 60) -> str:
    """A value that was read, as it may stand in a sentence."""
    if isinstance(value, dict | list):
        return "a table" if isinstance(value, dict) else "a list"
    return shown(repr(value)[: 4 * at_most], at_most)
