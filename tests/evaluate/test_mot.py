"""The box tracking score on small folders in its form, and on one real sequence where the data is there."""

from pathlib import Path

import numpy as np
import pytest

from pipeline.errors import DataError
from pipeline.evaluate.mot import DisturbanceSettings, disturb, evaluate_mot, read_sequence, read_sequences

REAL = Path(__file__).parents[2].parent / "shared" / "data" / "mot_boxes"


def _write(folder, frames=60, bodies=6, seed=0):
    rng = np.random.default_rng(seed)
    place = np.column_stack([rng.uniform(100, 1100, bodies), rng.uniform(200, 450, bodies)])
    velocity = rng.normal(0, 2, (bodies, 2))
    text = ""
    for k in range(frames):
        place = place + velocity + [np.sin(k / 10), 0]
        for name, (x, y) in enumerate(place):
            text += f"{k + 1}, {name}, {x:.1f}, {y:.1f}, 50, 130, 1, 1, 1\n"
    (folder / "gt").mkdir(parents=True)
    (folder / "gt" / "gt.txt").write_text(text)
    (folder / "seqinfo.ini").write_text(
        f"[Sequence]\nname={folder.name}\nimDir=img1\nframeRate=25\nseqLength={frames}\nimWidth=1280\nimHeight=720\n"
    )
    return folder


def test_a_small_folder_is_scored(tmp_path):
    _write(tmp_path / "a")
    _write(tmp_path / "b", seed=1)
    steps = []
    scores = evaluate_mot(tmp_path, 3, on_step=lambda *s: steps.append(s))
    assert steps == [("a", 0, 2), ("b", 1, 2)]
    for name in ("ours", "bytetrack", "ocsort", "cbiou"):
        assert {"HOTA", "AssA", "DetA", "IDF1", "switches"} <= set(scores[name])
    assert scores["sequences"] == 2
    assert scores["frames"] == 120
    assert scores["boxes"] == 720
    assert scores["ours"]["HOTA"] > 0.8
    assert scores["gain_hota"] == pytest.approx(100 * (scores["ours"]["HOTA"] - scores[scores["best_public"]]["HOTA"]))
    assert scores == evaluate_mot(tmp_path, 3)
    part = evaluate_mot(tmp_path, 3, names=("b",))
    assert part["per_sequence"] == {"b": scores["per_sequence"]["b"]}


def test_the_disturbance_is_what_it_says(tmp_path):
    sequence = read_sequence(_write(tmp_path / "a", frames=400, bodies=8))
    settings = DisturbanceSettings()
    boxes = disturb(sequence, np.random.default_rng(0), settings)
    again = disturb(sequence, np.random.default_rng(0), settings)
    assert all(np.array_equal(a, b) for a, b in zip(boxes, again, strict=True))
    only_lost = disturb(sequence, np.random.default_rng(1), DisturbanceSettings(edge_jitter=0, false_boxes=0))
    lost = 1 - sum(len(b) for b in only_lost) / (400 * 8)
    # a body is seen for 1/0.02 = 50 frames and lost for 6 in the mean
    assert lost == pytest.approx(6 / 56, abs=0.04)
    only_false = disturb(sequence, np.random.default_rng(2), DisturbanceSettings(edge_jitter=0, loss_rate=0))
    assert (sum(len(b) for b in only_false) - 3200) / 400 == pytest.approx(0.3, abs=0.1)
    only_jitter = disturb(sequence, np.random.default_rng(3), DisturbanceSettings(loss_rate=0, false_boxes=0))
    widths = np.concatenate([b[:, 2] - b[:, 0] for b in only_jitter])
    assert np.std(widths) == pytest.approx(0.03 * np.sqrt(2) * 50, rel=0.1)


def test_wrong_folders_say_what_they_lack(tmp_path):
    with pytest.raises(DataError, match="no folder"):
        read_sequences(tmp_path / "none")
    with pytest.raises(DataError, match="no sequences"):
        read_sequences(tmp_path)
    folder = _write(tmp_path / "a")
    with pytest.raises(DataError, match="has no sequences"):
        evaluate_mot(tmp_path, names=("z",))
    (folder / "gt" / "gt.txt").write_text("1,2,3\n")
    with pytest.raises(DataError, match="3 columns"):
        read_sequence(folder)
    (folder / "gt" / "gt.txt").write_text("one,two\n")
    with pytest.raises(DataError, match="cannot be read"):
        read_sequence(folder)
    (folder / "gt" / "gt.txt").write_text("900,1,1,1,5,5,1,1,1\n")
    with pytest.raises(DataError, match=r"900\.\.900"):
        read_sequence(folder)
    (folder / "seqinfo.ini").write_text("[Sequence]\nframeRate=25\n")
    with pytest.raises(DataError, match="sequence description"):
        read_sequence(folder)


@pytest.mark.slow
@pytest.mark.skipif(not REAL.is_dir(), reason="the folder of real boxes is not there")
def test_real_boxes_are_kept_better_than_by_the_public_trackers():
    scores = evaluate_mot(REAL, 0, names=("train02",))
    assert scores["gain_hota"] > 10
