"""Bad and odd films: each gives a right result or one clear sentence, and none stops what comes after it."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
import supervision as sv
from acted_film import quick

from pipeline.court.area_network import AREA_CLASSES
from pipeline.errors import FilmError
from pipeline.film.decode import decode
from pipeline.film.probe import probe
from pipeline.library.games import Library
from pipeline.night.film_process import told_of
from pipeline.night.films import films_in
from pipeline.night.night_screen import minutes
from pipeline.night.run import Networks, run_film
from pipeline.night.vision import Eyes
from pipeline.sim.odd_films import ODD_FILMS, OddFilm, PassedOver, Refused, Right, make_odd_films, pattern
from pipeline.user_files import sayable

SETTINGS = quick(workers=1, piece_s=60.0)
TAKEN = [film for film in ODD_FILMS if not isinstance(film.ends, PassedOver)]


class BlindAreas:
    """Sees no floor."""

    def areas(self, frames_bgr: list[np.ndarray]) -> list[np.ndarray]:
        seen = np.zeros((len(AREA_CLASSES), 90, 160), np.float32)
        seen[0] = 1.0
        return [seen for _ in frames_bgr]


class BlindDetector:
    """Sees nobody."""

    def detect(self, frames_bgr: list[np.ndarray]) -> list[sv.Detections]:
        return [sv.Detections.empty() for _ in frames_bgr]


BLIND = Networks(open=lambda: Eyes(BlindAreas(), BlindDetector()), digests=dict)


def silent(_name: str):
    return lambda _done, _total: None


@pytest.fixture(scope="module")
def corpus(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("odd")
    make_odd_films(folder, pattern())
    return folder


@pytest.fixture(scope="module")
def library(tmp_path_factory) -> Library:
    return Library(tmp_path_factory.mktemp("library"))


def in_numbers(text: str) -> str:
    """A sentence with every number as ``#``: how much of a cut film is there depends on the encoder's version."""
    return re.sub(r"\d+(?:\.\d+)?", "#", text)


def check_refusal(text: str, film: OddFilm, path: Path) -> None:
    """The very sentence that is expected of the film."""
    assert isinstance(film.ends, Refused)
    known = sayable(path)
    assert known in text
    assert in_numbers(text.replace(known, "{film}")) == in_numbers(film.ends.sentence)


def test_there_are_sixty_and_a_night_takes_those_that_are_films(corpus):
    assert len(ODD_FILMS) >= 60
    assert len({film.name for film in ODD_FILMS}) == len(ODD_FILMS)
    found = films_in(corpus, SETTINGS.night.film_endings, outside=corpus / "library")
    assert {film.path.name for film in found} == {film.name for film in TAKEN}


@pytest.mark.slow
@pytest.mark.parametrize(
    "film", TAKEN, ids=lambda film: film.what + ": " + film.name.encode("ascii", "replace").decode()
)
def test_a_right_result_or_one_sentence(corpus, library, film):
    path = corpus / film.name
    games = len(library.games())
    if isinstance(film.ends, Refused):
        with pytest.raises(FilmError) as caught:
            run_film(path, library, BLIND, SETTINGS, book=None, progress=silent)
        check_refusal(str(caught.value), film, path)
        assert len(library.games()) == games, "a refused film leaves nothing"
        assert not list(library.root.glob("games/.unfinished*"))
        return
    assert isinstance(film.ends, Right)
    run = run_film(path, library, BLIND, SETTINGS, book=None, progress=silent)
    assert run.live_frames == 0, "there is no floor to be seen"
    assert run.tags == ()
    told = (
        f"No live play in {minutes(run.length_s)} of film; if it is a game all the same, pin the floor ('elbowroom "
        "court pin')."
    )
    assert in_numbers(told_of(run)) == in_numbers(f"{told} {film.ends.damage}".rstrip())
    info = probe(path, SETTINGS.film.decode)
    if film.ends.size_px is not None:
        assert (info.width_px, info.height_px) == film.ends.size_px
    if film.ends.length_s is not None:
        assert run.length_s == pytest.approx(film.ends.length_s, abs=film.ends.within_s)
    times = [frame.t_s for frame in decode(path, settings=SETTINGS.film.decode)]
    assert times[0] == pytest.approx(0.0, abs=1e-6)
    assert np.all(np.diff(times) > 0)
    assert times[-1] <= run.length_s
