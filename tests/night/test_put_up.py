"""What a run puts up for tagging: faults and whole sets; sets in part and actions where they are asked for."""

import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest
from pydantic import ValidationError

from pipeline.court.rule_books import RULE_BOOKS
from pipeline.court.tables import CAMERAS
from pipeline.film.fetching import film_digest
from pipeline.library.explaining import explain_tag
from pipeline.library.games import Game, Library, write_game_file
from pipeline.night.play_stages import bring_tags, play_stages
from pipeline.night.stages import run_stage
from pipeline.sets.tables import SET_CANDIDATES
from pipeline.settings import Settings
from pipeline.tags import Family, State
from pipeline.tags.settings import TagSettings

SAMPLES = Path(__file__).resolve().parents[2] / "sample_clips"
NOW = datetime(2026, 1, 2, tzinfo=UTC)


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A library with one game, made from the truth of a sample film, and no tags yet."""
    root = tmp_path_factory.mktemp("filled") / "library"
    library, film = Library(root), SAMPLES / "crowded_drive.mp4"
    game = library.begin(film, film_digest(film))
    shutil.copytree(SAMPLES / "crowded_drive_truth", game.tables, dirs_exist_ok=True)
    write_game_file(game, film, film_digest(film), None)
    game = library.keep(game)
    (book,) = set(CAMERAS.read(game.tables)["rule_book"].to_pylist()) - {"", None}
    for stage in play_stages(Settings(), RULE_BOOKS[book]):
        run_stage(stage, game, lambda _done, _total: None)
    return root


@pytest.fixture
def library(filled: Path, tmp_path: Path) -> Library:
    shutil.copytree(filled, tmp_path / "library")
    return Library(tmp_path / "library")


@pytest.fixture
def game(library: Library) -> Game:
    (one,) = library.games()
    return one


def settings(**told: object) -> Settings:
    return Settings().model_copy(update={"tags": TagSettings(**told)})


def test_faults_and_whole_sets_are_put_up_with_their_attackers(library, game):
    merge, tags = bring_tags(game, library, Settings())
    assert merge.new == tuple(tag.tag for tag in sorted(tags, key=lambda t: t.tag))
    rows = SET_CANDIDATES.read(game.tables).to_pylist()
    sets = [tag for tag in tags if tag.candidate.family is Family.SET]
    assert len(sets) == sum(row["complete"] for row in rows)
    assert sets
    assert {tag.candidate.family for tag in tags} <= {Family.SET, Family.FAULT}
    for tag in tags:
        assert tag.candidate.team in (0, 1)
        assert tag.candidate.possession is not None
        assert tag.candidate.missing == ()
    again, _ = bring_tags(game, library, Settings())
    assert (again.new, again.missing, again.changed) == ((), (), {})


def test_sets_in_part_and_actions_are_put_up_when_asked_for(library, game):
    before, _ = bring_tags(game, library, Settings())
    more = settings(phases_missing=10, actions=("pass", "on_ball_screen"))
    merge, tags = bring_tags(game, library, more)
    assert set(merge.kept) == set(before.new)
    actions = [tag for tag in tags if tag.candidate.family is Family.ACTION]
    assert {tag.candidate.kind for tag in actions} == {"pass", "on_ball_screen"}
    parts = [tag for tag in tags if tag.candidate.missing]
    rows = SET_CANDIDATES.read(game.tables).to_pylist()
    assert len(parts) == sum(not row["complete"] for row in rows)
    for tag in [*actions[:3], *parts[:3]]:
        lines = explain_tag(library, tag, more)
        assert tag.candidate.sentence in lines[1], "the sentence of the tag is what it is explained by"
    with library.tag_store() as store:
        store.decide(actions[0].tag, State.CONFIRMED, who="Kim", when=NOW)
    back, left = bring_tags(game, library, Settings())
    assert back.changed == {actions[0].tag: "not found any more; kept, confirmed by Kim"}
    assert set(back.missing) == {tag.tag for tag in [*actions[1:], *parts]}
    assert {tag.tag for tag in left} == {*before.new, actions[0].tag}


def test_an_action_that_does_not_exist_is_refused():
    with pytest.raises(ValidationError, match="there is no action 'post_ups'; did you mean 'post_up'"):
        TagSettings(actions=("post_ups",))
