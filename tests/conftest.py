"""Property tests draw the same examples every time; ``--hypothesis-profile=seek`` draws others.

``tag_place`` is a place for a new tag store, once in SQLite and once in PostgreSQL; the latter needs the URL of a
server in ``ELBOWROOM_TEST_POSTGRES``, on which it makes and drops databases.

With ``-n`` a file's tests go to one worker, so that what they share is made once; the files with the most slow tests
go first, so that the workers end together. Each worker reckons in one thread: two threads each on two cores wait for
each other (``court/test_registration.py`` took 26 s of processor time instead of 20).
"""

import os
import uuid
from collections import Counter
from collections.abc import Iterator
from fnmatch import fnmatch
from pathlib import Path

import pytest
from hypothesis import settings
from xdist.remote import Producer
from xdist.scheduler import LoadScopeScheduling

ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "OPENCV_FOR_THREADS_NUM")
A_WORKER = "PYTEST_XDIST_WORKER" in os.environ
if A_WORKER:  # before any library that reckons is loaded
    os.environ.update(dict.fromkeys(ONE_THREAD, "1"))

settings.register_profile("repeatable", derandomize=True, deadline=None)
settings.register_profile("seek", derandomize=False, max_examples=2000, deadline=None)
settings.load_profile("repeatable")

POSTGRES = "ELBOWROOM_TEST_POSTGRES"

ONE_AT_A_TIME = "test_*_browser.py", "test_desk_lasting.py", "test_reviewers.py", "test_walk.py"
"""Files that drive a browser, or many visitors at once, are given to one worker: two of them starve each other."""


class ByFile(LoadScopeScheduling):
    """Hands out whole files in the order in which they were collected."""

    def _split_scope(self, nodeid: str) -> str:
        file = nodeid.partition("::")[0]
        return "one at a time" if _is_alone(file.rpartition("/")[2]) else file


def _is_alone(name: str) -> bool:
    return any(fnmatch(name, pattern) for pattern in ONE_AT_A_TIME)


def pytest_configure(config: pytest.Config) -> None:
    config.option.loadscopereorder = False


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Producer) -> ByFile:
    return ByFile(config, log)


def pytest_runtest_setup(item: pytest.Item) -> None:
    if "chromium" in getattr(item, "fixturenames", ()) and not _is_alone(item.path.name):
        pytest.fail(f"{item.path.name} drives a browser; name it test_..._browser.py")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    if A_WORKER:
        slow = Counter(item.path for item in items if item.get_closest_marker("slow"))
        tests = Counter(item.path for item in items)
        items.sort(key=lambda item: (not _is_alone(item.path.name), -slow[item.path], -tests[item.path], item.path))


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
