"""The film in byte ranges (RFC 9110, sections 13.1.5 and 14), and cuts of films that browsers cannot play."""

from fractions import Fraction
from itertools import islice
from pathlib import Path

import av
import numpy as np
import pytest

from pipeline.film.fetching import film_digest
from pipeline.film.probe import probe
from pipeline.library.games import Library
from pipeline.review.film_file import CUTS, shown_film
from pipeline.settings import Settings

FILM = "/film/games/crowded-drive"
COUNT = 370
EVEN_S = [n / 25 for n in range(COUNT)]


@pytest.fixture
def film(library) -> bytes:
    return library.game("crowded-drive").film().read_bytes()


def test_the_whole_film(visitor, film):
    answer = visitor.get(FILM)
    assert answer.status_code == 200
    assert answer.content == film
    assert answer.headers["accept-ranges"] == "bytes"
    assert answer.headers["content-type"] == "video/mp4"
    assert answer.headers["etag"]


def test_only_its_head(visitor, film):
    answer = visitor.head(FILM)
    assert (answer.status_code, answer.content) == (200, b"")
    assert int(answer.headers["content-length"]) == len(film)
    part = visitor.head(FILM, headers={"Range": "bytes=0-9"})
    assert (part.status_code, part.headers["content-length"], part.content) == (206, "10", b"")


@pytest.mark.parametrize(
    ("asked", "first", "last"),
    [("0-99", 0, 99), ("100-", 100, None), ("-50", -50, None), ("0-", 0, None), ("500-999999999999", 500, None)],
)
def test_one_range(visitor, film, asked, first, last):
    answer = visitor.get(FILM, headers={"Range": f"bytes={asked}"})
    begin = first if first >= 0 else len(film) + first
    end = len(film) - 1 if last is None else last
    assert answer.status_code == 206
    assert answer.content == film[begin : end + 1]
    assert answer.headers["content-range"] == f"bytes {begin}-{end}/{len(film)}"
    assert int(answer.headers["content-length"]) == end + 1 - begin


def test_a_suffix_longer_than_the_film_is_all_of_it(visitor, film):
    answer = visitor.get(FILM, headers={"Range": f"bytes=-{len(film) + 1000}"})
    assert answer.status_code == 206
    assert answer.content == film


@pytest.mark.parametrize("asked", ["{size}-", "{more}-{most}", "-0"])
def test_a_range_beyond_the_end_cannot_be_given(visitor, film, asked):
    text = asked.format(size=len(film), more=len(film) + 5, most=len(film) + 9)
    answer = visitor.get(FILM, headers={"Range": f"bytes={text}"})
    assert answer.status_code == 416
    assert answer.headers["content-range"] in (f"bytes */{len(film)}", f"*/{len(film)}")


@pytest.mark.parametrize("asked", ["pages=1-2", "bytes", "bytes=", "bytes=x-y", "bytes=--5", "bytes=1", "0-5"])
def test_a_range_that_is_none_is_ignored(visitor, film, asked):
    answer = visitor.get(FILM, headers={"Range": asked})
    assert answer.status_code == 200
    assert len(answer.content) == len(film)


def test_several_ranges_come_in_parts(visitor, film):
    answer = visitor.get(FILM, headers={"Range": "bytes=0-9, 100-109"})
    assert answer.status_code == 206
    assert answer.headers["content-type"].startswith("multipart/byteranges")
    assert film[0:10] in answer.content
    assert film[100:110] in answer.content


def test_a_range_of_a_film_that_has_changed_is_not_joined_to_the_old_one(visitor, film):
    told = visitor.head(FILM).headers
    for good in (told["etag"], told["last-modified"]):
        assert visitor.get(FILM, headers={"Range": "bytes=0-9", "If-Range": good}).status_code == 206
    for old in ('"another"', f"W/{told['etag']}", "Wed, 01 Jan 2020 00:00:00 GMT"):
        answer = visitor.get(FILM, headers={"Range": "bytes=0-9", "If-Range": old})
        assert answer.status_code == 200
        assert len(answer.content) == len(film)


# ---- cuts ---------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def pictures(filled_library) -> list[np.ndarray]:
    """The first film's first pictures, small."""
    film = Library(filled_library).game("crowded-drive").film()
    with av.open(str(film)) as source:
        first = islice(source.decode(video=0), COUNT)
        return [picture.reformat(320, 180, "yuv420p").to_ndarray() for picture in first]


def rewritten(pictures: list[np.ndarray], out: Path, container: str, codec: str, times_s: list[float]) -> Path:
    """A film of these pictures at other times, in another form."""
    with av.open(str(out), "w", format=container) as made:
        stream = made.add_stream(codec, rate=25)
        stream.width, stream.height, stream.pix_fmt = 320, 180, "yuv420p"
        stream.codec_context.time_base = Fraction(1, 90_000)
        for at_s, picture in zip(times_s, pictures, strict=True):
            small = av.VideoFrame.from_ndarray(picture, format="yuv420p")
            small.pts, small.time_base = round(at_s * 90_000), Fraction(1, 90_000)
            made.mux(stream.encode(small))
        made.mux(stream.encode(None))
    return out


def with_film(library, film: Path) -> None:
    path = library.root / "games" / "crowded-drive" / "game.toml"
    head = path.read_text().partition("[film]")[0]
    path.write_text(f'{head}[film]\npath = "{film}"\ndigest = "{film_digest(film)}"\n')


@pytest.mark.parametrize(("container", "codec", "ending"), [("mpegts", "libx264", "ts"), ("mp4", "libx265", "mp4")])
def test_what_browsers_cannot_play_is_cut(library, visitor, pictures, tmp_path, container, codec, ending):
    film = rewritten(pictures, tmp_path / f"film.{ending}", container, codec, EVEN_S)
    with_film(library, film)
    whole = visitor.get(FILM)
    assert whole.status_code == 404
    assert "cannot play" in whole.text
    play = visitor.get("/api/tags/1/play.json").json()
    assert play["film"]["url"] == "/film/tags/1"
    answer = visitor.get("/film/tags/1", headers={"Range": "bytes=0-99"})
    assert answer.status_code == 206
    assert answer.headers["content-type"] == "video/mp4"
    (cut,) = (library.root / ".review" / CUTS).glob("*.mp4")
    made = probe(cut)
    assert (made.codec, made.container) == ("h264", "mov,mp4,m4a,3gp,3g2,mj2")
    shown_s = made.times_s + play["film"]["begins_s"]
    original_s = probe(film).times_s
    inside = original_s[(original_s >= shown_s[0] - 1e-6) & (original_s <= shown_s[-1] + 1e-6)]
    assert shown_s == pytest.approx(inside, abs=1e-4), "every picture at its own time"
    assert shown_s[0] <= play["start_s"]
    before = cut.stat().st_ino
    visitor.get("/film/tags/1")
    assert cut.stat().st_ino == before, "cut once"


def test_uneven_times_are_told_frame_by_frame(library, visitor, pictures, tmp_path):
    rng = np.random.default_rng(3)
    times = np.cumsum(np.concatenate([[0.0], rng.choice([1 / 60, 1 / 30, 0.1], COUNT - 1)])).round(4)
    film = rewritten(pictures, tmp_path / "film.mp4", "mp4", "libx264", times.tolist())
    with_film(library, film)
    play = visitor.get("/api/tags/1/play.json").json()
    told = np.array(play["frames_s"])
    true = probe(film).times_s
    assert len(told) > 20
    assert told == pytest.approx(true[(true >= told[0] - 1e-4) & (true <= told[-1] + 1e-4)], abs=1e-4)
    assert len(set(np.diff(told).round(3))) > 2


def test_old_cuts_make_way(library, visitor, pictures, tmp_path):
    film = rewritten(pictures, tmp_path / "film.ts", "mpegts", "libx264", EVEN_S)
    with_film(library, film)
    settings = Settings()
    few = settings.model_copy(update={"review": settings.review.model_copy(update={"cut_cache_gb": 1e-9})})
    object.__setattr__(visitor.app.state.site, "settings", few)
    with library.tag_store() as store:
        tags = store.tags(game="crowded-drive")
    paths = {shown_film(library, tag, few).path for tag in tags}
    for tag in tags:
        assert visitor.get(f"/film/tags/{tag.tag}").status_code == 200
    kept = list((library.root / ".review" / CUTS).glob("*.mp4"))
    assert len(paths) > 1
    assert len(kept) == 1


def test_a_film_that_is_gone_leaves_the_half_court(library, visitor):
    path = library.root / "games" / "crowded-drive" / "game.toml"
    path.write_text(path.read_text().replace("crowded_drive.mp4", "gone.mp4"))
    play = visitor.get("/api/tags/1/play.json").json()
    assert play["film"] is None
    assert "no longer at" in play["no_film"]
    assert len(play["bodies"]) >= 10
    assert visitor.get(FILM).status_code == 404
    assert visitor.get("/tags/1").status_code == 200
