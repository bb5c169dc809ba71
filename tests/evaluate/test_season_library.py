"""A season rehearsed, as small as it can be: two games of eight possessions and a copy."""

import pytest

from pipeline.errors import SettingsError
from pipeline.evaluate.season import READS, make_season, read_part
from pipeline.evaluate.season_times import of_backup, of_pages, of_search, of_store, sizes
from pipeline.night.stages import read_state
from pipeline.players.tables import TRACKS
from pipeline.settings import Settings
from pipeline.spacing.tables import FAULTS, POSSESSION_MEASURES, SPACING
from pipeline.tags import State


@pytest.mark.slow
def test_a_small_season_is_a_library(tmp_path):
    library = make_season(tmp_path, 3, 7, Settings(), base=1, distinct=2, possessions=8)
    assert len(library.games()) == 3
    for game in library.games():
        for spec in (*READS, SPACING, POSSESSION_MEASURES, FAULTS):
            assert spec.read(game.tables).num_rows or spec is FAULTS  # read() checks name, version and columns
        assert game.file().opponent
    with library.tag_store() as store:
        tags = store.tags()
        assert {tag.game for tag in tags} == {game.name for game in library.games()}
        assert any(tag.state is not State.CANDIDATE for tag in tags)
        before, first_state = store.last_line(), store.tag(1).state
    first, _, copy = library.games()
    assert TRACKS.read(copy.tables).equals(TRACKS.read(first.tables))
    assert copy.file().opponent != first.file().opponent
    assert read_state(copy) == read_state(first)  # nothing had to run again
    log = (library.games()[0].folder / "logs" / "runs.jsonl").read_text(encoding="utf-8")
    make_season(tmp_path, 3, 7, Settings(), base=1, distinct=2, possessions=8)
    assert (library.games()[0].folder / "logs" / "runs.jsonl").read_text(encoding="utf-8") == log
    with library.tag_store() as store:
        assert store.last_line() == before
    assert {name: files for name, _, files in sizes(library)}["table tracks"] == 3
    told = [*of_store(library, 1), *of_search(library, Settings(), 0), *of_backup(library, Settings(), 0)]
    told += of_pages(library, Settings(), 0)  # raises where a page is not answered with 200
    assert all(one.cold_s > 0 for one in told)
    assert {one.part for one in told} == {"store", "search", "backup", "pages"}
    with library.tag_store() as store:
        assert store.tag(1).state is first_state, "a decision is taken back again"


def test_a_part_is_a_part():
    assert read_part("2/3") == (2, 3)
    for wrong in ("0/2", "3/2", "half", "1"):
        with pytest.raises(SettingsError, match="no part of the games"):
            read_part(wrong)
