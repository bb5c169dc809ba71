"""What another machine has seen lies here as if it had been seen here."""

from __future__ import annotations

import pickle
from functools import partial
from pathlib import Path

import pytest
from acted_film import KnowingAreas, KnowingDetector, Play, write_film

from pipeline.errors import FilmError
from pipeline.film.fetching import FilmPlace, film_digest
from pipeline.night.elsewhere import FarErrand, bring_home, see_elsewhere
from pipeline.night.pieces import Errand, Run, SeenParts, see_errand
from pipeline.night.settings import NightSettings
from pipeline.night.vision import Eyes
from pipeline.settings import Settings

CROWD = Play(inside=6)
SETTINGS = Settings(night=NightSettings(piece_s=0.9, stretch_s=0.4, network_threads=1))


def eyes() -> Eyes:
    return Eyes(KnowingAreas(), KnowingDetector(CROWD))


@pytest.fixture(scope="module")
def film(tmp_path_factory) -> Path:
    return write_film(tmp_path_factory.mktemp("films") / "crowd.mp4", CROWD, 60)


def errand_into(film: Path, folder: Path) -> Errand:
    return Errand(Run(film, SETTINGS, 0, 2, folder), pickle.dumps(partial(eyes)), None)


def test_pieces_are_carried_home_and_a_piece_that_is_there_stays(film, tmp_path):
    (tmp_path / "there").mkdir()
    see_errand(errand_into(film, tmp_path / "there" / "film"))
    here = SeenParts(tmp_path / "there" / "film")

    (tmp_path / "game").mkdir()
    far = FarErrand(errand_into(Path("/nowhere/crowd.mp4"), tmp_path / "never"), FilmPlace(film, film_digest(film)))
    carried = see_elsewhere(pickle.loads(pickle.dumps(far)))
    assert not (tmp_path / "never").exists(), "a worker elsewhere writes nothing where the run writes"
    home = tmp_path / "game" / "film"
    for _ in range(2):  # and again, as if a kill had come between a piece and the word that it is there
        assert bring_home(carried, home)["decoding"] > 0
        parts = SeenParts(home)
        assert parts.done() == here.done() == {0, 1}
        assert all(parts.read()[name].equals(table) for name, table in here.read().items())
        assert not list(home.rglob("*.tmp"))


def test_a_film_that_is_not_seen_there_may_be_seen_later(film, tmp_path):
    far = FarErrand(errand_into(film, tmp_path), FilmPlace(tmp_path / "share" / "crowd.mp4", film_digest(film)))
    with pytest.raises(FilmError, match="does not see the film") as away:
        see_elsewhere(far)
    assert isinstance(away.value.__cause__, FileNotFoundError)
