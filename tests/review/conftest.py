"""A filled library, a served site and a browser for the tests of the review pages.

The library is made from the truth that ships beside two sample films, so that no network runs. One browser serves
the tests of a file; where there is none, its tests skip with that reason, and fail where ``CI`` is set.
"""

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from selenium import webdriver
from visiting import CHROMIUM, DRIVER, Browser, Served, Visitor, a_chromium, app_of, clean, serving

from pipeline.court.rule_books import RULE_BOOKS
from pipeline.court.tables import CAMERAS
from pipeline.film.fetching import film_digest
from pipeline.library.games import Library, write_game_file
from pipeline.night.play_stages import bring_tags, play_stages
from pipeline.night.stages import run_stage
from pipeline.settings import Settings

SAMPLES = Path(__file__).resolve().parents[2] / "sample_clips"
FILMS = ("crowded_drive", "weak_side_motion")


@pytest.fixture(scope="session")
def review_settings() -> Settings:
    return Settings()


@pytest.fixture(scope="session")
def filled_library(tmp_path_factory: pytest.TempPathFactory, review_settings: Settings) -> Path:
    """Two games with film, every table and their tags; copied for each test, never written to."""
    root = tmp_path_factory.mktemp("filled") / "library"
    library = Library(root)
    for name in FILMS:
        film = SAMPLES / f"{name}.mp4"
        game = library.begin(film, film_digest(film))
        shutil.copytree(SAMPLES / f"{name}_truth", game.tables, dirs_exist_ok=True)
        write_game_file(game, film, film_digest(film), None)
        game = library.keep(game)
        (book,) = set(CAMERAS.read(game.tables)["rule_book"].to_pylist()) - {"", None}
        for stage in play_stages(review_settings, RULE_BOOKS[book]):
            run_stage(stage, game, lambda _done, _total: None)
        bring_tags(game, library, review_settings)
    return root


@pytest.fixture
def library(filled_library: Path, tmp_path: Path) -> Library:
    """A library of the test's own."""
    shutil.copytree(filled_library, tmp_path / "library")
    return Library(tmp_path / "library")


@pytest.fixture
def visitor(library: Library, review_settings: Settings) -> Iterator[Visitor]:
    """A visitor of the test's library."""
    with Visitor(app_of(library, review_settings), base_url="http://127.0.0.1:8765") as client:
        yield client


@pytest.fixture
def served(library: Library, review_settings: Settings) -> Iterator[Served]:
    """The test's library, served for a browser."""
    app = app_of(library, review_settings)
    with serving(app) as address:
        yield Served(address, library, app)


@pytest.fixture(scope="module")
def chromium(tmp_path_factory: pytest.TempPathFactory) -> Iterator[webdriver.Chrome]:
    """A browser for the tests of one file; it goes with them, so that no page of theirs works on beside others."""
    if not (CHROMIUM and DRIVER):
        missing = "there is no Chromium with its driver; install chromium and chromium-driver"
        if os.environ.get("CI"):
            pytest.fail(missing)
        pytest.skip(missing)
    with a_chromium(tmp_path_factory.mktemp("chromium")) as driver:
        yield driver


@pytest.fixture
def browser(chromium: webdriver.Chrome, served: Served) -> Iterator[Browser]:
    """The browser at the test's own site, without memories."""
    here = clean(chromium, served.address)
    yield here
    here.dismiss()
    chromium.get("about:blank")
    here.dismiss()


@pytest.fixture(params=["light", "dark", "phone"])
def looked(request: pytest.FixtureRequest, browser: Browser) -> Browser:
    """The browser three times: light, dark, and as narrow as a phone."""
    browser.look(dark=request.param == "dark", width=390 if request.param == "phone" else 1400)
    return browser
