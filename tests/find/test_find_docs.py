"""docs/find.md tells the truth: its examples run, its columns are all there are."""

import re
import shlex
from pathlib import Path

import pytest
from made_up_library import NOW, make_library
from typer.testing import CliRunner

from pipeline import cli
from pipeline.find import open_views, read_bar
from pipeline.find.bar import KEYS
from pipeline.find.names import COMMON
from pipeline.find.view_words import VIEWS
from pipeline.find.views import run_sql
from pipeline.settings import Settings
from pipeline.tags import State

TEXT = (Path(__file__).parents[2] / "docs" / "find.md").read_text(encoding="utf-8")
COMMANDS = [line for block in re.findall(r"```sh\n(.*?)```", TEXT, re.DOTALL) for line in block.splitlines()]
QUERIES = re.findall(r"```sql\n(.*?)```", TEXT, re.DOTALL)
BARS = re.findall(r'elbowroom find "(.*)"', TEXT)


@pytest.fixture(scope="module")
def library(tmp_path_factory):
    made = make_library(tmp_path_factory.mktemp("docs") / "library")
    with made.tag_store() as store:
        for tag in store.tags():
            store.decide(tag.tag, State.CONFIRMED if tag.tag % 2 else State.REJECTED, who="ana", when=NOW)
        store.label(1, add=("monday",), who="ana", when=NOW)
    return made


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_of_the_page_runs(library, tmp_path, command):
    name, *arguments = shlex.split(command)
    assert name == "elbowroom"
    written = []
    if "--out" in arguments:
        place = arguments.index("--out") + 1
        arguments[place] = str(tmp_path / arguments[place])
        written = [Path(arguments[place])]
    done = CliRunner().invoke(cli.app, [*arguments, "--library", str(library.root)])
    assert done.exit_code == 0, done.output
    assert all(path.stat().st_size for path in written)


@pytest.mark.parametrize("query", QUERIES)
def test_every_query_of_the_page_runs(library, query):
    with open_views(library) as views:
        assert run_sql(views, query).num_columns > 1


@pytest.mark.parametrize("line", BARS)
def test_every_line_of_the_page_is_a_search(line):
    assert read_bar(line, Settings()).names_kinds


@pytest.mark.parametrize("view", VIEWS, ids=lambda view: view.name)
def test_every_column_of_every_view_stands_on_the_page(view):
    assert f"**{view.name}**: {view.meaning}." in TEXT
    section = TEXT.split(f"**{view.name}**:", 1)[1].split("\n**", 1)[0]
    for name, meaning in view.columns.items():
        assert f"| `{name}` | {meaning} |" in section, f"{view.name}.{name}"


def test_every_common_column_and_key_stands_on_the_page():
    for column in COMMON:
        assert re.search(rf"\| `{column.name}` \| .*{re.escape(column.meaning)}", TEXT), column.name
    for key in KEYS:
        assert f"`{key}:" in TEXT, key
