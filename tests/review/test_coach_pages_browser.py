"""The pages of analysts and coaches in a real browser: every look of them, and by keyboard alone."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest
from selenium.webdriver import ActionChains
from selenium.webdriver.common.keys import Keys

from pipeline.library.pins import read_pins
from pipeline.review.reel_view import with_tags
from pipeline.tags import State

NOW = datetime(2026, 11, 25, 6, 0, tzinfo=UTC)
PAGES = (
    "/search",
    "/search?q=fault:any",
    "/search?q=drive gain_ft > 8",
    "/search?q=crowded_paint nothing_ft > 3",
    "/reels",
    "/reels/1",
    "/reels/2",
    "/reels/1/play",
    "/reels/2/play",
    "/compare",
    "/compare?what=fault:crowded_paint&one_game=crowded-drive&other_game=weak-side-motion",
    "/compare?what=set:middle_ball_screen&one_period=1&other_period=2",
    "/compare?what=set:nothing",
    "/sets",
    "/sets/weak_side_motion",
    "/sets/nothing",
    "/settings",
    "/precision",
    "/reports",
    "/court",
    "/court/crowded-drive",
)
REFUSED = ("/search?q=crowded_paint nothing_ft > 3", "/compare?what=set:nothing", "/sets/nothing")


@pytest.fixture
def reels(served):
    """Two reels: one of three clips with a hostile title, one empty."""
    with served.library.tag_store() as store:
        tags = [tag.tag for tag in store.tags()][:3]
        store.decide(tags[0], State.CONFIRMED, who="Robin", when=NOW)
        first = store.make_reel('Zwölf <b>"Füße"</b> & more', who="Robin", when=NOW)
        store.save_reel(with_tags(first, tags), who="Robin", when=NOW)
        store.make_reel("Empty", who="Robin", when=NOW)
    return tags


@pytest.mark.usefixtures("reels")
@pytest.mark.parametrize("path", PAGES)
def test_every_page_is_accessible_and_fits(looked, path):
    looked.open(path)
    looked.wait("document.readyState === 'complete'")
    if path == "/reels/1/play":
        looked.wait("document.querySelector('.player').dataset.tag")
    assert looked.findings() == []
    assert looked.fits()
    found = [line for line in errors(looked) if not (path in REFUSED and "Failed to load resource" in line)]
    assert found == []
    assert not looked.driver.find_elements("css selector", "main b")  # names are text, never markup


def stored(served, number=1):
    with served.library.tag_store() as store:
        return store.reel(number)


def errors(browser):
    """What the browser complained of; that a bare picture has no icon is no fault of a page."""
    return [line for line in browser.errors() if "favicon.ico" not in line]


def saved(browser):
    browser.wait("document.getElementById('builder').dataset.waiting === 'no'")


def test_a_reel_is_built_by_keyboard_alone(browser, served, reels):
    browser.open("/reels/1")
    browser.driver.execute_script("document.querySelector('#items .clip [data-field=title]').focus()")
    browser.press("The first look")
    browser.press(Keys.TAB)
    browser.press("Five in the paint")
    browser.press(Keys.TAB, Keys.SPACE)
    saved(browser)
    item = stored(served).items[0]
    assert (item.tag, item.title, item.note, item.freeze) == (reels[0], "The first look", "Five in the paint", True)
    ActionChains(browser.driver).key_down(Keys.ALT).send_keys(Keys.ARROW_DOWN).key_up(Keys.ALT).perform()
    saved(browser)
    browser.wait("document.activeElement.dataset.field === 'freeze'")
    assert [one.tag for one in stored(served).items] == [reels[1], reels[0], reels[2]]
    browser.driver.execute_script("document.querySelectorAll('#items .clip')[2].querySelector('[data-remove]').focus()")
    browser.press(Keys.ENTER)
    saved(browser)
    assert [one.tag for one in stored(served).items] == [reels[1], reels[0]]
    assert errors(browser) == []


def test_a_reel_is_ordered_by_dragging(browser, served, reels):
    browser.open("/reels/1")
    handles = browser.driver.find_elements("css selector", ".handle")
    target = browser.driver.find_elements("css selector", ".clip")[2]
    chain = ActionChains(browser.driver, duration=60).click_and_hold(handles[0])
    for step in range(1, 9):
        chain = chain.move_to_element_with_offset(target, 0, -120 + 20 * step)
    chain.release().perform()
    saved(browser)
    assert [one.tag for one in stored(served).items] == [reels[1], reels[2], reels[0]]


@pytest.mark.usefixtures("reels")
def test_the_second_to_change_a_reel_is_told_and_nothing_is_lost(browser, served):
    browser.open("/reels/1")
    with served.library.tag_store() as store:
        store.save_reel(replace(store.reel(1), note="Kim was first"), who="Kim", when=NOW)
    browser.find("#reel-title").send_keys(" again")
    browser.wait("document.getElementById('saved').textContent.includes('Kim')")
    assert stored(served).note == "Kim was first"
    browser.driver.execute_script("document.querySelector('#saved button').click()")
    browser.wait("document.getElementById('reel-note').value === 'Kim was first'")


@pytest.mark.usefixtures("reels")
def test_a_reel_plays_clip_after_clip(browser):
    browser.open("/reels/1/play")
    now = "document.getElementById('now-place').textContent"
    browser.wait(f"{now}.startsWith('Clip 1 of 3')")
    browser.wait("document.querySelector('video').currentTime > 0 && !document.querySelector('video').paused")
    # Near the end of the clip: the next one comes by itself.
    ahead = "const r = document.querySelector('.player input[type=range]'); r.value = 800;"
    browser.driver.execute_script(f"{ahead} r.dispatchEvent(new Event('input'));")
    browser.wait(f"{now}.startsWith('Clip 2 of 3')")
    browser.press("n")
    browser.wait(f"{now}.startsWith('Clip 3 of 3')")
    browser.press("p", "p")
    browser.wait(f"{now}.startsWith('Clip 1 of 3')")
    assert errors(browser) == []


@pytest.mark.usefixtures("reels")
def test_a_reel_is_shared_and_taken_back(browser, served):
    browser.open("/reels/1#share")
    browser.driver.execute_script("document.querySelector('#share form button').click()")
    browser.wait("document.getElementById('link')")
    link = browser.driver.execute_script("return document.getElementById('link').value")
    assert link.startswith(f"{served.address}/shared/")
    browser.look(width=390)
    browser.open(link.removeprefix(served.address))
    browser.wait("document.querySelector('.player').dataset.tag")
    assert browser.fits()
    assert browser.findings() == []
    assert "Build this reel" not in browser.text("main")
    browser.open("/reels/1")
    browser.driver.execute_script("document.querySelector('#share form button').click()")
    browser.wait("!document.getElementById('link')")
    browser.open(link.removeprefix(served.address))
    assert "leads to no reel" in browser.text("main")


def test_a_search_by_its_form_and_by_its_bar_is_the_same(browser, served):
    browser.open("/search")
    script = """
      const box = [...document.querySelectorAll('input[name=faults]')].find((one) => one.value === 'crowded_paint');
      box.checked = true;
      document.querySelector('input[name="from.count"]').value = '3';
      document.getElementById('filters').requestSubmit();
    """
    browser.driver.execute_script(script)
    bar = browser.wait("document.getElementById('q').value")
    assert bar == "fault:crowded_paint count >= 3"
    assert browser.driver.execute_script("return document.querySelector('input[name=\"from.count\"]').value") == "3"
    hits = len(browser.driver.find_elements("css selector", ".hits > li"))
    assert hits >= 1
    browser.find("#all").click()
    browser.find("#title").send_keys("From the search")
    browser.driver.execute_script("document.querySelector('.reel-bar .main').click()")
    browser.wait("document.getElementById('builder')")
    assert len(stored(served).items) == hits
    assert stored(served).title == "From the search"


def test_landmarks_are_placed_by_keyboard_and_the_floor_follows(browser, served):
    browser.open("/court/crowded-drive")
    found = "document.querySelectorAll('#overlay polyline').length"
    browser.wait(f"{found} > 3")
    browser.find("#from-floor").click()
    browser.wait("document.getElementById('said').textContent.includes('miss one')")
    browser.wait("!document.getElementById('save').disabled")
    before = browser.driver.execute_script("return document.querySelector('#overlay polyline').getAttribute('points')")
    browser.driver.execute_script("document.querySelector('.pin').focus()")
    browser.press(Keys.ARROW_RIGHT, Keys.ARROW_RIGHT, Keys.ARROW_DOWN)
    script = f"document.querySelector('#overlay polyline').getAttribute('points') !== {before!r}"
    browser.wait(script)
    browser.wait("!document.getElementById('save').disabled")
    browser.find("#save").click()
    browser.wait("document.getElementById('said').textContent.includes('landmarks saved')")
    (pinned,) = read_pins(served.library.game("crowded-drive"))
    assert len(pinned.points) >= 4
    # Far off: the page says so, and nothing can be saved.
    browser.driver.execute_script("document.querySelector('.pin').focus()")
    chain = ActionChains(browser.driver).key_down(Keys.SHIFT)
    for _ in range(25):
        chain = chain.send_keys(Keys.ARROW_LEFT)
    chain.key_up(Keys.SHIFT).perform()
    browser.wait("document.getElementById('said').textContent.includes('No camera sees')")
    assert not browser.find("#save").is_enabled()
    assert browser.findings() == []
