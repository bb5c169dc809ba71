"""The query bar: a whole search in one line.

``weak_side_motion team:Harbour return_catch_ft > 28 and ended = 'post entry'``

Kinds come first, as bare words or as ``set:``, ``action:``, ``fault:``. ``team:``, ``game:``, ``period:``, ``state:``,
``label:``, ``since:``, ``until:``, ``order:`` and ``limit:`` may stand anywhere outside quotes; a value with spaces is
quoted. What is left is the condition. Saved searches are such lines.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace

from pipeline.conditions import Spot, folded
from pipeline.conditions.pointing import pointed, unknown_word
from pipeline.errors import SearchError
from pipeline.find.filters import ANY, Filters
from pipeline.find.names import known_kinds
from pipeline.settings import Settings
from pipeline.tags.records import Family

SOURCE = "the search"
MANY: Mapping[str, str] = {
    "action": "actions",
    "set": "sets",
    "fault": "faults",
    "game": "games",
    "team": "teams",
    "period": "periods",
    "state": "states",
    "label": "labels",
}
"""Keys that may come several times, and the filters that they fill."""

ONCE = ("since", "until", "order", "limit")

KEYS = (*MANY, *ONCE)

_PIECE = re.compile(
    r"""(?P<key>[A-Za-z]+):(?P<value>"[^"\n]*"|'[^'\n]*'|[^\s()"']*) | "[^"\n]*" | '[^'\n]*' | [^\s"']+ | ["']""",
    re.VERBOSE,
)
_WORD = re.compile(r"[A-Za-z][A-Za-z0-9_]*(?:-[A-Za-z0-9_]+)*")
_AFTER_A_NAME = re.compile(r"\s*(?:[<>=!]|(?:is|in|not\s+in|between|known|unknown)\b)", re.IGNORECASE)
_JOINT = re.compile(r"\s*(?:and|where)\b", re.IGNORECASE)
"""What people write between kinds and condition."""

_LONGEST_KIND = 5
"""Words of a kind's name at most, where it is written with spaces."""


def read_bar(text: str, settings: Settings | None = None) -> Filters:
    """Read a line of the query bar.

    Parameters
    ----------
    text : str
    settings : Settings, optional
        For the names of sets and faults; the shipped ones if left out.

    Raises
    ------
    LanguageError
        With line, column, caret and the nearest key that exists; the condition is read when it is searched for.
    """
    found: dict[str, list[str]] = {name: [] for name in MANY.values()}
    single: dict[str, str] = {}
    rest = list(text)
    for piece in _PIECE.finditer(text):
        if piece["key"] is None:
            continue
        key, value = piece["key"].lower(), _unquoted(piece["value"])
        if key not in KEYS:
            raise pointed(unknown_word(piece["key"], "key", KEYS), text, _spot(text, piece.start()), SOURCE, len(key))
        if not value:
            raise pointed(f"'{key}:' has no value.", text, _spot(text, piece.start()), SOURCE, len(piece[0]))
        if key in MANY:
            found[MANY[key]].append(value)
        elif key in single:
            raise pointed(f"'{key}:' stands here twice.", text, _spot(text, piece.start()), SOURCE, len(piece[0]))
        else:
            single[key] = value
        _blank(rest, piece.start(), piece.end())
        if key in ("period", "limit") and not re.fullmatch(r"\d{1,9}", value):
            raise pointed(f"'{key}:' wants a whole number.", text, _spot(text, piece.start()), SOURCE, len(piece[0]))
    _take_kinds(rest, found, settings or Settings())
    where = "".join(rest)
    return Filters(
        **{name: tuple(dict.fromkeys(values)) for name, values in found.items() if name != "periods"},
        periods=tuple(dict.fromkeys(int(one) for one in found["periods"])),
        where=where.rstrip() if where.strip() else "",
        since=single.get("since", ""),
        until=single.get("until", ""),
        order=single.get("order", ""),
        limit=int(single["limit"]) if "limit" in single else None,
        written=text if where.strip() else "",
    )


def bar_text(filters: Filters) -> str:
    """A search as a line of the query bar; :func:`read_bar` of it asks for the same.

    Raises
    ------
    SearchError
        If a value holds both sorts of quotes, which no line can.
    """
    pieces = [f"{key}:{_quoted(str(value))}" for key, field in MANY.items() for value in getattr(filters, field)]
    if filters.where.strip():
        pieces.append(" ".join(filters.where.split("\n")).strip())
    pieces += [
        f"{key}:{_quoted(getattr(filters, key))}" for key in ("since", "until", "order") if getattr(filters, key)
    ]
    if filters.limit is not None:
        pieces.append(f"limit:{filters.limit}")
    return " ".join(pieces)


def same_search(one: Filters, other: Filters) -> bool:
    """Whether two searches ask for the same, wherever their conditions stand in a text."""
    return _bare(one) == _bare(other)


def _bare(filters: Filters) -> Filters:
    return replace(filters, where=filters.where.replace("\n", " ").strip(), written="")


def _take_kinds(rest: list[str], found: dict[str, list[str]], settings: Settings) -> None:
    """Kinds at the head of what is left go into the filters; a word that is compared with something is no kind."""
    fields = {Family.ACTION: "actions", Family.SET: "sets", Family.FAULT: "faults"}
    families: dict[str, list[Family]] = {}
    for kind in known_kinds(settings):
        families.setdefault(kind.name, []).append(kind.family)
    at = 0
    while True:
        text = "".join(rest)
        words = _leading_words(text, at)
        for count in range(len(words), 0, -1):
            start, end = words[0].start(), words[count - 1].end()
            name = folded(text[start:end])
            if name in families and not _AFTER_A_NAME.match(text, end):
                for family in families[name]:
                    found[fields[family]].append(name)
                _blank(rest, at, end)
                at = end
                break
        else:
            break
    joint = _JOINT.match("".join(rest))
    if joint is not None:
        _blank(rest, joint.start(), joint.end())


def _leading_words(text: str, at: int) -> list[re.Match[str]]:
    words: list[re.Match[str]] = []
    while len(words) < _LONGEST_KIND:
        while at < len(text) and (text[at].isspace() or text[at] == ","):
            at += 1
        word = _WORD.match(text, at)
        if word is None:
            break
        words.append(word)
        at = word.end()
    return words


def _blank(rest: list[str], start: int, end: int) -> None:
    for place in range(start, end):
        if rest[place] != "\n":
            rest[place] = " "


def _spot(text: str, place: int) -> Spot:
    before = text[:place]
    return Spot(before.count("\n") + 1, place - (before.rfind("\n") + 1) + 1)


def _unquoted(value: str) -> str:
    return value[1:-1].strip() if value[:1] in "\"'" and value else value


def _quoted(value: str) -> str:
    if re.fullmatch(r"[^\s()\"':,]+", value):
        return value
    if ('"' in value and "'" in value) or "\n" in value:
        raise SearchError(f"{value!r} cannot stand in a search: it holds both sorts of quotes or a new line.")
    return f"'{value}'" if '"' in value else f'"{value}"'


__all__ = ["ANY", "bar_text", "read_bar", "same_search"]
