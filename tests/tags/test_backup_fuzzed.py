"""Spoilt backups and stores: refused in one sentence, and a store that was to be replaced is as it was."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from broken_files import ODD_PLACES, odd_place, read_or_told, spoilt
from hypothesis import given

from pipeline.tags import TagStore
from pipeline.tags.backup import back_up, restore
from tests.tags.candidates import NOW
from tests.tags.test_backup import everything, fill


@pytest.fixture(scope="module")
def place(tmp_path_factory) -> Path:
    return tmp_path_factory.mktemp("backups")


@pytest.fixture(scope="module")
def good(place) -> bytes:
    with TagStore(place / "full.db") as store:
        fill(store)
    back_up(place / "full.db", place / "good.db")
    return (place / "good.db").read_bytes()


@given(data=spoilt(b"SQLite format 3\0" + bytes(range(256)) * 8))
def test_what_is_no_database_is_told(place, data):
    path = place / "spoilt.db"
    path.write_bytes(data)
    _clear(place / "new.db")
    read_or_told(lambda: restore(path, place / "new.db"), path)
    read_or_told(lambda: TagStore(path).close(), path)
    _clear(path)


@pytest.fixture(scope="module")
def kept(place) -> tuple[Path, object]:
    """A store that holds what the backup does not, and all that it tells."""
    with TagStore(place / "kept.db") as store:
        store.save_search("mine", "drives", who="Ann", when=NOW)
        return place / "kept.db", everything(store)


def _clear(path: Path) -> None:
    for one in path.parent.glob(f"{path.name}*"):
        one.unlink()


def test_a_damaged_backup_replaces_nothing(place, good, kept):
    store, before = kept
    for start in range(0, len(good), 4096):
        for length in (1, 64, 4096):
            data = bytearray(good)
            data[start : start + length] = bytes(255 - one for one in data[start : start + length])
            path = place / "damaged.db"
            path.write_bytes(data)
            keep = place / "keep.db"
            _clear(keep)
            told = read_or_told(lambda path=path, keep=keep: restore(path, store, keep=keep), path)
            with TagStore(store) as now:
                if told is None:
                    assert everything(now) == before
            if told is not None:
                restore(keep, store, keep=_free(place))


def _free(place: Path) -> Path:
    path = place / "aside.db"
    _clear(path)
    return path


@pytest.mark.parametrize("odd", ODD_PLACES)
def test_something_odd_in_their_place(place, good, odd):
    path = place / "odd.db"
    path.write_bytes(good)
    with odd_place(path, odd):
        _clear(place / "new.db")
        read_or_told(lambda: restore(path, place / "new.db"), path)
        if odd not in ("nothing in it",):
            read_or_told(lambda: TagStore(path).close(), path)
        shutil.rmtree(place / "none", ignore_errors=True)
        for left in place.glob("odd.db-*"):
            left.unlink()
