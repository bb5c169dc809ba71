"""Files and folders that are there whole or not at all, after a kill and after a power cut.

A file is written under a temporary name beside its place and renamed. A rename alone survives the death of the
process; after a power cut a file system may know the new name and not the bytes, so the bytes are brought to the disk
before the rename and the folder, which holds the name, after it (rename(2), fsync(2)).
"""

from __future__ import annotations

import errno
import os
from collections.abc import Callable
from pathlib import Path

TEMPORARY = ".tmp"
"""Ending of what is not whole yet."""


def temporary_of(path: Path) -> Path:
    """A name beside a file's, of this process alone, under which it is made."""
    return path.with_name(f"{path.name}.{os.getpid()}{TEMPORARY}")


def write_whole(path: Path, content: str | bytes) -> None:
    """Replace a file by other content, whole; when it cannot be written the file stays as it was."""
    data = content.encode() if isinstance(content, str) else content

    def write(temporary: Path) -> None:
        temporary.write_bytes(data)

    os.replace(made_aside(path, write), path)
    flush_folder(path.parent)


def made_aside(path: Path, write: Callable[[Path], object]) -> Path:
    """Make a file under its temporary name and bring it to the disk; nothing is left of it when that fails.

    Returns
    -------
    Path
        The temporary name, for ``os.replace``; :func:`flush_folder` comes after that.
    """
    temporary = temporary_of(path)
    try:
        write(temporary)
        with temporary.open("rb+") as stream:
            os.fsync(stream.fileno())
    except BaseException:
        temporary.unlink(missing_ok=True)
        raise
    return temporary


def rename_whole(folder: Path, final: Path) -> None:
    """Give a folder, whose files are on the disk, its name.

    Raises
    ------
    FileExistsError
        If there is one of that name with something in it.
    """
    flush_folder(folder)
    try:
        os.rename(folder, final)
    except OSError as error:
        if error.errno not in (errno.ENOTEMPTY, errno.EEXIST):
            raise
        raise FileExistsError(error.errno, error.strerror, str(final)) from error
    flush_folder(final.parent)


def flush_folder(folder: Path) -> None:
    """Bring a folder's names to the disk, where the system can (Windows and some shares cannot)."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except PermissionError:
        return
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno not in (errno.EINVAL, errno.EBADF, errno.ENOTSUP):
            raise
    finally:
        os.close(handle)


def append_line(path: Path, line: str) -> None:
    """Add a line to a log and bring it to the disk; half a line that a kill has left is ended first."""
    with path.open("ab+") as log:
        end = log.seek(0, os.SEEK_END)
        if end:
            log.seek(end - 1)
        broken = bool(end) and log.read(1) != b"\n"
        log.write((b"\n" if broken else b"") + line.encode() + b"\n")
        log.flush()
        os.fsync(log.fileno())


def clear_temporaries(folder: Path) -> None:
    """Take away what killed processes have left unfinished in a folder; nobody else may be at work in it."""
    for path in folder.glob(f"*{TEMPORARY}"):
        if path.is_file():
            path.unlink(missing_ok=True)
