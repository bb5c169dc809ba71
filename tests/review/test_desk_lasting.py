"""The desk when things go wrong, when others are there too, and over a whole queue of a hundred; in a real browser."""

import time
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from selenium.webdriver.common.keys import Keys
from visiting import app_of, clean, serving

from pipeline.clips.playback import Playback
from pipeline.court.tables import CAMERAS
from pipeline.players.tables import TRACKS
from pipeline.tags import State

READY = "document.getElementById('desk').dataset.ready"
SAVED = "document.body.dataset.waiting === '0'"
SAID = "document.getElementById('said').textContent"
OUTBOX = "document.getElementById('outbox').textContent"


def now() -> datetime:
    return datetime.now(UTC)


def state_of(library, tag: int) -> State:
    with library.tag_store() as store:
        return store.tag(tag).state


def test_decisions_wait_for_a_server_that_is_away(chromium, library, review_settings):
    """Nothing that was pressed while the server was gone is lost, a reload of the browser's memory included."""
    with serving(app_of(library, review_settings)) as address:
        browser = clean(chromium, address)
        browser.open("/queue")
        first = int(browser.wait(READY))
        browser.wait("performance.getEntriesByType('resource').filter(e => e.name.includes('/api/tags/')).length >= 5")
    browser.press("c")
    browser.wait(f"{OUTBOX}.includes('does not answer')")
    browser.wait(f"{READY} !== '{first}' && {READY}")
    second = int(browser.wait(READY))
    browser.press("r")
    browser.wait("document.body.dataset.waiting === '2'")
    assert state_of(library, first) is State.CANDIDATE
    with serving(app_of(library, review_settings), port=int(address.rpartition(":")[2])):
        browser.wait(SAVED)
        browser.wait(f"{OUTBOX} === 'Everything is saved.'")
        assert state_of(library, first) is State.CONFIRMED
        assert state_of(library, second) is State.REJECTED
    chromium.get("about:blank")


def test_what_was_not_sent_is_sent_by_the_next_visit(chromium, library, review_settings):
    with serving(app_of(library, review_settings)) as address:
        browser = clean(chromium, address)
        browser.open("/queue")
        first = int(browser.wait(READY))
    browser.press("c")
    browser.wait("Object.keys(localStorage).some(key => key.startsWith('elbowroom.outbox.'))")
    chromium.execute_script("window.onbeforeunload = null;")
    chromium.execute_cdp_cmd("Page.navigate", {"url": "about:blank"})
    with serving(app_of(library, review_settings), port=int(address.rpartition(":")[2])):
        assert state_of(library, first) is State.CANDIDATE
        browser.dismiss()
        browser.open("/queue")
        browser.wait(READY)
        browser.wait(SAVED)
        browser.wait("!Object.keys(localStorage).some(key => key.startsWith('elbowroom.outbox.'))")
        assert state_of(library, first) is State.CONFIRMED
        chromium.get("about:blank")


@pytest.mark.parametrize("mine", [True, False])
def test_the_second_sees_what_the_first_decided_and_chooses(browser, served, mine):
    browser.open("/queue")
    tag = int(browser.wait(READY))
    with served.library.tag_store() as store:
        store.decide(tag, State.REJECTED, who="Kim", when=now(), text="a foul before it")
    browser.press("c")
    browser.wait("document.getElementById('conflict').open")
    said = browser.text("#conflict")
    assert "Kim rejected it (a foul before it)" in said
    assert "You wanted" in said
    assert browser.findings() == []
    assert state_of(served.library, tag) is State.REJECTED
    button = browser.find(f"#conflict button[value={'mine' if mine else 'theirs'}]")
    button.send_keys(Keys.ENTER)
    browser.wait(f"!document.getElementById('conflict').open && {SAVED}")
    if mine:
        browser.wait(f"{SAID}.startsWith('Saved')")
    assert state_of(served.library, tag) is (State.CONFIRMED if mine else State.REJECTED)
    with served.library.tag_store() as store:
        assert [note.who for note in store.history(tag)][1:] == (["Kim", "Robin"] if mine else ["Kim"])


def test_everything_by_taps_on_a_phone(browser, served):
    browser.look(width=390, height=844)
    browser.open("/queue")
    tag = int(browser.wait(READY))
    assert browser.fits()

    def tap(selector):
        browser.driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", browser.find(selector))
        browser.find(selector).click()

    tap("[data-deed-button=start-earlier]")
    browser.wait(f"{SAID}.includes('lasts')")
    tap("[data-deed-button=confirm]")
    browser.wait(f"{READY} && {READY} !== '{tag}'")
    browser.wait(SAVED)
    assert state_of(served.library, tag) is State.CONFIRMED
    tap(".verdicts [data-deed-button=undo]")
    browser.wait(f"{READY} === '{tag}' && {SAVED}")
    browser.wait(f"{SAID}.includes('taken back')")
    assert state_of(served.library, tag) is State.CANDIDATE
    browser.find("[data-at=label]").send_keys("for Friday", Keys.ENTER)
    browser.wait(f"{SAID}.includes('labels')")
    for what in ("play", "forth", "slower", "again"):
        tap(f"[data-do={what}]")
    assert browser.errors() == []


def test_the_page_puts_the_floor_where_the_library_does(browser, served):
    """The page's camera and places against those of the clips, pixel for pixel and foot for foot."""
    browser.open("/tags/1")
    browser.wait(READY)
    with served.library.tag_store() as store:
        shot = store.tag(1).candidate.shot
        at_s = store.tag(1).candidate.t_s
    tables = served.library.game("crowded-drive").tables
    playback = Playback(CAMERAS.read(tables), TRACKS.read(tables), shot, 0.4)
    floor_ft = np.array([[x, y] for x in (2.0, 20.0, 47.0, 70.0, 92.0) for y in (1.0, 25.0, 49.0)])
    for t_s in (at_s, at_s + 0.013, at_s - 0.777):
        told = browser.driver.execute_async_script(
            """
            const [t, points, done] = arguments;
            const coming = fetch('/api/tags/1/play.json').then(answer => answer.json());
            Promise.all([import('/static/floor.js'), coming]).then(([f, play]) => {
              const seen = f.projection(play.cameras, t, play.bridge_s);
              done({px: points.map(([x, y]) => seen(x, y)),
                    bodies: Object.fromEntries(play.bodies.map(b => [b.track, f.placeAt(b, t, play.bridge_s)]))});
            }, error => done(String(error)));
            """,
            t_s,
            floor_ft.tolist(),
        )
        true_px = playback.camera(t_s).project_floor(floor_ft)
        px = np.array([point or [np.nan, np.nan] for point in told["px"]], dtype=float)
        assert px == pytest.approx(true_px, abs=0.3, nan_ok=True)
        bodies = {body.track: body.place_ft for body in playback.bodies(t_s)}
        assert len(bodies) >= 10
        assert {int(track) for track, place in told["bodies"].items() if place} == set(bodies)
        for track, place in bodies.items():
            assert told["bodies"][str(track)] == pytest.approx(place, abs=0.002)


def test_steps_go_from_frame_to_frame(browser):
    browser.open("/tags/1")
    browser.wait(READY)
    browser.wait("document.querySelector('video').readyState >= 2")
    browser.press("a", " ")
    browser.wait("document.querySelector('video').paused && !document.querySelector('video').seeking")
    frames = browser.driver.execute_async_script(
        "const done = arguments[0]; fetch('/api/tags/1/play.json').then(a => a.json()).then(p => done(p.frames_s));"
    )
    clock = "document.querySelector('[data-clock]').textContent"

    def shown() -> float:
        browser.wait("!document.querySelector('video').seeking")
        minutes, seconds = browser.driver.execute_script(f"return {clock}").split(",")[0].split(":")
        return 60 * int(minutes) + float(seconds)

    place = int(np.argmin(np.abs(np.array(frames) - shown())))
    for key, change in ((Keys.ARROW_RIGHT, 1), (Keys.ARROW_RIGHT, 1), (Keys.ARROW_LEFT, -1), (Keys.ARROW_RIGHT, 1)):
        browser.press(key)
        place += change
        browser.wait(
            f"Math.abs({{t: {frames[place]}}}.t - (([m, s]) => 60 * m + parseFloat(s))({clock}.split(':'))) < 0.006"
        )
        media_s = browser.driver.execute_script("return document.querySelector('video').currentTime")
        assert frames[place] <= media_s < frames[place + 1], "the picture on show is that frame"


@pytest.mark.slow
def test_a_queue_of_a_hundred_takes_one_key_each(chromium, library, review_settings):
    """Key presses and the server's own time are counted; how long a person looks is theirs."""
    with library.tag_store() as store:
        found = [tag.candidate for tag in store.tags(game="crowded-drive")]
        drawn = [
            replace(found[n % len(found)], start_s=s, t_s=s + 1, end_s=s + 2, score=1 - n / 200)
            for n, s in enumerate(np.linspace(2, 11, 100))
        ]
        store.merge(
            "crowded-drive", [replace(one, kind=f"drill_{n}") for n, one in enumerate(drawn)], who="t", when=now()
        )
    spent = []
    app = app_of(library, review_settings)

    async def timed(scope, receive, send):
        begun = time.perf_counter()
        await app(scope, receive, send)
        spent.append((scope.get("path", ""), time.perf_counter() - begun))

    keys = 0
    with serving(timed) as address:
        browser = clean(chromium, address)
        browser.open("/queue?game=crowded-drive")
        order = []
        for n in range(100):
            tag = browser.wait(f"{READY} && {READY} !== '{order[-1] if order else ''}' && {READY}")
            order.append(tag)
            browser.press("c" if n % 3 else "r")
            keys += 1
        browser.wait("!document.querySelector('[data-at=done]').hidden")
        browser.wait(SAVED)
        assert browser.errors() == []
        chromium.get("about:blank")
    assert keys == len(set(order)) == 100
    with library.tag_store() as store:
        tags = [tag for tag in store.tags(game="crowded-drive") if tag.candidate.kind.startswith("drill")]
        assert [tag.state for tag in sorted(tags, key=lambda tag: order.index(str(tag.tag)))] == [
            State.CONFIRMED if n % 3 else State.REJECTED for n in range(100)
        ]
    decided = [seconds for path, seconds in spent if path.endswith("/decide")]
    cards = [seconds for path, seconds in spent if path.startswith("/api/tags/") and not path.endswith("/decide")]
    assert len(decided) == 100
    assert len(cards) <= 200, "each tag's card and drawing are fetched once"
    per_tag_s = (sum(decided) + sum(cards)) / 100
    told = f"{per_tag_s:.3f} s a tag, of that the decision {np.mean(decided):.3f} s"
    assert per_tag_s < 3, f"a third of the nine seconds that a quarter of an hour leaves: {told}"
