"""The main job with the shipped networks on the shipped clips: what the README's first command promises."""

from pathlib import Path

import pytest

from pipeline.actions.events import events_from_table
from pipeline.film.tables import SHOTS
from pipeline.library.games import Library
from pipeline.night.networks import film_networks
from pipeline.night.run import run_film
from pipeline.settings import load_settings
from pipeline.shipped import Shipped, shipped
from pipeline.spacing.tables import FAULTS

CLIPS = Path(__file__).resolve().parents[2] / "sample_clips"
SAME_S = 0.5


@pytest.mark.slow
@pytest.mark.parametrize("name", ["crowded_drive", "clear_drive"])
def test_the_shipped_networks_find_what_is_in_the_shipped_clips(name, tmp_path):
    settings = load_settings(shipped(Shipped.CONFIGS))
    film = CLIPS / f"{name}.mp4"
    result = run_film(
        film,
        Library(tmp_path / "library"),
        film_networks(settings),
        settings,
        book=None,
        progress=lambda _stage: lambda _done, _total: None,
    )
    true = events_from_table(FAULTS.read(CLIPS / f"{name}_truth"))
    assert bool(true) == (name == "crowded_drive")
    crowded = [tag for tag in result.tags if tag.candidate.kind == "crowded_paint"]
    assert {fault.kind for fault in true} <= {"crowded_paint"}
    assert len(crowded) == len(true)
    for tag, fault in zip(crowded, true, strict=True):
        assert tag.candidate.t_s == pytest.approx(fault.t_s, abs=SAME_S)
        assert tag.candidate.measures["count"] >= 5
    assert result.registered_frames >= 0.9 * result.live_frames
    true_live = SHOTS.read(CLIPS / f"{name}_truth")["live"].to_pylist()
    assert SHOTS.read(result.game.tables)["live"].to_pylist() == true_live
