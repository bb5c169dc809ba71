"""The pages of analysts and coaches over HTTP: what they take, what they refuse, odd libraries and hostile input."""

import json
from dataclasses import replace
from datetime import UTC, datetime

import pyarrow.parquet as pq
import pytest
from visiting import Visitor, app_of

from pipeline.library.games import Library
from pipeline.library.pins import read_pins
from pipeline.review.reel_view import MOST_CLIPS, with_tags
from pipeline.tags import Family, State

NOW = datetime(2026, 11, 25, 6, 0, tzinfo=UTC)
COACH_PAGES = (
    "/search",
    "/search?q=fault:any",
    "/reels",
    "/compare",
    "/compare?what=fault:twins",
    "/compare?what=set:horns",
    "/sets",
    "/sets/horns",
    "/settings",
    "/court",
    "/precision",
    "/reports",
)


def visitor_of(library: Library, **more) -> Visitor:
    return Visitor(app_of(library, **more), base_url="http://127.0.0.1:8765")


@pytest.fixture
def empty(tmp_path):
    library = Library(tmp_path / "empty")
    library.tag_store().close()
    return library


@pytest.fixture
def reel(library):
    with library.tag_store() as store:
        tags = [tag.tag for tag in store.tags()][:3]
        return store.save_reel(with_tags(store.make_reel("Friday", who="Robin", when=NOW), tags), who="Robin", when=NOW)


@pytest.mark.parametrize("path", COACH_PAGES)
def test_an_empty_library_gives_pages_that_say_so(empty, path):
    with visitor_of(empty) as client:
        answer = client.get(path)
        assert answer.status_code in (200, 400), answer.text
        assert "Traceback" not in answer.text


def test_an_empty_library_has_nothing_to_report(empty):
    with visitor_of(empty) as client:
        answer = client.get("/reports/set.html?name=horns")
        assert answer.status_code == 400
        assert "no game in this library yet" in answer.text


def test_a_bad_query_gets_the_names_that_exist(visitor):
    answer = visitor.get("/search", params={"q": "crowded_paint cuont > 3"})
    assert answer.status_code == 400
    assert "did you mean &#39;count&#39;" in answer.text
    assert "peak_count" in answer.text
    assert 'value="crowded_paint cuont &gt; 3"' in answer.text


def test_a_form_becomes_a_line_of_the_bar(visitor):
    asked = {
        "faults": ["crowded_paint"],
        "from.count": "3",
        "to.count": "7,5",
        "order": "count desc",
        "states": "candidate",
    }
    answer = visitor.get("/search", params=asked, follow_redirects=False)
    assert answer.status_code == 303
    line = visitor.get(answer.headers["location"])
    assert 'value="fault:crowded_paint state:candidate count &gt;= 3 and count &lt;= 7.5' in line.text


def test_saved_searches_are_kept_and_forgotten(visitor):
    name = '<i>Mon "day"</i>'
    assert visitor.change_form("/search/save", {"name": name, "q": "fault:any"}).status_code == 200
    page = visitor.get("/search").text
    assert "&lt;i&gt;Mon" in page
    assert "<i>Mon" not in page
    visitor.change_form("/search/drop", {"name": name})
    assert "Mon" not in visitor.get("/search").text


def test_hits_are_exported_whole(visitor, tmp_path):
    rows = json.loads(visitor.get("/search/export?form=json&q=fault:any").content)
    assert rows
    table = tmp_path / "hits.parquet"
    table.write_bytes(visitor.get("/search/export?form=parquet&q=fault:any").content)
    assert pq.read_table(table).num_rows == len(rows)
    assert visitor.get("/search/export?form=csv&q=fault:any").text.count("\n") >= len(rows)
    assert "TITLE:" in visitor.get("/search/export?form=edl&q=fault:any").text
    refused = visitor.get("/search/export?form=exe&q=fault:any")
    assert refused.status_code == 400
    assert "there are csv, json, parquet, edl" in refused.text
    assert "only tags can be cut" in visitor.get("/search/export?form=edl&q=touch").text


def test_a_reel_takes_what_the_page_sends_and_nothing_else(visitor, library, reel):
    items = [{"tag": item.tag, "title": "", "note": "", "freeze": True, "slow": 0.5} for item in reel.items]
    sent = {"revision": reel.revision, "title": "Saturday", "note": "  two\nlines ", "items": items[::-1]}
    answer = visitor.change("/reels/1", sent)
    assert answer.status_code == 200, answer.text
    with library.tag_store() as store:
        kept = store.reel(1)
    assert (kept.title, kept.note) == ("Saturday", "two\nlines")
    assert [item.tag for item in kept.items] == [item.tag for item in reel.items][::-1]
    assert {(item.freeze, item.slow) for item in kept.items} == {(True, 0.5)}
    late = visitor.change("/reels/1", sent)
    assert late.status_code == 409
    assert "Robin" in late.json()["error"]
    wrong = visitor.change("/reels/1", {**sent, "revision": kept.revision, "items": [{"tag": 1, "slow": 9}]})
    assert wrong.status_code == 422
    many = visitor.change("/reels/1", {**sent, "items": items * MOST_CLIPS})
    assert many.status_code == 422
    unknown = visitor.change("/reels/1", {**sent, "revision": kept.revision, "items": [{"tag": 99999}]})
    assert unknown.status_code == 404
    with library.tag_store() as store:
        assert store.reel(1) == kept


def test_a_change_without_the_token_is_refused(visitor, reel):
    assert visitor.post("/reels/1", json={"revision": reel.revision, "title": "x", "items": []}).status_code == 403
    assert visitor.post("/reels/1/share").status_code == 403
    assert visitor.post("/court/crowded-drive/pins", json={"t": 3.0, "points": {}}).status_code == 403


def test_a_shared_reel_shows_under_its_link_until_it_is_taken_back(visitor, library, reel):
    visitor.change_form("/reels/1/share")
    with library.tag_store() as store:
        token = store.reel(1).token
    assert token is not None
    page = visitor.get(f"/shared/{token}")
    assert page.status_code == 200
    assert "Friday" in page.text
    assert "Build this reel" not in page.text
    for guess in ("x", token[:-1], token.upper(), "%00", "..%2Freels"):
        assert visitor.get(f"/shared/{guess}").status_code == 404
    visitor.change_form("/reels/1/unshare")
    assert visitor.get(f"/shared/{token}").status_code == 404
    assert reel.token is None


def test_a_dropped_reel_is_gone(visitor, reel):
    visitor.change_form(f"/reels/{reel.reel}/drop")
    assert visitor.get("/reels/1").status_code == 404
    assert "There is no reel yet" in visitor.get("/reels").text


def test_tags_go_into_reels_from_the_search(visitor, library):
    with library.tag_store() as store:
        tags = [tag.tag for tag in store.tags()][:2]
    answer = visitor.change_form("/search/reel", {"tags": [*map(str, tags), str(tags[0])], "title": "New"})
    assert answer.status_code == 200
    with library.tag_store() as store:
        assert [item.tag for item in store.reel(1).items] == tags
    assert "No hit was chosen" in visitor.change_form("/search/reel", {"title": "Empty"}).text
    assert visitor.change_form("/search/reel", {"tags": "12345"}).status_code == 404


def test_lists_of_cuts_of_a_reel(visitor, reel):
    assert "TITLE:" in visitor.get("/reels/1/export/edl").text
    assert json.loads(visitor.get("/reels/1/export/otio").content)["OTIO_SCHEMA"].startswith("Timeline")
    assert visitor.get("/reels/1/export/webvtt").text.startswith("WEBVTT")
    assert visitor.get("/reels/1/export/exe").status_code == 422
    assert "make one first" in visitor.get("/reels/1/film.mp4").text
    assert len(reel.items) == 3


def test_drawings_of_a_tag(visitor, library):
    with library.tag_store() as store:
        tag = store.tags()[0].tag
    assert visitor.get(f"/drawings/{tag}.svg").text.startswith("<svg")
    assert visitor.get("/drawings/99999.svg").status_code == 404
    assert visitor.get("/reels/1/handout").status_code == 404


def test_pins_are_tried_and_saved(visitor, library):
    page = visitor.get("/court/crowded-drive?t=3").text
    data = json.loads(page.split('id="court-data">')[1].split("</script>")[0])
    few = dict(list(data["visible"].items())[:3])
    tried = visitor.change("/court/crowded-drive/try", {"t": 3.0, "points": few}).json()
    assert not tried["good"]
    assert tried["said"] == "Place 1 more landmark to move the floor."
    tried = visitor.change("/court/crowded-drive/try", {"t": 3.0, "points": data["visible"]}).json()
    assert tried["good"]
    assert tried["miss_px"] < 2
    assert tried["lines"]
    moved = {name: (x + (200 if place == 0 else 0), y) for place, (name, (x, y)) in enumerate(data["visible"].items())}
    tried = visitor.change("/court/crowded-drive/try", {"t": 3.0, "points": moved}).json()
    assert not tried["good"]
    assert "No camera sees" in tried["said"]
    assert max(tried["misses_px"], key=tried["misses_px"].get) == next(iter(moved))
    saved = visitor.change("/court/crowded-drive/pins", {"t": 3.0, "points": data["visible"]})
    assert "landmarks saved" in saved.json()["said"]
    (pinned,) = read_pins(library.game("crowded-drive"))
    assert set(pinned.points) == set(data["visible"])
    gone = visitor.change("/court/crowded-drive/pins", {"t": 3.0, "points": {}})
    assert "are gone" in gone.json()["said"]
    assert read_pins(library.game("crowded-drive")) == ()
    wrong = visitor.change("/court/crowded-drive/try", {"t": 3.0, "points": {"corner_shop": [1, 2]} | data["visible"]})
    assert wrong.status_code in (200, 400)
    assert "corner_shop" in wrong.text
    assert visitor.change("/court/../../etc/try", {"t": 3.0, "points": {}}).status_code in (404, 405)


def test_a_game_is_run_again_behind_the_pages(library):
    ran = []

    def rerun(game, progress):
        progress("court", 0.5)
        ran.append(game.name)

    with visitor_of(library, rerun=rerun) as client:
        job = client.change("/court/crowded-drive/rerun").json()
        for _ in range(200):
            job = client.get(f"/jobs/{job['job']}.json").json()
            if not job["going"]:
                break
        assert job["standing"] == "done"
        assert ran == ["crowded-drive"]
        assert client.get("/jobs/77.json").status_code == 404
    with visitor_of(library) as client:
        assert "cannot run films" in client.change("/court/crowded-drive/rerun").text


def test_a_game_without_film_says_so(visitor, library):
    game = library.game("crowded-drive")
    text = (game.folder / "game.toml").read_text(encoding="utf-8").replace("[film]", "[tracking]")
    (game.folder / "game.toml").write_text(text, encoding="utf-8")
    assert "imported as tracking data" in visitor.get("/court").text
    answer = visitor.get("/court/crowded-drive")
    assert answer.status_code == 404
    assert "has no film" in answer.text
    assert visitor.get("/search?q=fault:any").status_code == 200


def test_a_film_that_moved_and_tables_that_are_missing_get_a_sentence(visitor, library):
    game = library.game("weak-side-motion")
    text = (game.folder / "game.toml").read_text(encoding="utf-8")
    (game.folder / "game.toml").write_text(text.replace("weak_side_motion.mp4", "gone.mp4"), encoding="utf-8")
    assert "is no longer at" in visitor.get("/court/weak-side-motion/frame.jpg?t=3").text
    assert visitor.get("/court/weak-side-motion").status_code == 200
    (game.tables / "cameras.parquet").unlink()
    assert "has not been looked at yet" in visitor.get("/court").text
    refused = visitor.get("/court/weak-side-motion")
    assert refused.status_code == 404
    assert "run its film first" in refused.text


def test_hostile_names_stay_text(visitor, library):
    game = library.game("crowded-drive")
    path = game.folder / "game.toml"
    hostile = '<script>alert(1)</script> O\'Brien \\"Süd\\"'
    text = path.read_text(encoding="utf-8").replace('opponent = ""', f'opponent = "{hostile}"')
    path.write_text(text.replace('name = ""', f'name = "{hostile}"', 1), encoding="utf-8")
    for page in ("/search?q=fault:any", "/compare", "/reports", "/court"):
        answer = visitor.get(page)
        assert answer.status_code == 200
        assert "<script>alert" not in answer.text
    both_quotes = '<script>alert(1)</script> O\'Brien "Süd"'
    answer = visitor.get("/compare", params={"what": "fault:twins", "one_team": both_quotes})
    assert answer.status_code in (200, 400)
    assert "Traceback" not in answer.text


@pytest.mark.parametrize("start", ["-1", "x", "99999999999"])
def test_odd_numbers_are_refused_in_a_sentence(visitor, start):
    answer = visitor.get(f"/search?q=fault:any&start={start}")
    assert answer.status_code == 422
    assert "was not understood" in answer.text


def test_precision_shows_what_was_decided(visitor, library):
    assert "Nobody has decided anything yet" in visitor.get("/precision").text
    with library.tag_store() as store:
        tag = store.tags()[0]
        store.decide(tag.tag, State.CONFIRMED, who="Robin", when=NOW)
    page = visitor.get("/precision").text
    assert "100% (21% to 100%)" in page  # Wilson 1927: 1 of 1 is 20.7 % to 100 %
    family, kind = tag.candidate.family, tag.candidate.kind
    assert "<svg" in visitor.get(f"/precision/{family}/{kind}.svg").text
    assert visitor.get("/precision/fault/nothing.svg").status_code == 404


def test_reports_come_as_pages_and_as_pdf(visitor):
    page = visitor.get("/reports/night.html")
    assert page.status_code == 200
    assert "sha256-" in page.headers["content-security-policy"]
    pdf = visitor.get("/reports/night.pdf")
    assert pdf.content.startswith(b"%PDF")
    assert "attachment" in pdf.headers["content-disposition"]
    assert visitor.get("/reports/set.html?name=nothing").status_code == 400
    assert visitor.get("/reports/night.exe").status_code == 422


def test_a_comparison_counts_both_sides(visitor, library):
    with library.tag_store() as store:
        here = sum(tag.candidate.kind == "crowded_paint" for tag in store.tags(game="crowded-drive"))
    asked = {"what": "fault:crowded_paint", "one_game": "crowded-drive", "other_game": "weak-side-motion"}
    page = " ".join(visitor.get("/compare", params=asked).text.split())
    assert f'<th scope="row">How many</th><td>{here}</td>' in page
    assert "Per 100 possessions" in page
    both = visitor.get("/compare", params={"what": "fault:crowded_paint"}).text
    assert "to both sides" in both
    kinds = visitor.get("/compare", params={"what": "fault:twins", "one_more": "fault:twins"})
    assert kinds.status_code == 400
    day = visitor.get("/compare", params={"what": "fault:twins", "one_more": "since:yesterday"})
    assert day.status_code == 400
    assert "yesterday" in day.text


def test_how_often_a_set_was_found(visitor, library):
    with library.tag_store() as store:
        (tag, *_) = [tag for tag in store.tags() if tag.candidate.family is Family.SET]
        store.decide(tag.tag, State.CONFIRMED, who="Robin", when=NOW)
    assert "1 confirmed" in visitor.get(f"/sets/{tag.candidate.kind}").text


def test_a_reel_keeps_no_clip_twice(reel):
    assert with_tags(reel, [item.tag for item in reel.items]) == reel
    assert with_tags(replace(reel, items=()), [3, 3, 1]).items[0].tag == 3
