"""The first page: what it says of a night that went well, badly, or not at all."""

import os
import re
import shutil
import socket
from datetime import UTC, datetime

from fastapi.testclient import TestClient
from visiting import Visitor, app_of

from pipeline.library.games import Library
from pipeline.library.nights import FilmNight, FilmState, Night, write_night
from pipeline.review.readying import ready


def test_games_kinds_and_what_is_left(visitor, library):
    with library.tag_store() as store:
        tags = store.tags()
    text = visitor.get("/").text
    assert f"Decide {len(tags)}" in text
    assert "crowded-drive" in text
    assert "Crowded paint" in text
    assert "100.0 %" in text, "the share of live frames with a floor"
    visitor.change(f"/api/tags/{tags[0].tag}/decide", {"verdict": "confirmed"})
    visitor.change(f"/api/tags/{tags[1].tag}/decide", {"verdict": "unsure"})
    text = visitor.get("/").text
    assert f"Decide {len(tags) - 2}" in text, "counted anew with every decision"
    assert "/queue?state=unsure" in text
    for game in {tag.game for tag in tags}:
        assert f"/queue?game={game}" in text


def test_what_failed_and_why(visitor, library):
    (library.root / "games" / ".unfinished-0123456789abcdef").mkdir()
    (library.root / "games" / "weak-side-motion" / "state.json").write_text("{")
    (library.root / "games" / "crowded-drive" / "tables" / "possessions.parquet").unlink()
    text = visitor.get("/").text
    assert "What failed, and why" in text
    assert "A run was stopped while it was still looking at its film" in text
    assert "state.json cannot be read" in text
    assert "possessions" in text
    assert visitor.get("/api/tags/1").status_code == 200, "tags are still shown"
    assert visitor.get("/api/tags/1/play.json").status_code == 200


def test_a_night_that_runs_and_one_that_broke_off(visitor, library):
    now = datetime.now(UTC)
    films = (
        FilmNight(film="/films/a <b>.mp4", size_bytes=9, state=FilmState.RUNNING, stage="players", share=0.42),
        FilmNight(film="/films/c.mp4", size_bytes=9, state=FilmState.FAILED, sentence="c.mp4 is empty (0 bytes)."),
    )
    night = Night(
        stamp="x", folder="/films", process=os.getpid(), host=socket.gethostname(), began=now, beat=now, films=films
    )
    write_night(library, night)
    text = visitor.get("/").text
    assert "Running now" in text
    assert "a &lt;b&gt;.mp4" in text
    assert "running: players" in text
    assert 'value="42"' in text
    assert "c.mp4 is empty (0 bytes)." in text
    write_night(library, night.model_copy(update={"process": 2**22 - 1, "host": socket.gethostname()}))
    assert "A night that broke off" in visitor.get("/").text
    (library.root / "nights" / "x" / "night.json").write_text("{}")
    assert "is no record of a night" in visitor.get("/").text


def test_an_empty_library(tmp_path, review_settings):
    empty = Library(tmp_path / "empty")
    empty.tag_store().close()
    with Visitor(app_of(empty, review_settings), base_url="http://127.0.0.1:8765") as client:
        assert "No game yet" in client.get("/").text
        assert "Nothing left here" in client.get("/queue").text
        assert client.get("/tags/1").status_code == 404


def test_a_game_whose_folder_is_gone_keeps_its_tags(visitor, library):
    shutil.rmtree(library.root / "games" / "crowded-drive")
    with library.tag_store() as store:
        tag = store.tags(game="crowded-drive")[0].tag
    card = visitor.get(f"/api/tags/{tag}").json()
    assert any("There is no game 'crowded-drive'" in line for block in card["evidence"] for line in block)
    assert visitor.get(f"/tags/{tag}").status_code == 200
    assert "There is no game" in visitor.get(f"/api/tags/{tag}/play.json").json()["error"]
    assert visitor.change(f"/api/tags/{tag}/decide", {"verdict": "rejected"}).status_code == 200
    assert visitor.get("/").status_code == 200


def test_the_queue_is_ordered_and_filtered(visitor, library):
    def listed(query=""):
        return [int(n) for n in re.findall(r'data-queued="(\d+)"', visitor.get(f"/queue{query}").text)]

    with library.tag_store() as store:
        tags = {tag.tag: tag for tag in store.tags()}
    scores = [tags[n].candidate.score for n in listed()]
    assert len(scores) == len(tags)
    assert scores == sorted(scores, reverse=True)
    assert listed("?family=set") == [n for n in listed() if tags[n].candidate.family == "set"]
    assert listed("?game=crowded-drive&kind=crowded_paint") == [
        n for n in listed() if (tags[n].game, tags[n].candidate.kind) == ("crowded-drive", "crowded_paint")
    ]
    assert listed("?game=no%20such%20game") == []
    visitor.change("/api/tags/1/decide", {"verdict": "rejected"})
    assert 1 not in listed()
    assert listed("?state=rejected") == [1]


def test_a_season_opens_with_its_latest_games(library, review_settings):
    """Ten games stand open; the others, and further troubles, are folded away."""
    first = library.root / "games" / "crowded-drive"
    for number in range(12):
        other = library.root / "games" / f"later-{number:02d}"
        shutil.copytree(first, other)
        (other / "state.json").unlink()
    with TestClient(app_of(library, review_settings), base_url="http://127.0.0.1") as client:
        text = client.get("/").text
    games = len(library.games())
    assert f"The {games - 10} games before these" in text
    assert text.count('href="/queue?game=later-') >= 12
    assert re.search(r"<summary>\d+ more</summary>", text), "what failed is folded too"


def test_a_server_makes_ready_before_somebody_comes(library, review_settings):
    own = app_of(library, review_settings).state.site
    (library.root / "games" / "weak-side-motion" / "game.toml").write_text("not toml", encoding="utf-8")
    ready(own)
    assert list((library.root / ".find").glob("hits-*.duckdb"))
    own.store.close()
