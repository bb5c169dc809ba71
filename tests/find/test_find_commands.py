"""The commands find, sql and precision: results on standard output, the rest beside it, mistakes in a sentence."""

import csv
import io
import json
import sys

import pyarrow.parquet as pq
import pytest
from made_up_library import GAMES, NOW, make_library
from typer.testing import CliRunner

from pipeline import cli
from pipeline.tags import State

RUN = CliRunner()
FIRST, SECOND = GAMES


@pytest.fixture(scope="module")
def library(tmp_path_factory):
    made = make_library(tmp_path_factory.mktemp("commands") / "library")
    with made.tag_store() as store:
        store.decide(1, State.CONFIRMED, who="ana", when=NOW)
    return str(made.root)


def done(*arguments):
    result = RUN.invoke(cli.app, list(arguments))
    assert result.exit_code == 0, result.output
    return result


def test_a_table_for_people(library):
    result = done("find", "weak_side_motion return_catch_ft > 28", "--library", library)
    assert "return_catch_ft" in result.stdout
    assert "30.50" in result.stdout
    assert "4 hits." in result.stderr
    assert "2 more cannot be told" in result.stderr


def test_files_for_programs_hold_the_same(library, tmp_path):
    asked = ["find", "--set", "weak_side_motion", "--where", "return_catch_ft > 28", "--library", library]
    told = json.loads(done(*asked, "--form", "json").stdout)
    assert [row["return_catch_ft"] for row in told] == [30.5, 29.0, 30.5, 29.0]
    rows = list(csv.DictReader(io.StringIO(done(*asked, "--form", "csv").stdout)))
    assert [float(row["return_catch_ft"]) for row in rows] == [30.5, 29.0, 30.5, 29.0]
    assert {row["game"] for row in rows} == set(GAMES)
    to = tmp_path / "hits.parquet"
    done(*asked, "--form", "parquet", "--out", str(to))
    assert pq.read_table(to).to_pylist() == told


def test_columns_are_listed(library):
    text = done("find", "--set", "weak_side_motion", "--columns", "--library", library).stdout
    assert "return_catch_ft: where the guard catches the return pass (ft)" in text
    assert "(good, fair, poor)" in text


def test_sql(library, tmp_path):
    assert "tags: one row a tag of the store" in done("sql").stdout
    text = done("sql", "SELECT game, count(*) AS n FROM actions GROUP BY game", "--library", library).stdout
    assert FIRST in text
    query = "SELECT measures, actors, decided_at FROM tags WHERE tag = 1"
    told = json.loads(done("sql", query, "--form", "json", "--library", library).stdout)
    assert told[0]["decided_at"].startswith("2026-01-02T03:04:05")
    done("sql", "FROM tags", "--form", "csv", "--out", str(tmp_path / "tags.csv"), "--library", library)
    assert (tmp_path / "tags.csv").read_text().count("\n") >= 12


def test_precision(library, tmp_path):
    result = done("precision", "--library", library, "--out", str(tmp_path / "plots"))
    assert "1 decided, 1 confirmed." in result.stdout
    assert list((tmp_path / "plots").glob("*.svg"))
    assert json.loads(done("precision", "--library", library, "--json").stdout)[0]["decided"] == 1


@pytest.mark.parametrize(
    "arguments",
    [
        ["find", "tem:x"],
        ["find", "--set", "hornz"],
        ["find", "--where", "score >"],
        ["find", "--where", "scre > 1"],
        ["find", "--order", "scre"],
        ["find", "--out", "/nowhere/at/all.csv"],
        ["sql", "DROP VIEW tags"],
        ["sql", "SELECT * FROM read_csv('/etc/passwd')"],
    ],
)
def test_a_mistake_is_told_and_nothing_printed(library, arguments, capsys, monkeypatch):
    monkeypatch.setattr(sys, "argv", ["elbowroom", *arguments, "--library", library])
    with pytest.raises(SystemExit) as stopped:
        cli.main()
    shown = capsys.readouterr()
    assert stopped.value.code == 2
    assert shown.out == ""
    assert [line for line in shown.err.splitlines() if line.startswith("elbowroom: ")]
    assert "Traceback" not in shown.err


def test_long_tables_are_printed_as_they_are(capsys):
    """A season's list in seconds: its columns stand under their names, nothing is folded."""
    from pipeline.cli import screen

    rows = [(str(number), "x" * 300) for number in range(screen.FOLDED_ROWS + 1)]
    screen._draw(("tag", "what"), rows, right=("tag",))
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == len(rows) + 1
    assert lines[0] == "tag what"
    assert lines[1] == f"  0 {'x' * 300}"
