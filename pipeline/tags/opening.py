"""Opening the database of a tag store: SQLite or PostgreSQL, at the schema that this program knows.

SQLite runs with a write-ahead log, so that readers and a writer do not wait for each other, and with
``synchronous=FULL``: a commit returns only when its lines are on the disk. With ``NORMAL``, the usual companion of the
write-ahead log, a commit survives the death of the process but not a power cut, and a decision that somebody has seen
acknowledged must survive both. Every write takes the write lock at its beginning (``BEGIN IMMEDIATE``), so that what
it read cannot change before it writes; whoever comes second waits, up to ``WAIT_S``.
"""

from __future__ import annotations

import os
import sqlite3
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from sqlalchemy import URL, Connection, Engine, create_engine, event, inspect, make_url, text
from sqlalchemy.exc import ArgumentError, SQLAlchemyError

from pipeline.errors import LibraryError, MissingExtraError
from pipeline.whole_files import TEMPORARY, flush_folder

HEAD = "v2"
"""The schema that this program reads and writes: the newest step of ``migrations``."""

KNOWN = ("v1", "v2")
"""Every schema there has been, oldest first."""

BEFORE_ALEMBIC = "elbowroom_schema"
"""Table by which a store of version 1 is recognised."""

WAIT_S = 30
"""How long a write waits for another one to end."""

CONNECTIONS = 20
"""Connections that a store keeps at most; further threads wait for one."""

SCHEMA_LOCK = 0x656C626F
"""Key of PostgreSQL's advisory lock under which the schema is changed."""

MIGRATING = threading.Lock()
"""Alembic keeps what it works on in a module, so that one thread at a time may use it."""

WRITE = {"elbowroom_begin": "BEGIN IMMEDIATE"}


def url_of(place: Path | str) -> URL:
    """The database of a place: a SQLite file, or a URL.

    Raises
    ------
    LibraryError
        If a URL is none, or names neither SQLite nor PostgreSQL.
    """
    if isinstance(place, Path):
        return URL.create("sqlite", database=str(place))
    try:
        url = make_url(place)
        backend = url.get_backend_name()
    except ArgumentError as error:
        raise LibraryError(
            f"'{place}' is no database URL; write one like postgresql+psycopg://user@host/database."
        ) from error
    if backend not in ("sqlite", "postgresql"):
        raise LibraryError(f"A tag store lives in SQLite or PostgreSQL, not in {backend}; change the URL.")
    return url.set(drivername="postgresql+psycopg") if backend == "postgresql" else url


def shown(place: Path | str) -> str:
    """A place for messages, without its password."""
    return str(place) if isinstance(place, Path) else url_of(place).render_as_string(hide_password=True)


def driver_message(error: BaseException) -> str:
    """What a database driver said, in one line."""
    return " ".join(str(getattr(error, "orig", None) or error).split())


def open_engine(place: Path | str) -> Engine:
    """An engine on a place, its schema brought up to date.

    Raises
    ------
    LibraryError
        If the place cannot be opened, is a database of something else, or was written by a newer program.
    MissingExtraError
        If the driver of PostgreSQL is not installed.
    """
    url = url_of(place)
    engine = None
    try:
        engine = _engine(url)
        _bring_up_to_date(engine, place)
        return engine
    except BaseException as error:
        if engine is not None:
            engine.dispose()
        told = _told(error, place, url)
        if told is error:
            raise
        raise told from error


def _told(error: BaseException, place: Path | str, url: URL) -> BaseException:
    """What goes wrong in opening a store, as an error of ours where it is of a kind to be expected."""
    if isinstance(error, ImportError):
        return MissingExtraError(
            "The tag store is in PostgreSQL, whose driver is not installed; pip install 'elbowroom[postgres]'."
        )
    if not isinstance(error, SQLAlchemyError | sqlite3.Error | OSError):
        return error
    advice = (
        "check the library's path"
        if url.get_backend_name() == "sqlite"
        else "check the URL in library.toml and whether the server runs"
    )
    return LibraryError(f"The tag store {shown(place)} cannot be opened ({driver_message(error)}); {advice}.")


def _engine(url: URL) -> Engine:
    if url.get_backend_name() == "sqlite":
        engine = create_engine(url, connect_args={"timeout": WAIT_S}, pool_timeout=WAIT_S)
        event.listen(engine, "connect", _prepare_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
        return engine
    own = url.query.get("options", "")
    options = f"-c lock_timeout={WAIT_S * 1000} -c timezone=UTC {own if isinstance(own, str) else ' '.join(own)}"
    arguments = {"connect_timeout": 10, "options": options.strip()}
    return create_engine(
        url, pool_pre_ping=True, pool_size=CONNECTIONS, max_overflow=0, pool_timeout=WAIT_S, connect_args=arguments
    )


def _prepare_sqlite(connection: sqlite3.Connection, _record: object) -> None:
    connection.isolation_level = None  # the driver begins nothing by itself; _begin_sqlite does
    with closing(connection.cursor()) as cursor:
        cursor.execute(f"PRAGMA busy_timeout={WAIT_S * 1000}")
        _log_ahead(cursor)
        cursor.execute("PRAGMA synchronous=FULL")
        cursor.execute("PRAGMA foreign_keys=ON")


def _log_ahead(cursor: sqlite3.Cursor) -> None:
    """Switch a database to its write-ahead log; SQLite does not wait by itself where others are doing so too."""
    until = time.monotonic() + WAIT_S
    while True:
        try:
            cursor.execute("PRAGMA journal_mode=WAL")
            return
        except sqlite3.OperationalError as error:
            if "locked" not in str(error) or time.monotonic() > until:
                raise
        time.sleep(0.02)


def _begin_sqlite(connection: Connection) -> None:
    connection.exec_driver_sql(connection.get_execution_options().get("elbowroom_begin", "BEGIN"))


def _bring_up_to_date(engine: Engine, place: Path | str) -> None:
    with engine.connect() as connection:
        if _version(connection, place) == HEAD:
            return
    with _changing_schema(engine) as connection:
        version = _version(connection, place)  # another process may have been first
        if version == HEAD:
            return
        if version is not None and engine.dialect.name == "sqlite":
            _keep_copy(engine, version)
        _migrate(connection, stamped=version if _before_alembic(connection) else None)


@contextmanager
def _changing_schema(engine: Engine) -> Iterator[Connection]:
    with engine.execution_options(**WRITE).begin() as connection:
        if connection.dialect.name == "postgresql":
            connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": SCHEMA_LOCK})
        yield connection


def _before_alembic(connection: Connection) -> bool:
    return BEFORE_ALEMBIC in inspect(connection).get_table_names() and not _has_version(connection)


def _has_version(connection: Connection) -> bool:
    return inspect(connection).has_table("alembic_version")


def _version(connection: Connection, place: Path | str) -> str | None:
    """Schema of the store, None where there is nothing yet; an error where it is not ours or newer than we know."""
    if _has_version(connection):
        version = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    elif inspect(connection).has_table(BEFORE_ALEMBIC):
        version = f"v{connection.execute(text(f'SELECT version FROM {BEFORE_ALEMBIC}')).scalar()}"
    elif inspect(connection).get_table_names():
        raise LibraryError(f"{shown(place)} is a database of something else; choose another place for the tags.")
    else:
        return None
    if version not in KNOWN:
        raise LibraryError(
            f"The tag store {shown(place)} has schema {version}, which is newer than this program, which knows {HEAD}; "
            "use the version of the program that wrote it."
        )
    return str(version)


def _keep_copy(engine: Engine, version: str) -> None:
    """A copy of a SQLite store beside it, under a name that is free."""
    file = Path(engine.url.database or "")
    copy = file.with_name(f"{file.stem}-before-{HEAD}-was-{version}.db")
    number = 2
    while copy.exists():
        copy, number = file.with_name(f"{file.stem}-before-{HEAD}-was-{version}-{number}.db"), number + 1
    unfinished = copy.with_name(f"{copy.name}{TEMPORARY}")  # a kill leaves no half copy under the copy's name
    unfinished.unlink(missing_ok=True)
    with closing(sqlite3.connect(file)) as source, closing(sqlite3.connect(unfinished)) as target:
        source.backup(target)
    os.replace(unfinished, copy)
    flush_folder(copy.parent)


def _migrate(connection: Connection, stamped: str | None) -> None:
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", "pipeline.tags:migrations")
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    with MIGRATING:
        if stamped is not None:
            command.stamp(config, stamped)
        command.upgrade(config, "head")
