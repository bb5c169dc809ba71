"""Backups of a tag store, and the way back.

A backup is a SQLite file with every row of the store, whichever database that lives in, and can be restored into
either; so a backup is also how tags move from SQLite to PostgreSQL and back. A SQLite store is copied by SQLite's
online backup, a PostgreSQL one row by row from one snapshot; neither stops people from working.
"""

from __future__ import annotations

import os
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

from sqlalchemy import Connection, Engine, Table, func, select, text
from sqlalchemy.exc import SQLAlchemyError

from pipeline.errors import LibraryError
from pipeline.tags.append_only import allow_change, make_append_only
from pipeline.tags.opening import WRITE, driver_message, open_engine, shown
from pipeline.tags.schema import APPEND_ONLY, Base, HistoryRow, SearchRow

ROWS_AT_ONCE = 1000

NUMBERED = ("tags", "history", "reels", "reel_history")
"""Tables whose rows are numbered by the database."""

KEEPERS: dict[str, tuple[str, ...]] = {
    "history": ("id", "tag", "at", "who", "deed", "text"),
    "reel_history": ("id", "reel", "at", "who", "deed"),
}
"""Tables in which everything that people did leaves a row, and what tells those rows apart: a store whose rows are
all in a backup, and whose searches are no newer, loses nothing by being replaced with it."""


@dataclass(frozen=True, slots=True)
class Contents:
    """What is in a backup.

    Attributes
    ----------
    tags, lines, reels, searches : int
        How many tags, lines of their history, reels (dropped ones too), and saved searches.
    """

    tags: int
    lines: int
    reels: int
    searches: int


def back_up(place: Path | str, file: Path) -> Contents:
    """Write a backup of a store.

    Parameters
    ----------
    place : Path or str
        The store: a SQLite file or a database URL.
    file : Path
        The backup; nothing may be there yet.

    Raises
    ------
    LibraryError
        If the store is not there or cannot be read, or the file exists or cannot be written.
    """
    if isinstance(place, Path) and not place.is_file():
        raise LibraryError(f"There is no tag store {place} to back up.")
    if file.exists():
        raise LibraryError(f"{file} is there already and is not written over; give another name.")
    engine = open_engine(place)
    try:
        with _written_whole(file) as unfinished:
            if isinstance(place, Path):
                _copy_online(place, unfinished)
            else:
                snapshot = engine.execution_options(isolation_level="REPEATABLE READ")
                with snapshot.begin() as source:
                    _copy_rows_to_file(source, unfinished)
            return _contents_of_file(unfinished)
    except (SQLAlchemyError, sqlite3.Error) as error:
        raise LibraryError(f"The tag store {shown(place)} cannot be backed up ({driver_message(error)}).") from error
    except OSError as error:
        raise LibraryError(f"{file} cannot be written ({error.strerror or error}); check the path.") from error
    finally:
        engine.dispose()


def restore(file: Path, place: Path | str, *, keep: Path | None = None) -> Contents:
    """Replace what a store holds by a backup, in one transaction.

    Parameters
    ----------
    file : Path
        The backup, also one that an older version of the program wrote.
    place : Path or str
        The store: a SQLite file, made when it is not there, or a database URL.
    keep : Path, optional
        Back up what the store holds now into this file first.

    Raises
    ------
    LibraryError
        If the file is no backup, or the store holds what the backup does not and ``keep`` is not given; nothing has
        been changed then.
    """
    if keep is not None and keep.exists():
        raise LibraryError(f"{keep} is there already and is not written over; give another name.")
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "backup.db"
        source_engine = _open_backup(file, copy)
        if isinstance(place, Path):
            place.parent.mkdir(parents=True, exist_ok=True)
        target_engine = open_engine(place)
        try:
            with (
                source_engine.connect() as source,
                target_engine.execution_options(**WRITE).begin() as target,
            ):
                _lock(target)
                lost = _lost(source, target)
                if lost and keep is None:
                    raise LibraryError(
                        f"{shown(place)} holds {lost} that {file} does not; nothing was restored. Add '--keep FILE' to "
                        "back up what is there now into another file first."
                    )
                if keep is not None:
                    with _written_whole(keep) as unfinished:
                        _copy_rows_to_file(target, unfinished)
                _replace(source, target)
                return _contents(target)
        except SQLAlchemyError as error:
            raise LibraryError(f"{file} cannot be restored into {shown(place)} ({driver_message(error)}).") from error
        finally:
            source_engine.dispose()
            target_engine.dispose()


def _contents(connection: Connection) -> Contents:
    counts = {
        name: connection.scalar(select(func.count()).select_from(Base.metadata.tables[name])) or 0
        for name in ("tags", "history", "reels", "searches")
    }
    return Contents(counts["tags"], counts["history"], counts["reels"], counts["searches"])


def _contents_of_file(file: Path) -> Contents:
    with closing(sqlite3.connect(f"file:{quote(str(file))}?mode=ro", uri=True)) as connection:
        counts = [
            connection.execute(f"SELECT count(*) FROM {name}").fetchone()[0]
            for name in ("tags", "history", "reels", "searches")
        ]
    return Contents(*counts)


def _open_backup(file: Path, copy: Path) -> Engine:
    """An engine on a copy of a backup, brought to this program's schema; the backup itself is left as it is."""
    if not file.is_file():
        raise LibraryError(f"There is no backup {file}.")
    try:
        _copy_online(file, copy)
        with closing(sqlite3.connect(copy)) as checked:
            damage = [row[0] for row in checked.execute("PRAGMA integrity_check")]
            tables = checked.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    except sqlite3.Error as error:
        raise LibraryError(f"{file} is no backup of a tag store ({error}).") from error
    if damage != ["ok"]:
        raise LibraryError(f"{file} is damaged ({damage[0]}); take another backup.")
    if not tables:
        raise LibraryError(f"{file} is no backup of a tag store (it is empty).")
    try:
        return open_engine(copy)
    except LibraryError as error:
        raise LibraryError(
            f"{file} is no backup that can be restored: {str(error).replace(str(copy), str(file))}"
        ) from error


def _copy_online(source: Path, target: Path) -> None:
    """Copy a SQLite database while others use it."""
    with (
        closing(sqlite3.connect(f"file:{quote(str(source))}?mode=ro", uri=True)) as reading,
        closing(sqlite3.connect(target)) as writing,
    ):
        reading.backup(writing)
        writing.execute("PRAGMA journal_mode=DELETE")  # one file, nothing beside it


def _copy_rows_to_file(source: Connection, file: Path) -> None:
    engine = open_engine(file)
    try:
        with engine.execution_options(**WRITE).begin() as target:
            _copy_rows(source, target)
    finally:
        engine.dispose()
    with closing(sqlite3.connect(file)) as connection:
        connection.execute("PRAGMA journal_mode=DELETE")


def _copy_rows(source: Connection, target: Connection) -> None:
    for table in Base.metadata.sorted_tables:
        wanted = select(table).order_by(*table.primary_key)
        rows = source.execute(wanted, execution_options={"yield_per": ROWS_AT_ONCE})
        for part in rows.mappings().partitions(ROWS_AT_ONCE):
            target.execute(table.insert(), [dict(row) for row in part])


def _lock(target: Connection) -> None:
    """Keep everybody else out of a PostgreSQL store until the end; SQLite's transaction has done so already."""
    if target.dialect.name == "postgresql":
        names = ", ".join(table.name for table in Base.metadata.sorted_tables)
        target.execute(text(f"LOCK TABLE {names} IN ACCESS EXCLUSIVE MODE"))


def _lost(source: Connection, target: Connection) -> str:
    """What the target holds and the source does not, in words; empty where that is nothing."""
    found = []
    words = {"history": "line(s) of history", "reel_history": "change(s) of reels"}
    for name, columns in KEEPERS.items():
        table = Base.metadata.tables[name]
        asked = select(*(table.c[column] for column in columns))
        gone = {tuple(row) for row in target.execute(asked)} - {tuple(row) for row in source.execute(asked)}
        if gone:
            found.append(f"{len(gone)} {words[name]}")
        if gone and name == HistoryRow.__tablename__:
            _, tag, at, who, deed, _ = max(gone)
            found[-1] += f" (the last: tag {tag} {deed}, {who}, {at[:16].replace('T', ' ')} UTC)"
    searches = select(SearchRow.name, SearchRow.at)
    kept = {name: at for name, at in source.execute(searches)}  # noqa: C416 - rows, not pairs
    newer = [name for name, at in target.execute(searches) if name not in kept or kept[name] < at]
    if newer:
        found.append(f"{len(newer)} saved search(es)")
    return " and ".join(found)


def _replace(source: Connection, target: Connection) -> None:
    for name in APPEND_ONLY:
        allow_change(target, name)
    for table in reversed(Base.metadata.sorted_tables):
        target.execute(table.delete())
    _copy_rows(source, target)
    for name in APPEND_ONLY:
        make_append_only(target, name)
    if target.dialect.name == "postgresql":
        for name in NUMBERED:
            _count_on(target, Base.metadata.tables[name])


def _count_on(target: Connection, table: Table) -> None:
    """Let PostgreSQL number further rows from the greatest number there has ever been; SQLite does so by itself."""
    sequence = target.scalar(text("SELECT pg_get_serial_sequence(:name, 'id')"), {"name": table.name})
    last = target.scalar(text(f"SELECT last_value FROM {sequence}")) or 1
    greatest = target.scalar(select(func.max(table.c.id))) or 0
    if greatest >= last:
        target.execute(text("SELECT setval(:name, :last)"), {"name": sequence, "last": greatest})


@contextmanager
def _written_whole(file: Path) -> Iterator[Path]:
    """A temporary name beside a file, which takes its name when everything is on the disk."""
    file.parent.mkdir(parents=True, exist_ok=True)
    unfinished = file.with_name(f".{file.name}.{os.getpid()}.part")
    unfinished.unlink(missing_ok=True)
    try:
        yield unfinished
        with unfinished.open("rb") as written:
            os.fsync(written.fileno())
        os.replace(unfinished, file)
    finally:
        for left in (unfinished, *(Path(f"{unfinished}{end}") for end in ("-wal", "-shm", "-journal"))):
            left.unlink(missing_ok=True)
