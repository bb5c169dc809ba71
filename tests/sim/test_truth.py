"""Truth tables and whole small films."""

from __future__ import annotations

import json
from pathlib import Path

import av
import numpy as np
import pytest

from pipeline.court.geometry import in_paint
from pipeline.errors import SettingsError
from pipeline.sim.make import FilmRequest, Plan, look_of, make_film, plan_film, request_from
from pipeline.sim.truth import TABLES, SeenFrame, film_time, truth_tables

UNSEEN = SeenFrame((), (float("nan"),) * 3)


def _tables(request: FilmRequest):
    plan = plan_film(request, look_of(request))
    return plan, truth_tables(plan, [UNSEEN] * plan.frames)


def _crowded(tables) -> list[dict]:
    return [r for r in tables["faults"].to_pylist() if r["kind"] == "crowded_paint"]


@pytest.fixture(scope="module")
def crowded():
    return _tables(request_from(plan="crowded_drive", seed=5, rule_book="nba", rate="10", size_px=(320, 180)))


def test_same_seed_same_truth(crowded) -> None:
    _, again = _tables(request_from(plan="crowded_drive", seed=5, rule_book="nba", rate="10", size_px=(320, 180)))
    for spec in TABLES:
        assert crowded[1][spec.name].equals(again[spec.name]), spec.name
    _, other = _tables(request_from(plan="crowded_drive", seed=6, rule_book="nba", rate="10", size_px=(320, 180)))
    assert not other["tracks"].equals(crowded[1]["tracks"])


def test_tables_fit_their_schemas(crowded) -> None:
    plan, tables = crowded
    for spec in TABLES:
        spec.check(tables[spec.name])
    assert tables["frames"].num_rows == plan.frames
    assert tables["cameras"].num_rows == plan.frames
    assert tables["tracks"].num_rows == plan.frames * 13
    times = tables["frames"]["t_s"].to_numpy()
    np.testing.assert_allclose(np.diff(times), 0.1, atol=1e-9)


def test_the_fault_is_in_the_tracks(crowded) -> None:
    """Count again from the written tracks, with the court room's paint."""
    plan, tables = crowded
    (fault,) = _crowded(tables)
    measures = dict(fault["measures"])
    assert measures["count"] == 5
    tracks = tables["tracks"].to_pylist()
    near = min({r["t_s"] for r in tracks}, key=lambda t: abs(t - fault["t_s"]))
    rows = [r for r in tracks if r["t_s"] == near and r["track"] < 10]
    handler = next(a["track"] for a in fault["actors"] if a["role"] == "handler")
    inside = {
        r["track"]
        for r in rows
        if in_paint(np.array([[r["x_ft"], r["y_ft"]]]), plan.game.book, fault["attacked_end"])[0]
        and r["track"] != handler
    }
    assert inside == {a["track"] for a in fault["actors"] if a["role"] != "handler"}
    holder = {r["t_s"]: r["holder"] for r in tables["ball"].to_pylist()}
    assert holder[near] == handler


@pytest.mark.parametrize(("bodies", "faults"), [(4, 0), (5, 1), (7, 1)])
def test_the_dial_decides_the_fault(bodies: int, faults: int) -> None:
    _, tables = _tables(
        request_from(plan="crowded_drive", seed=8, bodies=bodies, rule_book="fiba", rate="10", size_px=(320, 180))
    )
    assert len(_crowded(tables)) == faults


def test_a_clear_drive_has_no_fault_and_one_drive() -> None:
    _, tables = _tables(request_from(plan="clear_drive", seed=2, rule_book="fiba", rate="10", size_px=(320, 180)))
    assert not _crowded(tables)
    assert "drive" in tables["actions"]["kind"].to_pylist()
    assert "on_ball_screen" in tables["actions"]["kind"].to_pylist()


def test_excerpt_truth_keeps_replays_apart() -> None:
    plan, tables = _tables(request_from(plan="excerpt", seed=3, rule_book="fiba", rate="5", size_px=(320, 180)))
    assert 95 < plan.seconds < 150
    views = tables["shots"]["view"].to_pylist()
    assert {"main", "replay", "closeup"} <= set(views)
    live = [k for k, v in enumerate(tables["shots"]["live"].to_pylist()) if v]
    assert set(tables["cameras"]["shot"].to_pylist()) == set(live)
    assert len(_crowded(tables)) == 2
    assert all(s in live for s in tables["faults"]["shot"].to_pylist())
    holds = [r for r in tables["touches"].to_pylist() if r["kind"] == "pass"]
    assert len(holds) >= 8
    for row in tables["possessions"].to_pylist():
        assert row["end_s"] > row["start_s"]
    moment = plan.game.stretches[1].live_end_s + 6.0
    assert film_time(plan, moment) is None


def test_unknown_names_are_refused() -> None:
    with pytest.raises(SettingsError, match="plans are"):
        request_from(plan="nonsense", seed=1)
    with pytest.raises(SettingsError, match="rule book"):
        request_from(plan="game", seed=1, rule_book="moon")


@pytest.mark.slow
def test_a_small_film_end_to_end(tmp_path: Path) -> None:
    pytest.importorskip("moderngl", reason="drawing needs the sim extra")
    request = request_from(
        plan="crowded_drive", seed=5, rule_book="nba", rate="10", size_px=(320, 180), longest_s=3.0, bit_rate=2_000_000
    )
    assert request.plan is Plan.CROWDED_DRIVE
    made = make_film(request, tmp_path, name="small", workers=1)
    with av.open(str(made.film)) as film:
        frames = list(film.decode(video=0))
    assert len(frames) == made.frames == 30
    assert (frames[0].width, frames[0].height) == (320, 180)
    assert float(frames[-1].pts * frames[-1].time_base) == pytest.approx(2.9)
    about = json.loads((made.truth / "truth.json").read_text())
    assert about["rule_book"] == "nba"
    tables = {spec.name: spec.read(made.truth) for spec in TABLES}
    seen = [r for r in tables["tracks"].to_pylist() if r["observed"]]
    assert len(seen) > 30 * 5
    cameras = {r["frame"]: r for r in tables["cameras"].to_pylist()}
    assert len(cameras) == 30
    classes = set(tables["boxes"]["class"].to_pylist())
    assert "player" in classes
