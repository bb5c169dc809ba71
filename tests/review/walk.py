"""The README's morning in a real browser: decide, search, build a reel, export; with a picture of each step.

    python tests/review/walk.py LIBRARY OUT

writes the README's pictures from a library (it decides, searches and builds in it, so give a copy).
"""

from __future__ import annotations

import io
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import httpx2
from PIL import Image
from selenium.webdriver.common.keys import Keys
from visiting import WAIT_S, Browser, a_chromium, app_of, clean, serving

from pipeline.library.games import Library

COLOURS = 240
"""Of a picture's palette: it keeps them small, and pages have few."""

FILM_WAIT_S = 300.0
READY = "document.getElementById('desk').dataset.ready"
SAVED = "document.body.dataset.waiting === '0'"
SEEN = "document.querySelector('video').readyState >= 2"


@dataclass(frozen=True)
class Walked:
    """What the walk came home with.

    Attributes
    ----------
    confirmed, rejected : int
        Tags decided by keyboard.
    hits : int
    reel : int
    film, edl, report : bytes
        The reel as MP4, its list of cuts as EDL, a report as PDF.
    """

    confirmed: int
    rejected: int
    hits: int
    reel: int
    film: bytes
    edl: bytes
    report: bytes


def walk(browser: Browser, search: str, report: str, out: Path | None = None) -> Walked:
    """Walk through a morning; ``search`` is typed into the query bar, ``report`` is the address of a PDF."""
    picture = _Camera(browser, out)
    browser.look(width=1280, height=800)
    browser.open("/")
    picture.take("night")

    browser.open("/queue")
    first = int(browser.wait(READY))
    browser.wait(SEEN)
    browser.press(" ")
    time.sleep(0.5)
    picture.take("decide")
    browser.press("c")
    second = int(browser.wait(f"{READY} !== '{first}' && {READY}"))
    browser.press("r")
    browser.wait(f"{READY} && {READY} !== '{second}'")
    browser.wait(SAVED)

    browser.open("/search")
    bar = browser.find("#q")
    bar.send_keys(search, Keys.ENTER)
    browser.wait("document.querySelectorAll('.hits > li').length > 0")
    hits = len(browser.driver.find_elements("css selector", ".hits > li"))
    browser.find("#all").click()
    browser.find("#title").send_keys("Catches to talk about")
    picture.take("search")
    browser.driver.execute_script("document.querySelector('.reel-bar .main').click()")
    browser.wait("document.getElementById('builder')")

    browser.driver.execute_script("document.querySelector('#items .clip [data-field=title]').focus()")
    browser.press("Too far out")
    browser.press(Keys.TAB)
    browser.press("Come to meet it at the free-throw line extended")
    browser.press(Keys.TAB, Keys.SPACE)
    browser.wait("document.getElementById('builder').dataset.waiting === 'no'")
    reel = int(browser.driver.current_url.rstrip("/").split("/")[-1].split("#")[0])
    picture.take("reel")
    browser.find("#film").click()
    _wait_long(browser, "!document.getElementById('film-link').hidden")

    with _visitor(browser) as visitor:
        film = _got(visitor, f"/reels/{reel}/film.mp4")
        edl = _got(visitor, f"/reels/{reel}/export/edl")
        printed = _got(visitor, report)
    browser.open("/reports")
    picture.take("reports")
    return Walked(first, second, hits, reel, film, edl, printed)


class _Camera:
    """Takes pictures of the page, if there is a folder for them."""

    def __init__(self, browser: Browser, out: Path | None) -> None:
        self._browser, self._out = browser, out

    def take(self, name: str) -> None:
        self._browser.wait("document.readyState === 'complete'")
        if self._out is None:
            return
        shot = Image.open(io.BytesIO(self._browser.driver.get_screenshot_as_png())).convert("RGB")
        self._out.mkdir(parents=True, exist_ok=True)
        shot.quantize(COLOURS, method=Image.Quantize.MEDIANCUT).save(self._out / f"{name}.png", optimize=True)


def _visitor(browser: Browser) -> httpx2.Client:
    """Somebody with the browser's cookies."""
    cookies = {one["name"]: one["value"] for one in browser.driver.get_cookies()}
    return httpx2.Client(base_url=browser.address, cookies=cookies, timeout=FILM_WAIT_S)


def _got(visitor: httpx2.Client, path: str) -> bytes:
    answer = visitor.get(path)
    assert answer.status_code == 200, f"{path}: {answer.status_code} {answer.text[:200]}"
    return bytes(answer.content)


def _wait_long(browser: Browser, script: str) -> None:
    end = time.monotonic() + FILM_WAIT_S
    while not browser.driver.execute_script(f"return ({script});"):
        assert time.monotonic() < end, f"never true: {script}"
        time.sleep(min(0.2, WAIT_S))


def main() -> None:
    """Write the README's pictures."""
    library, out = Library(Path(sys.argv[1])), Path(sys.argv[2])
    with serving(app_of(library)) as address, TemporaryDirectory() as profile, a_chromium(Path(profile)) as driver:
        walked = walk(clean(driver, address), "pushed_out_catch", "/reports/night.pdf", out)
    (out / "reel.mp4").write_bytes(walked.film)
    (out / "report.pdf").write_bytes(walked.report)
    (out / "reel.edl").write_bytes(walked.edl)


if __name__ == "__main__":
    main()
