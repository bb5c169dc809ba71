"""Kept rows of tags say what the store says, whatever happened in between."""

from dataclasses import replace

import pytest
from made_up_library import FAULT_ROWS, GAMES, NOW, SET_ROWS, candidate, make_library

from pipeline.find import Filters, find
from pipeline.find.index import FOLDER
from pipeline.find.kept_tags import MODELS_FILE, TAGS_FILE, kept_tag_rows
from pipeline.find.tag_rows import rows_of
from pipeline.settings import Settings
from pipeline.tags import Family, State
from pipeline.tags.ranking import rank

FIRST, SECOND = GAMES


@pytest.fixture
def library(tmp_path, tag_place):
    return make_library(tmp_path / "library", tag_place if isinstance(tag_place, str) else "")


def same(library):
    """Whether the kept rows are those of the store read anew; gives them."""
    with library.tag_store() as store:
        kept = kept_tag_rows(library, store)
        tags = [*store.tags(), *store.tags(state=State.WITHDRAWN)]
        told = {tag: one.probability for tag, one in rank(store.decisions(), tags).items()}
    anew = rows_of(tags, told).sort_by("tag")
    assert kept.sort_by("tag").to_pylist() == anew.to_pylist()
    return kept


def test_rows_follow_every_change(library):
    first = same(library)
    assert first.num_rows == 12
    kept = library.root / FOLDER / TAGS_FILE
    written = kept.stat().st_mtime_ns
    assert same(library).equals(first)
    assert kept.stat().st_mtime_ns == written, "nothing changed, so nothing is written"
    changes = (
        lambda store: store.decide(1, State.CONFIRMED, who="ana", when=NOW),
        lambda store: store.undo(1, who="ana", when=NOW),
        lambda store: store.label(2, add=("monday",), who="ana", when=NOW),
        lambda store: store.label(2, remove=("monday",), who="ana", when=NOW),
        lambda store: store.note(3, "Look at the feet.", who="ana", when=NOW),
        lambda store: store.edit(4, who="ana", when=NOW, start_s=0.5),
    )
    for change in changes:
        with library.tag_store() as store:
            change(store)
        same(library)


def test_rows_follow_runs(library):
    same(library)
    moved = [
        candidate(Family.FAULT, {**FAULT_ROWS[0], "score": 0.91}, "Moved."),
        candidate(Family.FAULT, FAULT_ROWS[1], "x"),
    ]
    with library.tag_store() as store:
        store.merge(FIRST, moved, who="run", when=NOW)
    rows = same(library)
    assert rows["state"].to_pylist().count("withdrawn") == 4
    withdrawn = find(library, Filters(states=("withdrawn",)), Settings())
    assert withdrawn["state"].to_pylist() == ["withdrawn"] * 4
    assert "withdrawn" not in find(library, Filters(), Settings())["state"].to_pylist()
    assert 0.91 in rows["score"].to_pylist()
    with library.tag_store() as store:
        store.merge("a third", [candidate(Family.SET, SET_ROWS[0], "New.")], who="run", when=NOW)
    assert same(library).num_rows == 13


def test_probabilities_follow_decisions(library):
    many = [
        replace(
            candidate(
                Family.FAULT, {**FAULT_ROWS[0], "t_s": 10.0 * n, "start_s": 10.0 * n, "end_s": 10.0 * n + 1}, "x"
            ),
            measures={"catch_ring_ft": 28.0 + n % 7, "catch_above_line_ft": 3.0},
        )
        for n in range(80)
    ]
    with library.tag_store() as store:
        store.merge("a third", many, who="run", when=NOW)
        tags = store.tags(game="a third")
        for tag in tags[:60]:
            far = tag.candidate.measures["catch_ring_ft"] > 31
            store.decide(tag.tag, State.CONFIRMED if far else State.REJECTED, who="ana", when=NOW)
    rows = {row["tag"]: row["probability"] for row in same(library).to_pylist()}
    far, near = (
        [rows[tag.tag] for tag in tags[60:] if (tag.candidate.measures["catch_ring_ft"] > 31) is yes]
        for yes in (True, False)
    )
    assert min(far) > 0.5 > max(near)
    models = library.root / FOLDER / MODELS_FILE
    learnt = models.read_bytes()
    with library.tag_store() as store:
        store.label(tags[0].tag, add=("x",), who="ana", when=NOW)
    same(library)
    assert models.read_bytes() == learnt, "the same decisions teach the same"


def test_damaged_and_missing_files_are_made_anew(library):
    same(library)
    for name in (TAGS_FILE, MODELS_FILE):
        (library.root / FOLDER / name).write_bytes(b"broken")
    same(library)
    (library.root / FOLDER / TAGS_FILE).unlink()
    same(library)
