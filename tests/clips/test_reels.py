"""Reels: one film out of clips of several games, with cards, at one size and rate."""

import os
import signal
import subprocess
import sys
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from pipeline.clips.cutting import cut_clip
from pipeline.clips.reels import chosen_reel, fitted, plan_reel, reel_film, reel_of_tags
from pipeline.clips.writing import Part, at_rate
from pipeline.court.tables import CAMERAS
from pipeline.errors import LibraryError
from pipeline.film.decode import decode
from pipeline.film.probe import probe
from pipeline.library.games import Library
from pipeline.tags import Reel, ReelItem
from tests.clips.made_up_game import add_game, camera_table, settings_with, tag_at
from tests.clips.test_cutting import film_with_beeps, loud_stretch
from tests.film.films import numbered_film, read_number, write_film

QUICK = {
    "before_s": 0.2,
    "after_s": 0.1,
    "reel_freeze_s": 0.4,
    "title_card_s": 0.6,
    "item_card_s": 0.4,
    "speed": "ultrafast",
}


@pytest.fixture
def library(tmp_path: Path) -> Library:
    return Library(tmp_path / "library")


def plain_tag(t_s: float, number: int, game: str = "game"):
    """A tag nobody takes part in, so that nothing is drawn but the caption."""
    return tag_at(t_s, number=number, game=game, kind="isolation", actors=(), sentence="")


def test_a_reel_has_its_title_cards_and_clips(library: Library, tmp_path: Path) -> None:
    film = film_with_beeps(tmp_path / "beeps.mp4")
    unseen = add_game(library, "game", film)
    times = [round(0.1 * k, 6) for k in range(20)]
    CAMERAS.write(camera_table(times, [None] * 20), unseen.tables)  # without a floor nothing is drawn over the numbers
    settings = settings_with(**QUICK)
    reel = Reel(1, "Übung", "Was wir sehen", (ReelItem(1, "Erster", "", freeze=True), ReelItem(2, "Zweiter")), 1)
    told: list[tuple[float, float]] = []
    tags = [plain_tag(1.0, 1), plain_tag(1.4, 2)]
    made = reel_film(library, reel, tags, tmp_path / "o" / "r.mp4", settings, progress=lambda *t: told.append(t))
    # 0.6 s title; 0.4 s card + 1.0 s film + 0.4 s held; 0.4 s card + 1.0 s film, all whole frames at 25.
    assert [(c.start_s, c.film_s, c.end_s) for c in made.chapters] == [
        (pytest.approx(0.6), pytest.approx(1.0), pytest.approx(2.4)),
        (pytest.approx(2.4), pytest.approx(2.8), pytest.approx(3.8)),
    ]
    info = probe(made.path)
    assert (made.length_s, made.frames, info.frames) == (pytest.approx(3.8), 95, 95)
    np.testing.assert_allclose(np.diff(info.times_s), 0.04, atol=1e-4)
    assert told[-1] == (pytest.approx(3.8), pytest.approx(3.8))
    assert told == sorted(told)
    frames = [frame.image for frame in decode(made.path)]
    numbers = [read_number(frames[round(at * 25)]) for at in (1.0, 1.36, 1.44, 1.76, 1.84, 2.36, 2.8, 3.76)]
    # Film of tag 1 is 0.4 to 1.4 s (frames 10 to 34), frame 25 held; that of tag 2 is 0.8 to 1.8 s (20 to 44).
    assert numbers == [10, 19, 21, 25, 25, 34, 20, 44]
    assert [p.name for p in made.path.parent.iterdir()] == ["r.mp4"]
    # It sounds from 1.0 to 1.5 s of the film: in the reel from 2.0 s on (after the moment that was held) to 2.4 s,
    # and again in the second clip from 3.0 to 3.5 s.
    first, last = loud_stretch(made.path)
    assert (first, last) == (pytest.approx(2.0, abs=0.05), pytest.approx(3.5, abs=0.05))


def test_films_of_other_sizes_and_rates_become_one(library: Library, tmp_path: Path) -> None:
    add_game(library, "wide", numbered_film(tmp_path / "a.mp4", 75, width_px=320, height_px=180))
    slim = numbered_film(tmp_path / "b.mp4", 90, width_px=160, height_px=160, rate=Fraction(30000, 1001))
    add_game(library, "slim", slim)
    settings = settings_with(**QUICK)
    tags = [plain_tag(1.0, 1, "wide"), plain_tag(1.0, 2, "slim")]
    made = reel_film(library, reel_of_tags(tags, "Beide", settings), tags, tmp_path / "r.mp4", settings)
    info = probe(made.path)
    assert (info.width_px, info.height_px) == (320, 180)
    assert info.average_rate == pytest.approx(30000 / 1001, rel=1e-3)
    assert info.audio_codec is None
    image = list(decode(made.path))[-1].image
    assert image[:, :60].max() < 24, "black beside a square picture"
    assert image[:, 80:240].max() > 100


def test_a_slow_item_is_longer(library: Library, tmp_path: Path) -> None:
    add_game(library, "game", numbered_film(tmp_path / "a.mp4", 75))
    settings = settings_with(**QUICK, slow_before_s=0.2, slow_after_s=0.2)
    tags = [plain_tag(1.0, 1)]
    lengths = [
        plan_reel(library, Reel(1, "R", "", (ReelItem(1, slow=slow),), 1), tags, settings).length_s
        for slow in (1.0, 0.5, 0.1)
    ]
    assert lengths == pytest.approx([2.0, 2.4, 5.6])


def test_a_strip_in_place_of_a_card(library: Library, tmp_path: Path) -> None:
    add_game(library, "game", numbered_film(tmp_path / "a.mp4", 75, width_px=320, height_px=180))
    settings = settings_with(**{**QUICK, "title_card_s": 0}, item_titles="strip", strip_s=0.4)
    tags = [plain_tag(1.0, 1)]
    reel = Reel(1, "R", "", (ReelItem(1, "Titel", "Notiz"),), 1)
    made = reel_film(library, reel, tags, tmp_path / "r.mp4", settings)
    assert made.chapters[0].film_s == 0
    frames = [frame.image.astype(float) for frame in decode(made.path)]
    assert frames[2][-20:].mean() < 0.6 * frames[-1][-20:].mean(), "the strip is dark and then gone"


def test_what_cannot_be_a_reel(library: Library, tmp_path: Path) -> None:
    add_game(library, "game", numbered_film(tmp_path / "a.mp4", 75))
    with pytest.raises(LibraryError, match="no clips yet"):
        reel_film(library, Reel(1, "R", "", (), 1), [], tmp_path / "r.mp4", settings_with())
    with pytest.raises(LibraryError, match="tag 9"):
        plan_reel(library, Reel(1, "R", "", (ReelItem(9),), 1), [plain_tag(1.0, 1)], settings_with())
    with library.tag_store() as store, pytest.raises(LibraryError, match="not both"):
        chosen_reel(store, None, (), "T", settings_with())

    def stop(_done: float, _all: float) -> None:
        raise RuntimeError("enough")

    tags = [plain_tag(1.0, 1)]
    reel = reel_of_tags(tags, "R", settings_with())
    with pytest.raises(RuntimeError, match="enough"):
        reel_film(library, reel, tags, tmp_path / "r.mp4", settings_with(), progress=stop)
    assert not list(tmp_path.glob("*r*.mp4*"))


KILLED = """
import sys, time
from pathlib import Path
import numpy as np
from fractions import Fraction
from pipeline.clips.settings import ClipSettings
from pipeline.clips.writing import Part, Shape, write_film
def pictures():
    for k in range(10_000):
        yield k / 25, np.full((64, 64, 3), k % 255, np.uint8)
        if k == 200:
            print("going", flush=True)
        if k > 200:
            time.sleep(0.01)
write_film(Path(sys.argv[1]), [Part(400.0, pictures())], Shape(64, 64, Fraction(25), False), ClipSettings())
"""


def test_killed_in_the_middle_nothing_half_is_left(tmp_path: Path) -> None:
    out = tmp_path / "reel.mp4"
    work = subprocess.Popen([sys.executable, "-c", KILLED, str(out)], stdout=subprocess.PIPE, cwd=Path.cwd())
    assert work.stdout is not None
    assert work.stdout.readline() == b"going\n"
    os.kill(work.pid, signal.SIGKILL)
    work.wait(10)
    work.stdout.close()
    assert not out.exists()
    left = list(tmp_path.iterdir())
    assert all(path.name.startswith(".") for path in left)
    write_film(tmp_path / "small.mp4", [np.zeros((64, 64, 3), np.uint8)] * 5)
    film = tmp_path / "small.mp4"
    cut_clip(film, 0.0, 0.2, out)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["reel.mp4", "small.mp4"]


def test_pictures_at_even_distances() -> None:
    pictures = [(0.0, np.zeros(1)), (0.03, np.ones(1)), (0.31, np.full(1, 2.0))]
    part = at_rate(Part(0.5, pictures), Fraction(10))
    assert [(round(t, 3), float(p[0])) for t, p in part.pictures] == [(0, 0), (0.1, 1), (0.2, 1), (0.3, 1), (0.4, 2)]
    assert part.length_s == 0.5


def test_a_picture_in_another_shape() -> None:
    tall = fitted(np.full((100, 50, 3), 200, np.uint8), 160, 90)
    assert tall.shape == (90, 160, 3)
    assert (tall[:, :57] == 0).all()
    assert (tall[:, 60:100] == 200).all()
    same = np.zeros((90, 160, 3), np.uint8)
    assert fitted(same, 160, 90) is same
