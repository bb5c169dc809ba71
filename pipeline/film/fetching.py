"""Films that lie at an address: fetched whole, once, into a folder of this machine, and read from there.

An address is anything that fsspec reads (``s3://``, ``sftp://``, ``https://``, ``gs://``, ``file://``, and so on);
what a path names is never copied. The folder holds one folder for each state of an address, so a film that has changed
there is fetched anew; the films that were used longest ago are forgotten when it grows too large.
"""

from __future__ import annotations

import hashlib
import os
import re
import shutil
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any
from urllib.parse import unquote

from filelock import FileLock

from pipeline.errors import FilmError, MissingExtraError

DIGEST_BYTES = 1 << 20

READ_BYTES = 8 << 20
"""An address is read in bites of this size."""

ADDRESS = re.compile(r"[A-Za-z][A-Za-z0-9+.-]+(::|://)")
"""How an address begins; a drive's letter is shorter."""

STATE = ("size", "mtime", "LastModified", "last_modified", "updated", "ETag", "etag", "md5", "md5Hash", "checksum")
"""What file systems say of a file that is another when the file is (names of fsspec's implementations)."""


@dataclass(frozen=True, slots=True)
class FilmCache:
    """Where fetched films are kept.

    Attributes
    ----------
    folder : str
        ``~`` is the home folder of whoever works on that machine.
    most_gb : float
        It grows no larger, but for a film that is larger itself.
    """

    folder: str
    most_gb: float


@dataclass(frozen=True, slots=True)
class FilmPlace:
    """Where a film is found, from any machine.

    Attributes
    ----------
    path : Path
        Its file here; machines that share a folder find it there too.
    digest : str
        Recognises it (`film_digest`).
    address : str
        Where it was fetched from; empty for a film that was given as a path.
    """

    path: Path
    digest: str
    address: str = ""


def is_address(text: str) -> bool:
    """Whether this is the address of a film and no path."""
    return ADDRESS.match(text) is not None


def film_digest(film: Path) -> str:
    """Recognise a film wherever it lies: SHA-256 over its size and its first and last MiB."""
    try:
        size = film.stat().st_size
        digest = hashlib.sha256(str(size).encode())
        with film.open("rb") as stream:
            digest.update(stream.read(DIGEST_BYTES))
            stream.seek(max(0, size - DIGEST_BYTES))
            digest.update(stream.read(DIGEST_BYTES))
    except OSError as error:
        raise FilmError(f"{film} cannot be read ({error.strerror}); check the path and the share.") from error
    return digest.hexdigest()


def found_here(place: FilmPlace, cache: FilmCache, machine: str) -> Path:
    """A film's file on the machine that this is done on.

    Parameters
    ----------
    place : FilmPlace
        As the machine that began the run knows it.
    cache : FilmCache
    machine : str
        Its name, for the sentence that says what is missing.

    Raises
    ------
    FilmError
        If the film is not found here, or another is.
    """
    film = fetched(place.address, cache) if place.address else place.path
    if not film.is_file():
        raise FilmError(
            f"{machine} does not see the film {film}; put it into a folder that all machines have under the same path, "
            "or give its address (s3://, sftp://, https://)."
        ) from FileNotFoundError(film)
    if film_digest(film) != place.digest:
        raise FilmError(
            f"{_shown(place.address) or film} is another film on {machine} than where the run began; look at both."
        )
    return film


def fetched(address: str, cache: FilmCache) -> Path:
    """Fetch a film, unless it is here as it is there; returns its file.

    Processes that want the same film at once wait for the one that fetches it.

    Raises
    ------
    MissingExtraError
        If fsspec, or the package that reads this kind of address, is not installed.
    FilmError
        If there is no such film, or its address does not answer.
    """
    files, name = _opened(address)
    try:
        told = files.info(name)
        if told.get("type") == "directory":
            raise FilmError(f"{_shown(address)} is a folder, not a film; give the address of the video file in it.")
        state = [f"{key}={told[key]}" for key in STATE if told.get(key) is not None]
        key = hashlib.sha256("\n".join([address, *state]).encode()).hexdigest()[:16]
        folder = Path(cache.folder).expanduser()
        film = folder / key / _file_name(name)
        folder.mkdir(parents=True, exist_ok=True)
        with FileLock(folder / f".lock-{key}"):
            if not film.is_file():
                _copy(files, name, film)
            os.utime(film.parent)
    except FilmError:
        raise
    except FileNotFoundError as error:
        if isinstance(error.__cause__, OSError):  # the server was not reached
            raise _away(address, error.__cause__) from error.__cause__
        raise FilmError(f"There is no film at {_shown(address)}; check the address.") from error
    except ImportError as error:
        raise _missing(address, error) from error
    except Exception as error:  # every kind of file system has its own
        raise _away(address, error) from (error if isinstance(error, OSError) else OSError(_first_line(error)))
    _make_room(folder, film.parent, cache.most_gb)
    return film


def _opened(address: str) -> tuple[Any, str]:
    try:
        from fsspec.core import url_to_fs
    except ImportError as error:
        raise MissingExtraError(
            f"{_shown(address)} needs fsspec; pip install 'elbowroom[cluster]', or copy the film."
        ) from error
    try:
        files, name = url_to_fs(address)
    except ImportError as error:
        raise _missing(address, error) from error
    except Exception as error:
        raise FilmError(
            f"{_shown(address)} is no address that a film can be fetched from ({_first_line(error)}); check it."
        ) from error
    return files, name


def _away(address: str, error: Exception) -> FilmError:
    what = _first_line(error).replace(address, _shown(address))
    return FilmError(
        f"{_shown(address)} cannot be fetched ({what}); check the address, the network and who may read it."
    )


def _missing(address: str, error: ImportError) -> MissingExtraError:
    return MissingExtraError(
        f"{_shown(address)} needs a package that is not installed ({_first_line(error)}); install it on every machine."
    )


def _first_line(error: Exception) -> str:
    return str(error).splitlines()[0].rstrip(".") if str(error) else type(error).__name__


def _shown(address: str) -> str:
    """An address without what it may carry of passwords and tokens."""
    return re.sub(r"(://[^/:@]*):[^@/]*@", r"\1:…@", address.partition("?")[0])


def _file_name(name: str) -> str:
    """The file's own name, without what an address may carry behind it."""
    plain = PurePosixPath(unquote(name.partition("?")[0].partition("#")[0])).name
    return plain.lstrip(".") or "film"


def _copy(files: Any, name: str, film: Path) -> None:
    """Write a film under a temporary name, then give it its own."""
    film.parent.mkdir(exist_ok=True)
    unfinished = film.with_name(f".{os.getpid()}.part")
    try:
        with files.open(name, "rb", block_size=READ_BYTES) as source, unfinished.open("wb") as copy:
            shutil.copyfileobj(source, copy, READ_BYTES)
        os.replace(unfinished, film)
    finally:
        unfinished.unlink(missing_ok=True)


def _make_room(folder: Path, keep: Path, most_gb: float) -> None:
    """Forget the films that were used longest ago until no more than so much is there; one is kept in any case."""
    folders = [place for place in folder.iterdir() if place.is_dir() and place != keep]
    sizes = {place: sum(file.stat().st_size for file in place.iterdir()) for place in [*folders, keep]}
    total = sum(sizes.values())
    for place in sorted(folders, key=lambda place: place.stat().st_mtime):
        if total <= most_gb * 1e9:
            return
        shutil.rmtree(place, ignore_errors=True)
        total -= sizes[place]
