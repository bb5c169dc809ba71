"""The rules against real play: how often things are found, and readers' labels."""

import json
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq
import pytest

from pipeline.actions.events import Event
from pipeline.errors import DataError, TrackingError
from pipeline.evaluate.play import evaluate_play, play_lines
from pipeline.evaluate.readers import READ_KINDS, agreement, read_labels
from tests.players.tracking_data import tracking_table

DATA = Path(__file__).resolve().parents[2] / ".." / "shared" / "data"
REASON = "no folder ../shared/data with real possessions beside the repository"

GLOSSARY_SHARES = {0: 0.003, 1: 0.10, 2: 0.27, 3: 0.32, 4: 0.21, 5: 0.07, 6: 0.02, 7: 0.004}
"""Others in the paint as the handler enters it, share of 1,042 drives: GLOSSARY, 'Base rates in real play'."""


@pytest.mark.slow
@pytest.mark.skipif(not (DATA / "possessions").is_dir(), reason=REASON)
def test_rates_of_real_play(tmp_path):
    """Of every third possession; ``elbowroom evaluate report`` counts all 2,964."""
    told = pq.read_table(DATA / "possessions" / "possessions.parquet")
    third = told.take(np.arange(0, told.num_rows, 3))
    tracks = pq.read_table(DATA / "possessions" / "tracks.parquet")
    pq.write_table(third, tmp_path / "possessions.parquet")
    pq.write_table(
        tracks.filter(pc.is_in(tracks["possession"], third["possession"].combine_chunks())), tmp_path / "tracks.parquet"
    )
    result = evaluate_play(tmp_path, workers=1)
    assert result["possessions"] == 988
    assert 300 <= result["drives_into_paint"] <= 483, "the glossary's rough rule: 1,042 in all"
    for count, share in GLOSSARY_SHARES.items():
        # the glossary counts at one moment by a rough rule, the fault over a fifth of a second
        assert result["others_in_paint_share"].get(str(count), 0.0) == pytest.approx(share, abs=0.08), count
    for kind, third in (("on_ball_screen", 1 / 3), ("handoff", 1 / 3)):
        one = result["actions"][kind]
        assert one["published"]["low"] * (1 - third) <= one["per_game"] <= one["published"]["high"] * (1 + third), kind
    assert result["actions"]["shot"]["found"] >= 0.94 * 988, "every possession there ends in a basket"


@pytest.mark.skipif(not (DATA / "possessions_read").is_dir(), reason=REASON)
def test_readers_agree_with_most_finds():
    result = evaluate_play(DATA / "possessions_read")
    kinds = result["kinds"]
    assert set(kinds) == set(READ_KINDS)
    assert kinds["passes"]["f1"] >= 0.95
    assert kinds["handoffs"]["f1"] >= 0.8
    assert kinds["shots"]["f1"] >= 0.95
    assert kinds["on_ball_screens"]["f1"] >= 0.8
    assert kinds["passes"]["labels"] == 41
    missed = sum(one["labels"] - one["matched"] for one in kinds.values())
    false = sum(one["found"] - one["matched"] for one in kinds.values())
    assert len(result["disputes"]) == missed + false
    lines = list(play_lines(result))
    assert sum(line.startswith("readers ") for line in lines) == len(READ_KINDS)


def test_a_folder_in_another_form_is_refused(tmp_path):
    with pytest.raises(TrackingError, match=r"tracks\.parquet"):
        evaluate_play(tmp_path)
    (tmp_path / "tracks.parquet").write_text("no")
    with pytest.raises(TrackingError, match="no Parquet file"):
        evaluate_play(tmp_path)


MIRRORED = {
    "across": ("y_ft", lambda y: 50.0 - y),
    "other end": ("x_ft", lambda x: 94.0 - x),
    "other order": ("agent", lambda a: np.where(a < 0, -1, np.array([3, 1, 4, 0, 2, 9, 7, 5, 6, 8])[np.maximum(a, 0)])),
}


@pytest.mark.skipif(not (DATA / "possessions_read").is_dir(), reason=REASON)
@pytest.mark.parametrize("turned", MIRRORED)
def test_neither_mirror_nor_order_of_players_matters_on_real_play(tmp_path, turned):
    table = pq.read_table(DATA / "possessions_read" / "tracks.parquet")
    some = pc.unique(table["possession"]).slice(0, 8)
    table = table.filter(pc.is_in(table["possession"], some))
    name, turn = MIRRORED[turned]
    at = table.schema.get_field_index(name)
    other = table.set_column(at, name, pa.array(turn(table[name].to_numpy())))
    results = []
    for number, one in enumerate((table, other)):
        folder = tmp_path / str(number)
        folder.mkdir()
        pq.write_table(one, folder / "tracks.parquet")
        results.append(evaluate_play(folder, workers=1))
    for family in ("actions", "sets", "faults"):
        assert results[0][family] == results[1][family]


def event(kind: str, t_s: float, *actors: tuple[str, int], lasts_s: float = 0.0) -> Event:
    return Event(kind, 0, 0, t_s, t_s + lasts_s, t_s, actors, (0.0, 0.0), "left", {}, 1.0)


def passed(t_s: float, giver: int = 1, taker: int = 2) -> Event:
    return event("pass", t_s, ("passer", giver), ("receiver", taker))


def label(t: float, readers: int, giver: int = 1, taker: int = 2) -> dict:
    return {"from": giver, "to": taker, "t": t, "readers": readers}


def test_two_readers_count_and_one_counts_neither_way():
    labels = [label(3.0, 2), label(6.0, 2), label(9.0, 1)]
    got = agreement("passes", [passed(3.5), passed(9.2), passed(12.0)], labels, "p").as_json()
    assert (got["labels"], got["found"], got["matched"], got["seen_by_one"]) == (2, 2, 1, 1)
    assert (got["recall"], got["precision"], got["f1"]) == (0.5, 0.5, 0.5)


def test_matches_are_one_to_one_and_by_actors_and_time():
    labels = [label(3.0, 2), label(4.0, 2)]
    assert agreement("passes", [passed(3.6), passed(4.4)], labels, "p").matched == 2, "the nearer would take both"
    assert agreement("passes", [passed(3.5)], labels, "p").matched == 1
    assert agreement("passes", [passed(3.0, giver=3)], labels, "p").matched == 0
    assert agreement("passes", [passed(3.81)], labels[:1], "p").matched == 0
    assert agreement("passes", [], [], "p").as_json()["f1"] is None


def test_a_drive_is_matched_anywhere_in_it_and_a_post_up_at_its_moment():
    drive = event("drive", 3.0, ("handler", 1), lasts_s=3.0)
    told = [{"player": 1, "t": 5.5, "readers": 2}]
    assert agreement("drives", [drive], told, "p").matched == 1
    post = event("post_up", 3.0, ("poster", 1), lasts_s=3.0)
    assert agreement("post_ups", [post], told, "p").matched == 0


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("{", "not valid JSON"),
        ("[]", "by possession and kind"),
        ('{"a": 3}', "by possession and kind"),
        ('{"a": {"passes": [{"from": 1}]}}', "in 'a' the passes"),
        ('{"a": {"drives": 4}}', "in 'a' the drives"),
    ],
)
def test_labels_in_another_form_are_refused(tmp_path, text, said):
    path = tmp_path / "labels.json"
    path.write_text(text)
    with pytest.raises(DataError, match=said):
        read_labels(path)


@pytest.mark.skipif(not (DATA / "possessions_read").is_dir(), reason=REASON)
def test_labels_of_other_possessions_are_refused(tmp_path):
    path = tmp_path / "other.json"
    path.write_text(json.dumps({"elsewhere": {"passes": []}}))
    with pytest.raises(DataError, match="'elsewhere'"):
        evaluate_play(DATA / "possessions_read", labels=path)


def made_up_folder(folder: Path) -> Path:
    """Two possessions, the second with two and a half seconds left out; labels of one pass in each."""
    whole, parted = tracking_table(possession="a"), tracking_table(possession="b", start_s=3.0)
    times = parted["t_s"].to_numpy()
    parted = parted.filter(pa.array((times < 6.2) | (times > 8.7)))
    pq.write_table(pa.concat_tables([whole, parted]), folder / "tracks.parquet")
    told = {"a": {"passes": [label(2.8, 2, 0, 1), label(5.0, 2, 1, 3)]}, "b": {"passes": [label(5.8, 2, 0, 1)]}}
    (folder / "labels.json").write_text(json.dumps(told))
    return folder


def test_a_parted_possession_is_read_once_and_on_its_own_clock(tmp_path):
    result = evaluate_play(made_up_folder(tmp_path), workers=1)
    assert result["possessions"] == 2
    passes = result["kinds"]["passes"]
    assert (passes["labels"], passes["found"], passes["matched"]) == (3, 3, 3)
    assert result["actions"]["pass"]["per_possession"] == pytest.approx(1.5)
    assert result["actions"]["pass"]["published"]["source"]


def test_workers_count_the_same(tmp_path, monkeypatch):
    monkeypatch.setattr("pipeline.evaluate.play.ALONE", 0)
    monkeypatch.setattr("pipeline.evaluate.play.CHUNK", 1)
    folder = made_up_folder(tmp_path)
    assert evaluate_play(folder, workers=2) == evaluate_play(folder, workers=1)
