"""Every command with missing and odd arguments, odd places, odd libraries: exit code 2 and one sentence, and soon."""

from __future__ import annotations

import itertools
import os
import signal
import typing
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, get_args, get_origin

import pytest
import typer
from broken_files import check_sentence
from typer.testing import CliRunner

from pipeline import cli
from pipeline.errors import ElbowroomError

LONGEST_S = 40.0
"""Processor time of one command, its imports included."""

ALREADY = {"--cluster", "--version", "--help"}
"""Options left alone: a cluster's address is somebody else's to refuse, after a while."""

TEXTS = (
    "",
    "nan",
    "-1",
    "\x1b[31m\x00"[:5],
    "x" * 5000,
    "../..",
    "\U0001f3c0 'a' \"b\"",
    "1:2:3:4",
    "%s {0}",
    "\udcff",
)
NUMBERS = ("nan", "inf", "-1", "1e400", "9" * 30, "x", "0")


def commands() -> Iterator[tuple[tuple[str, ...], Any]]:
    """Every command with the words that call it."""

    def below(command: Any, words: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], Any]]:
        if not hasattr(command, "commands"):
            yield words, command
            return
        for name, one in command.commands.items():
            yield from below(one, (*words, name))

    yield from below(typer.main.get_command(cli.app), ())


COMMANDS = dict(commands())

AT_WORK = {
    "run",
    "night",
    "rerun",
    "import-tracks",
    "review",
    "review-user",
    "clip",
    "look",
    "bench",
    "sim",
    "evaluate",
}
"""Commands that open networks, ask for a password, serve or measure: their readers have tests of their own."""


def kind_of(parameter: Any) -> type:
    """What a parameter holds: Path, str, int, float or bool; a Literal counts as its choices' type."""
    annotation = parameter.type_descriptor.annotation
    while get_args(annotation) and get_origin(annotation) is not typing.Literal:
        annotation = next(one for one in get_args(annotation) if one is not type(None))
    return str if get_origin(annotation) is typing.Literal else annotation


def choices_of(parameter: Any) -> tuple[str, ...]:
    annotation = parameter.type_descriptor.annotation
    while get_args(annotation) and get_origin(annotation) is not typing.Literal:
        annotation = next(one for one in get_args(annotation) if one is not type(None))
    return tuple(map(str, get_args(annotation)))


def usual(parameter: Any, place: Path) -> str:
    """A value of the right sort that stands for nothing."""
    kind = kind_of(parameter)
    if parameter.name == "plan":
        return "x"  # a right one would be filmed
    if choices_of(parameter):
        return choices_of(parameter)[0]
    if kind is Path:
        return str(place / "no such place" / f"{parameter.name}.csv")
    return "1" if kind in (int, float) else "x"


def line(words: tuple[str, ...], place: Path, changed: dict[str, str] | None = None) -> list[str]:
    """A command line: what must be there, the library, and what is changed."""
    changed = changed or {}
    command = COMMANDS[words]
    told: list[str] = [*words]
    arguments: list[str] = []
    for parameter in command.params:
        name = parameter.opts[0]
        library = {"--library": str(place / "library")}
        value = changed.get(name, library.get(name))
        if parameter.param_type_name == "argument":
            if parameter.required or name in changed:
                arguments.append(usual(parameter, place) if value is None else value)
        elif value is not None or parameter.required:
            if getattr(parameter, "is_flag", False):
                told.append(name)
            else:
                told += [name, usual(parameter, place) if value is None else value]
    if words == ("evaluate", "report") and "--readme" not in changed:
        told += ["--readme", str(place / "no such place" / "README.md")]
    return [*told, "--", *arguments] if arguments else told


@contextmanager
def soon() -> Iterator[None]:
    """Stop what works or waits for too long; importing a heavy library takes its time on a busy machine."""

    def late(_number: int, _frame: object) -> None:
        raise AssertionError(f"it works longer than {LONGEST_S} s, or waits for ever")

    before = {number: signal.signal(number, late) for number in (signal.SIGPROF, signal.SIGALRM)}
    signal.setitimer(signal.ITIMER_PROF, LONGEST_S)
    signal.setitimer(signal.ITIMER_REAL, 10 * LONGEST_S)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.setitimer(signal.ITIMER_REAL, 0)
        for number, handler in before.items():
            signal.signal(number, handler)


def check(arguments: list[str]) -> int:
    """Run a command line; what ends it must be what the command line can tell. Returns its exit code."""
    with soon():
        result = CliRunner().invoke(cli.app, arguments)
    error = result.exception
    if isinstance(error, ElbowroomError):
        check_sentence(error, "")
        return 2
    if isinstance(error, OSError):
        assert error.filename, f"{arguments}: {error!r} does not say where"
        return 2
    assert error is None or isinstance(error, SystemExit), f"{arguments}: {error!r}"
    assert "Traceback" not in result.output
    return result.exit_code


@pytest.fixture
def place(tmp_path, monkeypatch) -> Path:
    """A place with an odd thing of every sort; the folder that commands run in."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "folder").mkdir()
    (tmp_path / "noise").write_bytes(bytes(range(256)) * 8)
    (tmp_path / "empty").write_bytes(b"")
    (tmp_path / "link").symlink_to(tmp_path / "nowhere")
    os.mkfifo(tmp_path / "pipe")
    return tmp_path


def odd_values(parameter: Any, place: Path) -> list[str]:
    kind = kind_of(parameter)
    if kind is Path:
        return [str(place / name) for name in ("folder", "noise", "empty", "link", "pipe", "x" * 300)]
    return list(NUMBERS if kind in (int, float) else TEXTS)


@pytest.mark.parametrize("words", COMMANDS, ids=" ".join)
def test_what_must_be_told_is_asked_for(words, place):
    """Without what it needs, and with things that are not there, a command refuses."""
    needs = [parameter for parameter in COMMANDS[words].params if parameter.required]
    if needs:
        assert check([*words]) == 2
    assert check([*words, "--no-such-option"]) == 2
    if needs or (words != ("sql",) and any(parameter.name == "library" for parameter in COMMANDS[words].params)):
        assert check(line(words, place)) != 0
    assert not (place / "library").exists() or words == ("review-user",), "nothing was made for nothing"


@pytest.mark.slow
@pytest.mark.parametrize("words", [words for words in COMMANDS if words[0] not in AT_WORK], ids=" ".join)
def test_one_odd_argument(words, place):
    """Every argument in turn is something odd; which of the odd values goes round from argument to argument."""
    turn = itertools.count(sum(map(ord, "".join(words))))
    for parameter in COMMANDS[words].params:
        if parameter.opts[0] in ALREADY or getattr(parameter, "is_flag", False):
            continue
        odd = odd_values(parameter, place)
        check(line(words, place, {parameter.opts[0]: odd[next(turn) % len(odd)]}))
