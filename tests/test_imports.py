"""The rules of the house that a machine can check: import direction, documented settings, no stray prints."""

import ast
import inspect
import tomllib
from pathlib import Path

import pytest
from pydantic import BaseModel

from pipeline.settings import Settings, describe_settings, load_settings, settings_as_toml

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "pipeline"
SOURCES = sorted(PACKAGE.rglob("*.py"))

ORDER = (
    "film",
    "court",
    "players",
    "ball",
    "conditions",
    "actions",
    "sets",
    "spacing",
    "tags",
    "library",
    "find",
    "clips",
    "reports",
    "review",
    "night",
)
"""Rooms in the order of the way; a room imports only rooms before it (and itself)."""

FREE = {
    "tables", "errors", "crew", "networks", "backends", "torch_backend", "shipped", "settings",
    "whole_files", "user_files",
}  # fmt: skip
"""Modules of the package itself."""

READS_TABLES_ONLY = {"sim": {"film", "court", "players", "ball", "actions", "sets", "spacing"}}
"""The simulator sees court geometry, and of the other rooms only their tables."""

KNOW_ALL_SETTINGS = {"library", "find", "clips", "reports", "review", "night"}
"""Rooms that speak of every room before them; the others take their own section of the settings."""

TOO_GENERAL = {"utils", "util", "helpers", "helper", "common", "manager", "managers", "misc"}


def imports(path: Path) -> set[str]:
    """Modules of the package that a file imports, as dotted names without ``pipeline.``."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {name.name for name in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            found.add(node.module)
            found |= {f"{node.module}.{name.name}" for name in node.names} if node.module == "pipeline" else set()
    return {name.removeprefix("pipeline.") for name in found if name.startswith("pipeline.")}


def room(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


@pytest.mark.parametrize("path", SOURCES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_run_one_way(path):
    here = room(path)
    for name in imports(path):
        there = name.split(".")[0]
        if there in {here, "tables", "errors", "user_files"}:
            continue
        if here in {"cli", "training", "evaluate"}:
            assert there != "cli", f"{path}: nothing imports the command line"
            continue
        if here == "sim":
            only_tables = name.split(".")[1:2] == ["tables"]
            assert there == "court" or (there in READS_TABLES_ONLY["sim"] and only_tables), (
                f"{path}: sim imports {name}"
            )
        elif here == "settings":
            assert name.split(".")[1] in {"settings", "detector"}, f"{path}: reads only the rooms' settings, not {name}"
        elif here in ORDER:
            if there in FREE:
                assert there != "settings" or here in KNOW_ALL_SETTINGS, (
                    f"{path}: takes its own section, not all settings"
                )
                continue
            assert there in ORDER, f"{path}: {here} may not import {there}"
            assert ORDER.index(there) < ORDER.index(here), f"{path}: {here} stands before {there}"
        elif here not in FREE and here != "__init__":
            pytest.fail(f"{path} belongs to no room")


def test_every_room_says_what_it_is():
    for folder in sorted(p for p in PACKAGE.iterdir() if p.is_dir() and p.name != "__pycache__"):
        text = ast.get_docstring(ast.parse((folder / "__init__.py").read_text(encoding="utf-8"))) or ""
        assert text.startswith(f"{folder.name}: "), f"{folder.name}/__init__.py opens with what the room is"
        assert "Comes in" in text, folder.name
        assert "Goes out" in text or "goes out" in text, folder.name


@pytest.mark.parametrize("path", SOURCES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_files_keep_the_house_rules(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert not TOO_GENERAL & {part.removesuffix(".py") for part in path.relative_to(PACKAGE).parts}, path
    commands = room(path) == "cli" or any(isinstance(n, ast.FunctionDef) and n.name == "main" for n in tree.body)
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            name = ast.unparse(node.func)
            assert name != "print" or commands, f"{path}:{node.lineno}: print outside the command line"
            assert "VideoCapture" not in name or room(path) == "film", (
                f"{path}:{node.lineno}: films are opened in film/"
            )
        if isinstance(node, ast.ExceptHandler):
            silent = len(node.body) == 1 and isinstance(node.body[0], ast.Pass)
            assert not silent, f"{path}:{node.lineno}: an error is swallowed"


def test_typed_marker_ships():
    assert (PACKAGE / "py.typed").is_file()
    package_data = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["setuptools"]["package-data"]
    assert "py.typed" in package_data["*"]


def models(model: type[BaseModel]) -> set[type[BaseModel]]:
    found = {model}
    for field in model.model_fields.values():
        kind = field.annotation
        if inspect.isclass(kind) and issubclass(kind, BaseModel):
            found |= models(kind)
    return found


@pytest.mark.parametrize("model", sorted(models(Settings), key=lambda m: m.__name__), ids=lambda m: m.__name__)
def test_settings_are_frozen_and_strict(model):
    assert model.model_config.get("frozen"), "settings do not change while the program runs"
    assert model.model_config.get("extra") == "forbid", "an unknown key is refused"
    assert model.__doc__


def test_every_setting_says_what_it_means():
    for name, field, _ in describe_settings():
        assert field.description, f"{name} has no description"
        assert field.description[0].isupper(), name
        assert field.description.endswith("."), name


def test_the_shipped_settings_file_lists_every_setting():
    shipped = (ROOT / "configs" / "settings.toml").read_text(encoding="utf-8")
    assert shipped == settings_as_toml(), "run: elbowroom settings > configs/settings.toml"


def test_the_shipped_configuration_changes_nothing():
    assert load_settings(ROOT / "configs") == Settings()


def test_top_level_is_as_designed():
    allowed = {"README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "pipeline", "models", "tests", "configs"}
    allowed |= {"sample_clips", "docs"}
    ignored = {"build", "dist", "runs", "scratch"}
    found = {p.name for p in ROOT.iterdir() if not p.name.startswith(".") and not p.name.endswith(".egg-info")}
    assert allowed <= found
    assert not found - allowed - ignored
