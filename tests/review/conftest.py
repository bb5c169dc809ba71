"""A filled library, a served site and a browser for the tests of the review pages.

The library is made from the truth that ships beside two sample films, so that no network runs. One browser serves all
tests of a session; where there is none, its tests skip with that reason, and fail where ``CI`` is set.
"""

import os
import shutil
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from axe_selenium_python import Axe
from fastapi import FastAPI
from fastapi.testclient import TestClient
from selenium import webdriver
from selenium.common.exceptions import WebDriverException
from selenium.webdriver.support.ui import WebDriverWait

from pipeline.court.rule_books import RULE_BOOKS
from pipeline.court.tables import CAMERAS
from pipeline.library.games import Library, film_digest, write_game_file
from pipeline.night.play_stages import bring_tags, play_stages
from pipeline.night.stages import run_stage
from pipeline.review.access import access_for
from pipeline.review.app import create_app
from pipeline.settings import Settings

SAMPLES = Path(__file__).resolve().parents[2] / "sample_clips"
FILMS = ("crowded_drive", "weak_side_motion")
WAIT_S = 30.0
"""Longest wait for a condition in the browser; two busy cores are slow."""

SERIOUS = ("serious", "critical")
CHROMIUM = tuple(filter(None, (shutil.which(name) for name in ("chromium", "chromium-browser", "google-chrome"))))
DRIVER = shutil.which("chromedriver")


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


class Visitor(TestClient):
    """Somebody at this machine; ``send`` carries the token that changes need."""

    @property
    def token(self) -> str:
        answer = self.get("/api/me")
        return str(answer.json()["token"])

    def send(self, path: str, told: dict[str, Any] | None = None, **more: Any) -> Any:
        """Post JSON with the session's token."""
        return self.post(path, json=told or {}, headers={"X-CSRF-Token": self.token}, **more)

    def send_form(self, path: str, told: dict[str, Any] | None = None, **more: Any) -> Any:
        """Post a form with the session's token."""
        return self.post(path, data={"csrf": self.token, **(told or {})}, **more)


def app_of(library: Library, settings: Settings | None = None, **more: Any) -> FastAPI:
    chosen = settings or Settings()
    access = access_for(library, "127.0.0.1", chosen.review, visitor="Robin")
    return create_app(library, chosen, access=access, **more)


@pytest.fixture
def visitor(library: Library, review_settings: Settings) -> Iterator[Visitor]:
    """A visitor of the test's library."""
    with Visitor(app_of(library, review_settings), base_url="http://127.0.0.1:8765") as client:
        yield client


@dataclass(frozen=True)
class Served:
    """A site that runs."""

    address: str
    library: Library
    app: FastAPI


@contextmanager
def serving(app: FastAPI) -> Iterator[str]:
    """Serve an app on a free port of this machine; gives its address."""
    listening = socket.socket()
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    listening.bind(("127.0.0.1", 0))
    server = uvicorn.Server(uvicorn.Config(app, log_level="error", server_header=False, timeout_graceful_shutdown=2))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
    thread.start()
    try:
        yield f"http://127.0.0.1:{listening.getsockname()[1]}"
    finally:
        server.should_exit = True
        thread.join(timeout=30)
        listening.close()


@pytest.fixture
def served(library: Library, review_settings: Settings) -> Iterator[Served]:
    """The test's library, served for a browser."""
    app = app_of(library, review_settings)
    with serving(app) as address:
        yield Served(address, library, app)


@pytest.fixture(scope="session")
def chromium(tmp_path_factory: pytest.TempPathFactory) -> Iterator[webdriver.Chrome]:
    """The session's browser."""
    if not (CHROMIUM and DRIVER):
        missing = "there is no Chromium with its driver; install chromium and chromium-driver"
        if os.environ.get("CI"):
            pytest.fail(missing)
        pytest.skip(missing)
    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM[0]
    profile = tmp_path_factory.mktemp("chromium")
    for argument in (
        "--headless=new",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-dev-shm-usage",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        "--no-first-run",
        "--mute-audio",
        "--autoplay-policy=no-user-gesture-required",
        "--window-size=1400,1000",
        f"--user-data-dir={profile}",
    ):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    driver = webdriver.Chrome(options=options, service=webdriver.ChromeService(DRIVER))
    driver.set_script_timeout(WAIT_S)
    yield driver
    driver.quit()


class Browser:
    """The browser at a site, and what tests do with it.

    Attributes
    ----------
    driver : WebDriver
    address : str
    """

    def __init__(self, driver: webdriver.Chrome, address: str) -> None:
        self.driver, self.address = driver, address

    def open(self, path: str) -> None:
        """Go to a page."""
        self.driver.get(self.address + path)

    def wait(self, script: str, message: str = "") -> Any:
        """Wait until a JavaScript expression is true; what it is."""

        def look(driver: webdriver.Chrome) -> Any:
            try:
                return driver.execute_script(f"return ({script});")
            except WebDriverException:
                return None  # between two pages

        return WebDriverWait(self.driver, WAIT_S, 0.05).until(look, message or f"never true: {script}")

    def press(self, *keys: str) -> None:
        """Press keys, one after the other, on whatever has the focus."""
        for key in keys:
            webdriver.ActionChains(self.driver, duration=0).send_keys(key).perform()

    def find(self, selector: str) -> Any:
        """The element of a CSS selector."""
        return self.driver.find_element("css selector", selector)

    def text(self, selector: str) -> str:
        """What an element says."""
        return str(self.find(selector).text)

    def look(self, *, dark: bool = False, width: int = 1400, height: int = 1000) -> None:
        """Light or dark, and how wide the page is."""
        scheme = "dark" if dark else "light"
        feature = {"features": [{"name": "prefers-color-scheme", "value": scheme}]}
        self.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", feature)
        size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 700}
        self.driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)

    def findings(self) -> list[str]:
        """What axe finds on the page that is serious or worse, one line each."""
        axe = Axe(self.driver)
        axe.inject()
        found = axe.run()["violations"]
        return [
            f"{one['id']} ({one['impact']}): {one['help']}: {'; '.join(str(n['target']) for n in one['nodes'][:4])}"
            for one in found
            if one["impact"] in SERIOUS
        ]

    def errors(self) -> list[str]:
        """What the browser complained of since it was last asked."""
        return [line["message"] for line in self.driver.get_log("browser") if line["level"] == "SEVERE"]

    def fits(self) -> bool:
        """Whether nothing of the page sticks out to the side."""
        return bool(self.driver.execute_script("return document.documentElement.scrollWidth <= window.innerWidth + 1;"))


def _clean(driver: webdriver.Chrome, address: str) -> Browser:
    driver.get(f"{address}/static/icon.svg")
    driver.delete_all_cookies()
    driver.execute_script("localStorage.clear(); sessionStorage.clear();")
    driver.get_log("browser")
    browser = Browser(driver, address)
    browser.look()
    return browser


@pytest.fixture
def browser(chromium: webdriver.Chrome, served: Served) -> Iterator[Browser]:
    """The browser at the test's own site, without memories."""
    yield _clean(chromium, served.address)
    chromium.get("about:blank")


@pytest.fixture(params=["light", "dark", "phone"])
def looked(request: pytest.FixtureRequest, browser: Browser) -> Browser:
    """The browser three times: light, dark, and as narrow as a phone."""
    browser.look(dark=request.param == "dark", width=390 if request.param == "phone" else 1400)
    return browser
