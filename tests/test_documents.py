"""The documents tell the truth: their links lead somewhere, their commands exist, their tables are the code's."""

import ast
import importlib
import re
import shlex
from pathlib import Path
from typing import Any

import pytest
import typer

from pipeline import cli
from pipeline.tables import TableSpec

ROOT = Path(__file__).resolve().parents[1]
DOCUMENTS = sorted([*ROOT.glob("*.md"), *(ROOT / "docs").rglob("*.md"), *(ROOT / "configs").rglob("*.md")])

LINK = re.compile(r"!?\[[^\]]*\]\(([^)\s]+)\)")
HEADING = re.compile(r"(?m)^#+ (.*)$")
SHELL = re.compile(r"(?ms)^```sh\n(.*?)^```")
CODE = re.compile(r"`([^`\n]+)`")
COMMAND = re.compile(r"(?:^|\s)(?:\S*/)?elbowroom\s+(.*)")


def anchors(document: Path) -> set[str]:
    """What a heading is called in an address, as web pages of repositories do it."""
    heads = HEADING.findall(document.read_text(encoding="utf-8"))
    return {re.sub(r"[^\w\- ]", "", head.lower()).strip().replace(" ", "-") for head in heads}


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_links_lead_somewhere(document):
    for link in LINK.findall(document.read_text(encoding="utf-8")):
        if re.match(r"[a-z]+:", link):
            continue
        place, _, anchor = link.partition("#")
        target = (document.parent / place).resolve() if place else document
        assert target.exists(), f"{document.name}: {link} leads nowhere"
        if anchor:
            assert anchor in anchors(target), f"{document.name}: {link}: no such heading in {target.name}"


def commands(group: Any, before: tuple[str, ...] = ()) -> dict[tuple[str, ...], Any]:
    found: dict[tuple[str, ...], Any] = {}
    for name, command in group.commands.items():
        here = (*before, name)
        found |= commands(command, here) if hasattr(command, "commands") else {here: command}
    return found


COMMANDS = commands(typer.main.get_command(cli.app))


def written(document: Path) -> list[str]:
    """Every elbowroom command that a document shows: in shell blocks, indented, and within a line."""
    text = document.read_text(encoding="utf-8")
    lines = [line for block in SHELL.findall(text) for line in block.replace("\\\n", " ").splitlines()]
    lines += [line for line in text.splitlines() if line.startswith("    elbowroom ")]
    lines += CODE.findall(re.sub(r"(?ms)^```.*?^```", "", text))
    found = []
    for line in lines:
        for part in re.split(r"&&|\||;(?=\s)", line):
            if (match := COMMAND.search(part)) and not part.strip().startswith(("#", "pip", ".venv/bin/pip")):
                found.append(match.group(1))
    return found


def words(text: str) -> list[str]:
    try:
        return shlex.split(text.split("#")[0])
    except ValueError:  # a quotation that ends elsewhere
        return text.split()


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_commands_and_options_exist(document):
    for text in written(document):
        parts = words(text)
        if not parts or parts[0].startswith("-"):
            continue
        name = next((n for n in (tuple(parts[:2]), tuple(parts[:1])) if n in COMMANDS), None)
        if name is None:
            assert len(parts) == 1 or parts[1] in ("…", "...", "--help"), f"{document.name}: no 'elbowroom {text}'"
            assert parts[0] in {n[0] for n in COMMANDS}, f"{document.name}: no 'elbowroom {text}'"
            continue
        known = {
            option for parameter in COMMANDS[name].params for option in (*parameter.opts, *parameter.secondary_opts)
        }
        for word in parts[len(name) :]:
            option = re.match(r"\[?(--[a-z][a-z-]*)", word)
            if option and option.group(1) != "--help":
                assert option.group(1) in known, f"{document.name}: 'elbowroom {text}': there is no {option.group(1)}"


def declared() -> dict[str, tuple[str, int]]:
    found = {}
    for path in sorted((ROOT / "pipeline").glob("*/tables.py")):
        module = importlib.import_module(f"pipeline.{path.parent.name}.tables")
        for spec in vars(module).values():
            if isinstance(spec, TableSpec):
                found.setdefault(spec.name, (path.parent.name, spec.version))
    return found


def test_the_architecture_page_lists_every_table():
    text = (ROOT / "docs" / "architecture.md").read_text(encoding="utf-8")
    listed = {
        name: (room, int(version))
        for name, room, version in re.findall(r"(?m)^\| `(\w+)` \| `(\w+)` \| (\d+) \|", text)
    }
    assert listed == declared()


def test_the_architecture_page_lists_every_room():
    text = (ROOT / "docs" / "architecture.md").read_text(encoding="utf-8")
    rooms = {path.parent.name for path in (ROOT / "pipeline").glob("*/__init__.py")}
    assert set(re.findall(r"(?m)^\| `(\w+)/` \|", text)) == rooms


def test_places_of_code_exist():
    """What the pages for developers name as a file of the package is one."""
    for document in (ROOT / "DEVELOPERS.md", ROOT / "docs" / "architecture.md"):
        for place in re.findall(r"`((?:\w+/)+\w+\.(?:py|toml|lark|js))`", document.read_text(encoding="utf-8")):
            tried = [ROOT / place, ROOT / "pipeline" / place, ROOT / "pipeline" / "review" / place]
            assert any(path.is_file() for path in tried), f"{document.name}: {place} is not there"


def told_by_the_program() -> list[str]:
    """Every text in the code of the rooms that run films, with an ellipsis for what is filled in."""
    found = []
    for path in (path for room in ("film", "library", "night") for path in (ROOT / "pipeline" / room).rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.JoinedStr):
                found.append("".join(str(v.value) if isinstance(v, ast.Constant) else "…" for v in node.values))
            elif isinstance(node, ast.Constant) and isinstance(node.value, str):
                found.append(node.value)
    return found


def test_the_manual_quotes_what_the_program_says():
    text = (ROOT / "docs" / "manual.md").read_text(encoding="utf-8")
    section = text[text.index("## 4. When a film failed") : text.index("## 5.")]
    quoted = re.findall(r"(?m)^\| \*(.+?)\*", section)
    assert len(quoted) > 8
    texts = told_by_the_program()
    for sentence in quoted:
        pieces = [piece.strip(" :") for piece in re.split(r"…|\d+", sentence) if piece.strip(" :")]
        assert any(all(piece in one for piece in pieces) for one in texts), f"nothing says '{sentence}'"


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_nothing_is_left_to_fill_in(document):
    left = re.findall(r"\b(?:[A-Z]+_HERE|TODO|TBD|FIXME|XXX)\b", document.read_text(encoding="utf-8"))
    assert not left, f"{document.name}: {left}"
