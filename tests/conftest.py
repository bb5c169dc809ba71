"""Property tests draw the same examples every time; ``--hypothesis-profile=seek`` draws others.

``tag_place`` is a place for a new tag store, once in SQLite and once in PostgreSQL; the latter needs the URL of a
server in ``ELBOWROOM_TEST_POSTGRES``, on which it makes and drops databases.
"""

import os
import uuid
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings

settings.register_profile("repeatable", derandomize=True, deadline=None)
settings.register_profile("seek", derandomize=False, max_examples=2000, deadline=None)
settings.load_profile("repeatable")

POSTGRES = "ELBOWROOM_TEST_POSTGRES"

ONE_AT_A_TIME = "one at a time"
"""Tests that drive a browser, or many visitors at once, are given to one worker: two of them starve each other."""


def pytest_configure(config: pytest.Config) -> None:
    if getattr(config.option, "numprocesses", None):
        config.option.dist = "loadgroup"


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if "chromium" in getattr(item, "fixturenames", ()) or item.path.name == "test_reviewers.py":
            item.add_marker(pytest.mark.xdist_group(ONE_AT_A_TIME))


@pytest.fixture
def postgres_place() -> Iterator[str]:
    """URL of an empty PostgreSQL database, which is dropped after the test."""
    server = os.environ.get(POSTGRES)
    if not server:
        if os.environ.get("CI"):
            pytest.fail(f"{POSTGRES} is not set, and CI must test PostgreSQL; .ci/run starts a server.")
        pytest.skip(f"no PostgreSQL server: {POSTGRES} is not set")
    from sqlalchemy import create_engine, make_url, text

    url = make_url(server).set(drivername="postgresql+psycopg")
    name = f"elbowroom_{uuid.uuid4().hex}"
    engine = create_engine(url, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(text(f"CREATE DATABASE {name}"))
    yield url.set(database=name).render_as_string(hide_password=False)
    with engine.connect() as connection:
        connection.execute(text(f"DROP DATABASE {name} WITH (FORCE)"))
    engine.dispose()


@pytest.fixture(params=["sqlite", "postgresql"])
def tag_place(request: pytest.FixtureRequest, tmp_path: Path) -> Path | str:
    """Where a new tag store may be made: a file, or a database URL."""
    if request.param == "sqlite":
        return tmp_path / "tags.db"
    place: str = request.getfixturevalue("postgres_place")
    return place
