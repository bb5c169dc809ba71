"""The desk in a real browser: every look of it, and the whole flow by keyboard alone."""

import pytest
from selenium.webdriver.common.keys import Keys

from pipeline.tags import State

PAGES = ("/", "/queue", "/tags/1", "/me", "/about", "/tags/999")


@pytest.mark.parametrize("path", PAGES)
def test_every_page_is_accessible_and_fits(looked, path):
    looked.open(path)
    if path in ("/queue", "/tags/1"):
        looked.wait("document.getElementById('desk').dataset.ready")
    looked.wait("document.readyState === 'complete'")
    assert looked.findings() == []
    assert looked.fits()
    wanted = ["404"] if path == "/tags/999" else []
    assert [line for line in looked.errors() if not any(w in line for w in wanted)] == []


def test_the_whole_flow_by_keyboard_alone(browser, served):
    with served.library.tag_store() as store:
        tags = [tag.tag for tag in store.tags()]
    browser.open("/queue")
    ready = "document.getElementById('desk').dataset.ready"
    first = int(browser.wait(ready))
    browser.press("d", "d", "k")
    browser.wait(
        "document.body.dataset.waiting === '0' && document.getElementById('said').textContent.includes('lasts')"
    )
    browser.press("c")
    second = int(browser.wait(f"{ready} !== '{first}' && {ready}"))
    browser.press("r")
    third = int(browser.wait(f"{ready} && {ready} !== '{second}' && {ready}"))
    browser.press("u")
    browser.wait(f"{ready} && {ready} !== '{third}'")
    browser.wait("document.body.dataset.waiting === '0'")
    assert len({first, second, third}) == 3
    with served.library.tag_store() as store:
        assert store.tag(first).state is State.CONFIRMED
        assert store.tag(first).start_s == pytest.approx(store.tag(first).candidate.start_s - 0.2)
        assert store.tag(first).end_s == pytest.approx(store.tag(first).candidate.end_s + 0.1)
        assert store.tag(second).state is State.REJECTED
        assert store.tag(third).state is State.UNSURE
        assert store.tag(third).decided_by == served.app.state.site.access.visitor
    browser.press("z")
    browser.wait(f"{ready} === '{third}'")
    browser.wait("document.body.dataset.waiting === '0'")
    browser.press("t")
    browser.press("seen twice")
    browser.press(Keys.ESCAPE)
    browser.press("l")
    browser.press("for Friday", Keys.ENTER)
    browser.wait(
        "document.body.dataset.waiting === '0' && document.getElementById('said').textContent.includes('labels')"
    )
    with served.library.tag_store() as store:
        assert store.tag(third).state is State.CANDIDATE
        assert store.tag(third).labels == ("for Friday",)
        assert store.tag(third).note == "seen twice"
        assert len(tags) == len(store.tags())
    browser.press("?")
    browser.wait("document.getElementById('keys').open")
    assert browser.findings() == []
    browser.press(Keys.ESCAPE)
    browser.wait("!document.getElementById('keys').open")
    assert browser.errors() == []


def test_somebody_else_is_put_into_a_role_and_taken_out_again(browser, served):
    browser.open("/tags/1")
    browser.wait("document.getElementById('desk').dataset.ready")
    with served.library.tag_store() as store:
        before = store.tag(1).actors
    browser.wait("document.querySelectorAll('#actor-0 option').length > 5")
    browser.find(".change-people summary").click()
    assert browser.findings() == []
    other = browser.driver.execute_script(
        "const s = document.getElementById('actor-0');"
        "s.value = [...s.options].find(o => o.value !== s.value && o.text.includes('attack')).value;"
        "s.dispatchEvent(new Event('change')); return s.value;"
    )
    browser.wait("document.getElementById('said').textContent.includes('players of tag 1')")
    browser.wait(f"document.getElementById('actor-0').value === '{other}'")
    with served.library.tag_store() as store:
        assert store.tag(1).actors == ((before[0][0], int(other)), *before[1:])
    browser.wait("document.querySelector('[data-at=history]').textContent.includes('changed it')")
    browser.driver.execute_script("document.activeElement.blur()")
    browser.press("z")
    browser.wait("document.getElementById('said').textContent.includes('taken back')")
    browser.wait(f"document.getElementById('actor-0').value === '{before[0][1]}'")
    with served.library.tag_store() as store:
        assert store.tag(1).actors == before
    assert browser.errors() == []
