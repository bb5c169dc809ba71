"""Logging in with a real browser, and a login that ends while somebody decides."""

import pytest
from selenium.webdriver.common.keys import Keys
from visiting import Browser, app_of, clean, serving

from pipeline.review.access import password_file
from pipeline.tags import State

WORD = "four unrelated words here"
READY = "document.getElementById('desk') && document.getElementById('desk').dataset.ready"


@pytest.fixture
def behind_a_login(chromium, library, review_settings):
    password_file(library).set("Kim", WORD)
    with serving(app_of(library, review_settings)) as address:
        yield clean(chromium, address)
        chromium.get("about:blank")


def log_in(browser: Browser, password: str) -> None:
    browser.find("#name").send_keys("Kim")
    browser.find("#password").send_keys(password, Keys.ENTER)


def test_the_login_leads_where_one_wanted_to_go(behind_a_login, library):
    browser = behind_a_login
    browser.open("/queue?game=crowded-drive")
    browser.wait("location.pathname === '/login'")
    assert browser.findings() == []
    log_in(browser, "not the password")
    browser.wait("document.querySelector('[role=alert]')")
    assert browser.findings() == []
    log_in(browser, WORD)
    browser.wait("location.pathname + location.search === '/queue?game=crowded-drive'")
    tag = int(browser.wait(READY))
    browser.press("c")
    browser.wait("document.getElementById('said').textContent.startsWith('Saved')")
    with library.tag_store() as store:
        assert store.tag(tag).decided_by == "Kim"
    browser.find(".who form button").click()
    browser.wait("location.pathname === '/login'")
    browser.open("/queue")
    browser.wait("location.pathname === '/login'")


def test_a_login_that_ends_loses_no_decision(behind_a_login, library):
    browser = behind_a_login
    browser.open("/queue")
    log_in(browser, WORD)
    tag = int(browser.wait(READY))
    password_file(library).set("Kim", WORD + " anew")
    browser.press("c")
    browser.wait("document.getElementById('outbox').textContent.includes('login has ended')")
    with library.tag_store() as store:
        assert store.tag(tag).state is State.CANDIDATE
    desk = browser.driver.current_window_handle
    browser.driver.switch_to.new_window("tab")
    browser.open("/login")
    log_in(browser, WORD + " anew")
    browser.wait("location.pathname === '/'")
    browser.driver.close()
    browser.driver.switch_to.window(desk)
    browser.wait("document.body.dataset.waiting === '0'")
    with library.tag_store() as store:
        assert store.tag(tag).state is State.CONFIRMED
        assert store.tag(tag).decided_by == "Kim"
