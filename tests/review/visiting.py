"""Visitors of the review pages for tests: one that speaks HTTP, and a real browser."""

import shutil
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import uvicorn
from axe_selenium_python import Axe
from fastapi import FastAPI
from fastapi.testclient import TestClient
from selenium import webdriver
from selenium.common.exceptions import NoAlertPresentException, WebDriverException
from selenium.webdriver.support.ui import WebDriverWait

from pipeline.library.games import Library
from pipeline.review.access import access_for
from pipeline.review.app import create_app
from pipeline.settings import Settings

WAIT_S = 30.0
"""Longest wait for a condition in the browser; two busy cores are slow."""

SERIOUS = ("serious", "critical")

CHROMIUM = tuple(filter(None, (shutil.which(name) for name in ("chromium", "chromium-browser", "google-chrome"))))
DRIVER = shutil.which("chromedriver")


@contextmanager
def a_chromium(profile: Path) -> Iterator[webdriver.Chrome]:
    """A browser without a window; ``profile`` is an empty folder of its own."""
    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM[0]
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
    try:
        yield driver
    finally:
        driver.quit()


class Visitor(TestClient):
    """Somebody at this machine; ``send`` carries the token that changes need."""

    @property
    def token(self) -> str:
        answer = self.get("/api/me")
        return str(answer.json()["token"])

    def change(self, path: str, told: dict[str, Any] | None = None, **more: Any) -> Any:
        """Post JSON with the session's token."""
        return self.post(path, json=told or {}, headers={"X-CSRF-Token": self.token}, **more)

    def change_form(self, path: str, told: dict[str, Any] | None = None, **more: Any) -> Any:
        """Post a form with the session's token."""
        return self.post(path, data={"csrf": self.token, **(told or {})}, **more)


def app_of(library: Library, settings: Settings | None = None, **more: Any) -> FastAPI:
    chosen = settings or Settings()
    access = access_for(library, "127.0.0.1", chosen.review, visitor="Robin")
    return create_app(library, chosen, access=access, **more)


@dataclass(frozen=True)
class Served:
    """A site that runs."""

    address: str
    library: Library
    app: FastAPI


@contextmanager
def serving(app: Any, port: int = 0) -> Iterator[str]:
    """Serve an app on a port of this machine, a free one if none is given; gives its address."""
    listening = socket.socket()
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    listening.bind(("127.0.0.1", port))
    listening.listen(64)  # whoever comes before the server is up waits at the door
    server = uvicorn.Server(uvicorn.Config(app, log_level="error", server_header=False, timeout_graceful_shutdown=2))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
    thread.start()
    try:
        yield f"http://127.0.0.1:{listening.getsockname()[1]}"
    finally:
        server.should_exit = True
        thread.join(timeout=30)
        listening.close()


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
        found = axe.run(options={"resultTypes": ["violations"]})["violations"]  # what passes is not listed
        return [
            f"{one['id']} ({one['impact']}): {one['help']}: {'; '.join(str(n['target']) for n in one['nodes'][:4])}"
            for one in found
            if one["impact"] in SERIOUS
        ]

    def dismiss(self) -> None:
        """Close a question of the browser, if there is one."""
        try:
            self.driver.switch_to.alert.accept()
        except NoAlertPresentException:
            return

    def errors(self) -> list[str]:
        """What the browser complained of since it was last asked."""
        return [line["message"] for line in self.driver.get_log("browser") if line["level"] == "SEVERE"]

    def fits(self) -> bool:
        """Whether nothing of the page sticks out to the side."""
        return bool(self.driver.execute_script("return document.documentElement.scrollWidth <= window.innerWidth + 1;"))


def clean(driver: webdriver.Chrome, address: str) -> Browser:
    """The browser at an address, without memories."""
    driver.get(f"{address}/about")
    driver.delete_all_cookies()
    driver.execute_script("localStorage.clear(); sessionStorage.clear();")
    driver.get_log("browser")
    browser = Browser(driver, address)
    browser.look()
    return browser
