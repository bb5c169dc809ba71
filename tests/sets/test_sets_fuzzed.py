"""Spoilt set files: refused with a pointer, or read and printed back as equal ones."""

from __future__ import annotations

from pathlib import Path

import pytest
from broken_files import ODD_PLACES, odd_place, read_or_told, spoilt
from hypothesis import given
from hypothesis import strategies as st

from pipeline.sets.library import check_files, read_set_file
from pipeline.sets.printing import set_text
from pipeline.sets.reading import read_set

FILES = sorted((Path(__file__).resolve().parents[2] / "configs" / "sets").glob("*.set"))
GOOD = [path.read_bytes() for path in FILES]


@pytest.fixture(scope="module")
def place(tmp_path_factory) -> Path:
    return tmp_path_factory.mktemp("sets") / "play.txt"


@given(data=st.sampled_from(GOOD).flatmap(spoilt))
def test_a_spoilt_set_file(place, data):
    place.write_bytes(data)
    definition = read_or_told(lambda: read_set_file(place), place)
    if definition is not None:
        assert read_set(set_text(definition)) == definition


@pytest.mark.parametrize("odd", ODD_PLACES)
def test_something_odd_in_a_set_files_place(place, odd):
    with odd_place(place, odd):
        assert read_or_told(lambda: read_set_file(place), place) is None
        read_or_told(lambda: check_files([place]), None)
