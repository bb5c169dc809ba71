"""The password file: a name and an Argon2 hash a line.

Hashes are Argon2id with the library's default cost (RFC 9106, second recommended option, as argon2-cffi ships it).
"""

from __future__ import annotations

import os
import stat
import threading
from pathlib import Path

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from pipeline.errors import LibraryError, SettingsError
from pipeline.user_files import read_text, shown

LEAST_LENGTH = 10
LONGEST_NAME = 60
LONGEST_PASSWORD = 500

_HASHER = PasswordHasher()
_ONE_AT_A_TIME = threading.BoundedSemaphore(2)
"""A check takes 64 MiB; a crowd at the door must not take all memory."""
_NOBODY = _HASHER.hash("a password that nobody has")
"""Checked for names that are not in the file, so that both answers take as long."""


class PasswordFile:
    """Who may come in, and with which password.

    Parameters
    ----------
    path : Path
        The file; it need not exist.
    """

    def __init__(self, path: Path) -> None:
        self.path = path

    def exists(self) -> bool:
        """Whether anybody has a password."""
        return self.path.is_file()

    def hashes(self) -> dict[str, str]:
        """Hash by name, read anew each time, for the file may change while the server runs.

        Raises
        ------
        LibraryError
            If the file cannot be read, is readable by others, or a line is not of the form ``name:hash``.
        """
        if not self.exists():
            return {}
        try:
            if stat.S_IMODE(self.path.stat().st_mode) & 0o077:
                raise LibraryError(f"{self.path} can be read by others; run 'chmod 600 {self.path}'.")
            lines = read_text(self.path, LibraryError).split("\n")
        except OSError as error:
            raise LibraryError(f"{self.path} cannot be read ({error.strerror}); check the file.") from error
        found = {}
        for number, line in enumerate(lines, start=1):
            if not line.strip() or line.startswith("#"):
                continue
            name, colon, told = line.partition(":")
            if not colon or not told.startswith("$argon2"):
                raise LibraryError(
                    f"{self.path}, line {number}, is no name with a hash; 'elbowroom review-user NAME' writes one."
                )
            found[name] = told
        return found

    def set(self, name: str, password: str) -> None:
        """Give somebody a password, in place of an earlier one.

        Raises
        ------
        SettingsError
            If name or password will not do.
        """
        told = check_name(name)
        if not LEAST_LENGTH <= len(password) <= LONGEST_PASSWORD:
            raise SettingsError(
                f"A password has {LEAST_LENGTH} to {LONGEST_PASSWORD} characters, this one has {len(password)}; "
                "a few unrelated words make a good one."
            )
        hashes = self.hashes() | {told: _HASHER.hash(password)}
        text = "# Who may log in; 'elbowroom review-user NAME' writes this file.\n"
        text += "".join(f"{who}:{made}\n" for who, made in sorted(hashes.items()))
        temporary = self.path.with_suffix(f".{os.getpid()}.tmp")
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            with os.fdopen(os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w") as stream:
                stream.write(text)
            os.replace(temporary, self.path)
        except OSError as error:
            raise LibraryError(f"{self.path} cannot be written ({error.strerror}); check its folder.") from error

    def check(self, name: str, password: str) -> str | None:
        """The hash that a name and password belong to; None when they belong to none."""
        told = self.hashes().get(name)
        with _ONE_AT_A_TIME:
            try:
                _HASHER.verify(told or _NOBODY, password[: LONGEST_PASSWORD + 1])
            except (VerificationError, InvalidHashError):
                return None
        return told


def check_name(name: str) -> str:
    """A person's name as it goes into the history; SettingsError when it will not do."""
    told = " ".join(name.split())
    if not told or len(told) > LONGEST_NAME or ":" in told or not told.isprintable() or told.startswith("#"):
        raise SettingsError(
            f"'{shown(name, LONGEST_NAME)}' is no name to write into a history; give 1 to {LONGEST_NAME} letters, no "
            "colon."
        )
    return told
