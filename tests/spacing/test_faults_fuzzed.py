"""Spoilt fault files: refused with a pointer, or read."""

from __future__ import annotations

from pathlib import Path

import pytest
from broken_files import ODD_PLACES, odd_place, read_or_told, spoilt
from hypothesis import given
from hypothesis import strategies as st

from pipeline.spacing.fault_files import fault_text, read_named_fault
from pipeline.spacing.rules import FaultRule

FILES = sorted((Path(__file__).resolve().parents[2] / "configs" / "faults").glob("*.fault"))


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    return tmp_path_factory.mktemp("faults")


def read(path: Path) -> FaultRule:
    return read_named_fault(fault_text(path), path)


@given(data=st.data())
def test_a_spoilt_fault_file(folder, data):
    good = data.draw(st.sampled_from(FILES))
    path = folder / good.name
    path.write_bytes(data.draw(spoilt(good.read_bytes())))
    rule = read_or_told(lambda: read(path), path)
    assert rule is None or rule.for_s >= 0


@pytest.mark.parametrize("odd", ODD_PLACES)
def test_something_odd_in_a_fault_files_place(folder, odd):
    path = folder / FILES[0].name
    path.write_bytes(FILES[0].read_bytes())
    with odd_place(path, odd):
        assert read_or_told(lambda: read(path), path) is None
    assert read(path).name == path.stem
