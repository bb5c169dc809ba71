"""The rules against real play: base rates as published in the project's glossary, and readers' labels."""

from pathlib import Path

import pytest

from pipeline.errors import DataError
from pipeline.evaluate.play import evaluate_play

DATA = Path(__file__).resolve().parents[2] / ".." / "shared" / "data"
REASON = "no folder ../shared/data with real possessions beside the repository"

GLOSSARY_SHARES = {0: 0.003, 1: 0.10, 2: 0.27, 3: 0.32, 4: 0.21, 5: 0.07, 6: 0.02, 7: 0.004}
"""Others in the paint as the handler enters it, share of 1,042 drives: GLOSSARY, 'Base rates in real play'."""


@pytest.mark.slow
@pytest.mark.skipif(not (DATA / "possessions").is_dir(), reason=REASON)
def test_base_rates_of_real_play_are_the_glossarys():
    result = evaluate_play(DATA / "possessions")
    assert result["possessions"] == 2964
    assert 900 <= result["drives_into_paint"] <= 1150
    for count, share in GLOSSARY_SHARES.items():
        assert result["others_in_paint_share"][str(count)] == pytest.approx(share, abs=0.015), count
    assert result["crowded_share"] == pytest.approx(0.09, abs=0.01)
    per_190 = 190 / result["possessions"]
    assert result["on_ball_screens_contact"] * per_190 == pytest.approx(100, abs=8)
    assert result["on_ball_screens"] * per_190 == pytest.approx(127, abs=8)


@pytest.mark.skipif(not (DATA / "possessions_read").is_dir(), reason=REASON)
def test_readers_agree_with_most_finds():
    readers = evaluate_play(DATA / "possessions_read")["readers"]
    assert readers["drives"]["precision"] >= 0.8
    assert readers["on_ball_screens"]["recall"] >= 0.6
    assert readers["on_ball_screens"]["precision"] >= 0.5


def test_a_folder_in_another_form_is_refused(tmp_path):
    with pytest.raises(DataError, match=r"tracks\.parquet"):
        evaluate_play(tmp_path)
    (tmp_path / "tracks.parquet").write_text("no")
    with pytest.raises(DataError, match="no Parquet file"):
        evaluate_play(tmp_path)
