"""``library.toml``: what staff may say of a library as a whole. A library need not have one."""

from __future__ import annotations

from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from pipeline.errors import LibraryError
from pipeline.user_files import first_wrong, read_toml

LIBRARY_FILE = "library.toml"


class LibraryFile(BaseModel):
    """What ``library.toml`` says."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    tag_store: str = Field(
        "",
        description="Database URL of the tags, e.g. postgresql://user@host/database; empty keeps them in library.db.",
    )


def read_library_file(folder: Path) -> LibraryFile:
    """Read a library's ``library.toml``, or take the defaults where there is none.

    Raises
    ------
    LibraryError
        If it is not TOML or says something that nobody asked for.
    """
    path = folder / LIBRARY_FILE
    try:
        return LibraryFile.model_validate(read_toml(path, LibraryError))
    except FileNotFoundError:
        return LibraryFile()
    except ValidationError as error:
        known = ", ".join(LibraryFile.model_fields)
        name, what = first_wrong(error)
        raise LibraryError(f"{path}: '{name}': {what}; it may say: {known}.") from error
