"""Spoilt settings and profiles: refused with file and key, or settings that are all finite and within bounds."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest
from broken_files import ODD_PLACES, odd_place, read_or_told, spoilt
from hypothesis import given
from hypothesis import strategies as st

from pipeline.settings import Settings, describe_settings, load_settings, settings_as_toml

WRITTEN = re.sub(r"(?m)^# (\w+ = (?!\(not set\)))", r"\1", settings_as_toml())
"""Every setting written out at its default."""

SECTIONS = [f"[{part}" for part in re.split(r"(?m)^\[", WRITTEN)[1:]]


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("configs")
    (folder / "profiles").mkdir()
    return folder


def test_defaults_written_out_are_the_defaults(folder):
    (folder / "settings.toml").write_text(WRITTEN, encoding="utf-8")
    assert load_settings(folder) == Settings()


@given(data=st.sampled_from(SECTIONS).flatmap(lambda section: spoilt(section.encode())))
def test_spoilt_settings(folder, data):
    path = folder / "settings.toml"
    path.write_bytes(data)
    told = read_or_told(lambda: load_settings(folder), path)
    if told is not None:
        values = [value for _, _, value in describe_settings(told)]
        assert all(math.isfinite(value) for value in values if isinstance(value, float))


@given(data=st.sampled_from(SECTIONS).flatmap(lambda section: spoilt(section.encode())))
def test_a_spoilt_profile(folder, data):
    (folder / "settings.toml").write_bytes(b"")
    path = folder / "profiles" / "mine.toml"
    path.write_bytes(data)
    read_or_told(lambda: load_settings(folder, "mine"), path)


@pytest.mark.parametrize("odd", ODD_PLACES)
@pytest.mark.parametrize("name", ["settings.toml", "profiles/mine.toml"])
def test_something_odd_in_their_place(folder, name, odd):
    (folder / "settings.toml").write_bytes(b"")
    path = folder / name
    with odd_place(path, odd):
        read_or_told(lambda: load_settings(folder, "mine" if name.startswith("profiles") else None), path)
