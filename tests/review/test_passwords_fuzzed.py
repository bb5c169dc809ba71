"""Spoilt password and session files: refused in one sentence; nobody comes in by them."""

from __future__ import annotations

from pathlib import Path

import pytest
from broken_files import ODD_PLACES, odd_place, read_or_told, spoilt
from hypothesis import given
from hypothesis import strategies as st

from pipeline.review.passwords import PasswordFile, check_name
from pipeline.review.sessions import Sessions

HASH = "$argon2id$v=19$m=65536,t=3,p=4$c29tZXNhbHQxMjM0NTY$Zm9vYmFyZm9vYmFyZm9vYmFyZm9vYmFyZm9vYmFyZm8"
GOOD = f"# Who may log in.\nAnn:{HASH}\nKim Müller:{HASH}\n".encode()


@pytest.fixture(scope="module")
def place(tmp_path_factory) -> Path:
    return tmp_path_factory.mktemp("doors")


@given(data=spoilt(GOOD))
def test_a_spoilt_password_file(place, data):
    path = place / "passwords"
    path.write_bytes(data)
    path.chmod(0o600)
    names = read_or_told(PasswordFile(path).hashes, path)
    assert names is None or all(told.startswith("$argon2") for told in names.values())


@pytest.mark.parametrize("odd", ODD_PLACES)
def test_something_odd_in_its_place(place, odd):
    path = place / "passwords"
    with odd_place(path, odd):
        if path.is_file():
            path.chmod(0o600)
        read_or_told(PasswordFile(path).hashes, path)


@given(name=st.text(max_size=80))
def test_any_name(name):
    told = read_or_told(lambda: check_name(name), None)
    assert told is None or (told.isprintable() and ":" not in told)


@given(data=spoilt(b'["a1", 99999999999.5]\n["b2", 99999999999.5]\n'))
def test_a_spoilt_list_of_ended_sessions(place, data):
    folder = place / "review"
    folder.mkdir(exist_ok=True)
    for one in folder.iterdir():
        one.unlink()
    made = read_or_told(lambda: Sessions(folder, longest_s=100.0, idle_s=10.0), None)
    assert made is not None
    files = [one for one in folder.iterdir() if "ended" in one.name]
    ended = files[0] if files else folder / "ended_sessions"
    ended.write_bytes(data)
    read_or_told(lambda: Sessions(folder, longest_s=100.0, idle_s=10.0), ended)
