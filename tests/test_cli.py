"""The command line: one sentence for every mistake, results on standard output, documented commands."""

import json
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import typer
from typer.testing import CliRunner

from pipeline import cli
from pipeline.night.look import drawn_names
from pipeline.tags import Candidate, Family, TagStore

ROOT = Path(__file__).resolve().parents[1]


def elbowroom(*arguments: str, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "pipeline.cli", *arguments],
        capture_output=True,
        text=True,
        cwd=cwd or ROOT,
        env=None,
        check=False,
        timeout=120,
    )


@pytest.fixture
def library(tmp_path) -> Path:
    folder = tmp_path / "library"
    folder.mkdir()
    found = Candidate(
        kind="crowded_paint",
        family=Family.FAULT,
        shot=0,
        possession=None,
        team=None,
        start_s=4.0,
        end_s=9.0,
        t_s=6.5,
        actors=(("handler", 3),),
        measures={"count": 6.0},
        traits={},
        score=0.91,
        severity="fault",
        sentence="6 others stand in the paint.",
    )
    with TagStore(folder / "library.db") as store:
        store.merge("game-a", [found], who="run", when=datetime(2026, 1, 1, tzinfo=UTC))
    return folder


def test_list_shows_tags_for_people_and_programs(library):
    runner = CliRunner()
    shown = runner.invoke(cli.app, ["list", "--library", str(library)])
    assert shown.exit_code == 0
    assert "crowded_paint" in shown.stdout
    assert "0:06.5" in shown.stdout
    told = json.loads(runner.invoke(cli.app, ["list", "--library", str(library), "--json"]).stdout)
    assert told[0]["measures"] == {"count": 6.0}
    assert told[0]["actors"] == [{"role": "handler", "track": 3}]
    assert json.loads(runner.invoke(cli.app, ["list", "--library", str(library), "--kind", "x", "--json"]).stdout) == []


def mistakes(tmp_path: Path) -> dict[str, list[str]]:
    text = tmp_path / "notes.txt"
    text.write_text("not a film")
    (tmp_path / "empty.mp4").write_bytes(b"")
    (tmp_path / "files").mkdir()
    (tmp_path / "files" / "a").write_text("x")
    new = ["--library", str(tmp_path / "new")]
    return {
        "missing film": ["run", str(tmp_path / "no.mp4"), *new],
        "text as film": ["run", str(text), *new],
        "empty film": ["run", str(tmp_path / "empty.mp4"), *new],
        "folder as film": ["run", str(tmp_path), *new],
        "library is a file": ["list", "--library", str(text)],
        "library is something else": ["run", str(text), "--library", str(tmp_path / "files")],
        "no library": ["list", *new],
        "clip without library": ["clip", "1", *new],
        "configs missing": ["run", str(text), *new, "--configs", str(tmp_path / "no")],
        "point": ["look", str(text), "--at", "12"],
        "no labels": ["evaluate", "court-frames", str(tmp_path)],
        "no boxes": ["evaluate", "boxes", str(tmp_path)],
        "no sequences": ["evaluate", "mot", str(tmp_path / "files")],
        "no possessions": ["evaluate", "play", str(tmp_path)],
        "no tracking": ["import-tracks", str(tmp_path / "no.csv"), *new],
        "text as tracking": ["import-tracks", str(text), *new],
        "no truth": ["evaluate", "film", str(tmp_path), str(tmp_path)],
        "no true actions": ["evaluate", "actions", str(tmp_path), str(tmp_path)],
        "no readme": ["evaluate", "report", "--readme", str(tmp_path / "no.md")],
    }


NAMES = (
    "missing film",
    "text as film",
    "empty film",
    "folder as film",
    "library is a file",
    "library is something else",
    "no library",
    "clip without library",
    "configs missing",
    "point",
    "no labels",
    "no boxes",
    "no sequences",
    "no possessions",
    "no tracking",
    "text as tracking",
    "no truth",
    "no readme",
)


@pytest.mark.parametrize("name", NAMES)
def test_a_mistake_is_one_sentence_and_exit_code_2(tmp_path, name, capsys, monkeypatch):
    monkeypatch.setattr(sys, "argv", ["elbowroom", *mistakes(tmp_path)[name]])
    with pytest.raises(SystemExit) as stopped:
        cli.main()
    assert stopped.value.code == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    said = [line for line in shown.err.splitlines() if line.startswith("elbowroom: ")]
    assert len(said) == 1, shown.err
    assert said[0].endswith(".")
    assert "Traceback" not in shown.err
    assert not (tmp_path / "new").exists(), "a mistake leaves no half library"


def test_an_unknown_tag_is_named(library, capsys, monkeypatch):
    monkeypatch.setattr(sys, "argv", ["elbowroom", "clip", "77", "--library", str(library)])
    with pytest.raises(SystemExit):
        cli.main()
    assert "no tag 77" in capsys.readouterr().err


def test_the_command_as_a_process():
    assert elbowroom("--version").stdout.startswith("elbowroom ")
    failed = elbowroom("list", "--library", "/nowhere/at/all")
    assert failed.returncode == 2
    assert failed.stderr.startswith("elbowroom: There is no library")
    assert elbowroom("dance").returncode == 2


def commands(group: Any, before: str = "") -> list[tuple[str, Any]]:
    found: list[tuple[str, Any]] = []
    for name, command in group.commands.items():
        deeper = hasattr(command, "commands")
        found += commands(command, f"{before}{name} ") if deeper else [(f"{before}{name}", command)]
    return found


ALL = commands(typer.main.get_command(cli.app))


def test_the_commands_are_all_there():
    names = {
        "run",
        "import-tracks",
        "bench",
        "list",
        "clip",
        "explain",
        "look",
        "sim",
        "settings",
        "review",
        "review-user",
    }
    names |= {"find", "sql", "precision", "reel", "export"}
    names |= {"decide", "history", "backup", "restore"}
    names |= {"night", "status", "rerun"}
    evaluated = "film films actions sets faults court-frames boxes mot play report"
    names |= {f"evaluate {n}" for n in evaluated.split()}
    names |= {f"report {n}" for n in ("set", "compare", "congestion", "night", "trend")}
    names |= {f"sets {n}" for n in ("check", "show", "try")}
    names |= {f"court {n}" for n in ("pin", "unpin", "show", "landmarks")}
    assert {name for name, _ in ALL} == names


@pytest.mark.parametrize(("name", "command"), ALL, ids=[name for name, _ in ALL])
def test_every_command_and_option_is_documented(name, command):
    documents = (ROOT / "README.md").read_text() + (ROOT / "DEVELOPERS.md").read_text()
    assert f"elbowroom {name}" in documents, f"'elbowroom {name}' stands neither in README.md nor in DEVELOPERS.md"
    assert command.help
    for parameter in command.params:
        if parameter.name != "help":
            assert parameter.help, f"{name}: {parameter.name} has no help"


HEAVY = (
    "torch",
    "ultralytics",
    "openvino",
    "onnxruntime",
    "cv2",
    "av",
    "scenedetect",
    "supervision",
    "sklearn",
    "scipy",
    "matplotlib",
    "fastapi",
    "ray",
)
"""Libraries that take long to load; a command that only reads what others found starts without them."""

LIGHT = (
    ["--version"],
    ["--help"],
    ["run", "--help"],
    ["list"],
    ["status"],
    ["history", "1"],
    ["decide", "1", "confirmed"],
    ["find", "--fault", "any"],
    ["find", "crowded_paint", "--columns"],
    ["precision"],
    ["settings"],
    ["sets", "check", str(ROOT / "configs" / "sets" / "horns.set")],
)

COUNT_LOADED = """
import json, os, sys
from pipeline import cli
heavy, commands = json.loads(sys.argv[1])
for command in commands:
    shown, sys.stdout = sys.stdout, open(os.devnull, "w", encoding="utf-8")
    sys.argv = ["elbowroom", *command]
    try:
        cli.main()
    except SystemExit as stopped:
        code = stopped.code
    sys.stdout = shown
    print(json.dumps([command, code, [name for name in heavy if name in sys.modules]]))
"""


def test_light_commands_start_without_heavy_libraries(library):
    commands = [list(one) for one in LIGHT]
    for command in commands:
        if command[0] not in ("--version", "--help", "run", "settings", "sets"):
            command += ["--library", str(library)]
    done = subprocess.run(
        [sys.executable, "-c", COUNT_LOADED, json.dumps([HEAVY, commands])],
        capture_output=True,
        text=True,
        cwd=ROOT,
        check=True,
        timeout=120,
    )
    told = [json.loads(line) for line in done.stdout.splitlines()]
    assert [command for command, _, _ in told] == commands
    for command, code, loaded in told:
        assert code in (0, None), f"{command} failed: {done.stderr}"
        assert not loaded, f"after '{' '.join(command)}': {loaded}"


def test_drawn_pictures_of_one_name_do_not_overwrite_each_other():
    assert drawn_names([Path("a/1.jpg"), Path("b/1.png"), Path("c/1.jpg"), Path("2.jpg")]) == ["1", "1-2", "1-3", "2"]


def test_readme_has_the_two_commands():
    text = (ROOT / "README.md").read_text()
    lines = [line for line in text.splitlines() if line.startswith("python3 -m venv")]
    assert len(lines) == 2
    film = lines[0].split("elbowroom run ")[1].split()[0]
    assert (ROOT / film).is_file()
    assert film.startswith("sample_clips/")
    assert lines[1].endswith("-m pytest -n 3")
