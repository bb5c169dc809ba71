"""Games run again from a stage on, without their film."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from acted_film import Play, knowing_networks, quick, write_film

from pipeline.errors import LibraryError, SettingsError
from pipeline.library.games import Library
from pipeline.night.rerun import From, rerun_game
from pipeline.night.run import run_film
from pipeline.night.stages import read_state
from pipeline.settings import load_settings
from pipeline.shipped import Shipped, shipped
from pipeline.tags import State

SETTINGS = quick(workers=1)
NETWORKS = knowing_networks(Play(inside=6))


def silent(_name: str):
    return lambda _done, _total: None


@pytest.fixture(scope="module")
def ran(tmp_path_factory):
    """A library with a game whose film is gone, and its crowded paint confirmed."""
    place = tmp_path_factory.mktemp("rerun")
    film = write_film(place / "film.mp4", Play(inside=6))
    library = Library(place / "library")
    run = run_film(film, library, NETWORKS, SETTINGS, book=None, progress=silent)
    film.unlink()
    with library.tag_store() as store:
        for tag in run.tags:
            store.decide(tag.tag, State.CONFIRMED, who="A", when=datetime.now(UTC))
    return library, run


@pytest.mark.parametrize("since", [From.SPACING, From.ACTIONS, From.COURT])
def test_stages_from_one_on_run_again_and_decisions_stay(ran, since):
    library, run = ran
    before = {spec.name: spec.read_bytes() for spec in run.game.tables.glob("*.parquet")}
    done = rerun_game(run.game, library, NETWORKS, SETTINGS, since=since, progress=silent)
    again = [stage.stage for stage in done.stages if stage.ran]
    order = list(From)
    assert again == [stage.value for stage in order[order.index(since) :]]
    assert {spec.name: spec.read_bytes() for spec in run.game.tables.glob("*.parquet")} == before
    assert run.tags
    assert {tag.tag for tag in done.tags} == {tag.tag for tag in run.tags}
    assert all(tag.state is State.CONFIRMED for tag in done.tags)


def test_from_the_film_on_the_film_is_needed_and_nothing_is_lost_without_it(ran):
    library, run = ran
    state = read_state(run.game)
    with pytest.raises(LibraryError, match="no longer at"):
        rerun_game(run.game, library, NETWORKS, SETTINGS, since=From.FILM, progress=silent)
    assert read_state(run.game) == state


def test_profiles_change_what_they_say_and_a_wrong_name_lists_those_there():
    configs = shipped(Shipped.CONFIGS)
    assert load_settings(configs, "quick").night.analysed_frames_per_s == 6.25
    assert load_settings(configs, "thorough").night.analysed_frames_per_s == 25
    assert load_settings(configs, "quick").court == load_settings(configs).court
    with pytest.raises(SettingsError, match=r"no profile 'quik' in .*: quick, thorough"):
        load_settings(configs, "quik")


def test_a_profile_goes_before_the_settings_of_the_folder(tmp_path):
    (tmp_path / "settings.toml").write_text("[night]\nanalysed_frames_per_s = 10.0\nworkers = 2\n", encoding="utf-8")
    (tmp_path / "profiles").mkdir()
    (tmp_path / "profiles" / "ours.toml").write_text("[night]\nanalysed_frames_per_s = 8.0\n", encoding="utf-8")
    night = load_settings(tmp_path, "ours").night
    assert (night.analysed_frames_per_s, night.workers) == (8.0, 2)
    (tmp_path / "profiles" / "bad.toml").write_text("[night]\nworker = 2\n", encoding="utf-8")
    with pytest.raises(SettingsError, match=r"bad\.toml: there is no setting 'night\.worker'"):
        load_settings(tmp_path, "bad")
