"""Files as they come from people and broken disks: spoilt from good ones, and what a reader owes for each.

A reader gives a value or one error of ours with a sentence for people, soon, whatever the bytes are.
"""

from __future__ import annotations

import os
import re
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TypeVar

from hypothesis import strategies as st

from pipeline.errors import ElbowroomError, LanguageError

Value = TypeVar("Value")

LONGEST_S = 10.0
"""Processor time that reading any file may take."""

LONGEST_SENTENCE = 700

NUMBERS = (
    "nan", "-nan", "inf", "-inf", "1e400", "-1", "0", "-0.0", "1e-400", "9" * 30, "9" * 5000, "0x1F", "1_000", "00012",
    "1.", ".5", "true", '""', '"12"', "[]", "{}", "[1, 2]", "1979-05-27", "07:32:00", "null", "~", "\u0663", "",
)  # fmt: skip
"""What may stand where a number stood."""

BITS = (
    "\0", "\ufeff", "\u202e", "\u2028", "\x85", "\x0b", "\x1b[31m", "\U0001f3c0", "e\u0301", "\n", "\r", "\t", "\r\n",
    '"', "'", '"""', "'''", "#", "\\", "\\u0000", "=", "==", ".", ",", ";", ":", "[", "]", "[[", "]]", "{", "}",
    "(", ")", "%s", "{0}", "$HOME", "<b>", "../../etc/passwd", "not ", "and ", "or ", "NaN", "[a]\n", "a = 1\n",
    "unknown ",
)  # fmt: skip
"""What may slip into a text."""

DEEP = (("[", "]"), ("{a=", "}"), ("(", ")"), ("not ", ""), ("a.", ""), ('{"a":', "}"), ("[[a]]\n", ""))
"""What may be nested, and how it ends."""

_NUMBER = re.compile(rb"-?\d+(?:\.\d+)?")
_WORD = re.compile(rb"[A-Za-z_]{2,}")


@st.composite
def spoilt(draw: st.DrawFn, good: bytes) -> bytes:
    """A good file with one to four things wrong with it."""
    data = good
    for _ in range(draw(st.integers(1, 4))):
        data = draw(st.sampled_from(_EDITS))(draw, data)
    return data


def _place(draw: st.DrawFn, data: bytes) -> int:
    return draw(st.integers(0, len(data)))


def _byte(draw: st.DrawFn, data: bytes) -> bytes:
    at = _place(draw, data)
    return data[:at] + bytes([draw(st.integers(0, 255))]) + data[at + 1 :]


def _cut(draw: st.DrawFn, data: bytes) -> bytes:
    return data[: _place(draw, data)]


def _hole(draw: st.DrawFn, data: bytes) -> bytes:
    one, other = sorted((_place(draw, data), _place(draw, data)))
    return data[:one] + data[other:]


def _again(draw: st.DrawFn, data: bytes) -> bytes:
    one, other = sorted((_place(draw, data), _place(draw, data)))
    return data[:other] + data[one:other] + data[other:]


def _lines(draw: st.DrawFn, data: bytes) -> bytes:
    lines = data.split(b"\n")
    at = draw(st.integers(0, len(lines) - 1))
    other = draw(st.integers(0, len(lines) - 1))
    match draw(st.sampled_from(("double", "drop", "swap"))):
        case "double":
            lines.insert(at, lines[at])
        case "drop":
            del lines[at]
        case _:
            lines[at], lines[other] = lines[other], lines[at]
    return b"\n".join(lines)


def _number(draw: st.DrawFn, data: bytes) -> bytes:
    found = list(_NUMBER.finditer(data))
    if not found:
        return data
    one = found[draw(st.integers(0, len(found) - 1))]
    return data[: one.start()] + draw(st.sampled_from(NUMBERS)).encode() + data[one.end() :]


def _word(draw: st.DrawFn, data: bytes) -> bytes:
    found = list(_WORD.finditer(data))
    if not found:
        return data
    one = found[draw(st.integers(0, len(found) - 1))]
    other = found[draw(st.integers(0, len(found) - 1))].group()
    new = draw(st.sampled_from((other, one.group()[:-1], one.group().upper(), b"x" * 300, "größe".encode(), b"")))
    return data[: one.start()] + new + data[one.end() :]


def _bit(draw: st.DrawFn, data: bytes) -> bytes:
    at = _place(draw, data)
    return data[:at] + draw(st.sampled_from(BITS)).encode() + data[at:]


def _letters(draw: st.DrawFn, data: bytes) -> bytes:
    at = _place(draw, data)
    return data[:at] + draw(st.text(max_size=8)).encode() + data[at:]


def _deep(draw: st.DrawFn, data: bytes) -> bytes:
    at = _place(draw, data)
    begin, end = draw(st.sampled_from(DEEP))
    times = draw(st.sampled_from((30, 150, 400, 3000)))
    inside = draw(st.sampled_from(("", "1", "a=1", "a > 1")))
    closed = draw(st.sampled_from((end, ""))) * times
    return data[:at] + (begin * times + inside + closed).encode() + data[at:]


def _long(draw: st.DrawFn, data: bytes) -> bytes:
    at = _place(draw, data)
    return data[:at] + draw(st.sampled_from((b"x", b"9", b" ", b"a.", b"#", b'"', b",1"))) * 15_000 + data[at:]


def _coding(draw: st.DrawFn, data: bytes) -> bytes:
    text = data.decode("utf-8", errors="replace")
    coding = draw(st.sampled_from(("utf-16", "utf-16-le", "utf-32", "latin-1", "cp1252", "utf-8-sig", "crlf", "cr")))
    if coding in ("crlf", "cr"):
        return text.replace("\n", "\r\n" if coding == "crlf" else "\r").encode()
    return text.encode(coding, errors="replace")


def _noise(draw: st.DrawFn, _data: bytes) -> bytes:
    return draw(st.binary(max_size=64))


_EDITS = (
    _byte, _cut, _hole, _again, _lines, _lines, _number, _number, _number, _word, _word, _bit, _bit, _letters, _deep,
    _long, _coding, _noise,
)  # fmt: skip


def read_or_told(read: Callable[[], Value], path: Path | None) -> Value | None:
    """What a reader gives; None where it refuses in the way it owes.

    Parameters
    ----------
    read : callable
    path : Path or None
        What its sentence must name; None where there is no file.
    """
    began_s = time.process_time()
    try:
        value = read()
    except ElbowroomError as error:
        check_sentence(error, "" if path is None else path.name)
        value = None
    assert time.process_time() - began_s < LONGEST_S
    return value


def check_sentence(error: ElbowroomError, name: str) -> None:
    """One sentence for people: names the file, ends, fits, and shows nothing of our inside."""
    text = str(error)
    lines = text.split("\n")
    if isinstance(error, LanguageError):
        assert len(lines) == 1 or set(lines[2]) <= {" ", "^"}, text
    else:
        assert len(lines) == 1, text
    told = lines[0]
    assert told.endswith((".", "?")), text
    assert len(told) <= LONGEST_SENTENCE, text
    assert all(sign.isprintable() for line in lines for sign in line), ascii(text)
    assert name in told, text
    for inside in ("Traceback", "Errno", "object at 0x", "pydantic", "further information", "<class", "Error("):
        assert inside not in told, text


ODD_PLACES = ("a folder", "a pipe", "a link to nowhere", "a link to itself", "nothing in it", "far too large", "zeros")


@contextmanager
def odd_place(path: Path, odd: str) -> Iterator[None]:
    """Something odd in a file's place; what was there comes back."""
    before = path.read_bytes() if path.is_file() else None
    path.unlink(missing_ok=True)
    match odd:
        case "a folder":
            path.mkdir()
        case "a pipe":
            os.mkfifo(path)
        case "a link to nowhere":
            path.symlink_to(path.with_name("nowhere at all"))
        case "a link to itself":
            path.symlink_to(path)
        case "nothing in it":
            path.write_bytes(b"")
        case "far too large":
            with path.open("wb") as stream:
                stream.truncate(300_000_000)
        case "zeros":
            path.write_bytes(bytes(4096))
    try:
        yield
    finally:
        if path.is_dir() and not path.is_symlink():
            path.rmdir()
        else:
            path.unlink()
        if before is not None:
            path.write_bytes(before)
