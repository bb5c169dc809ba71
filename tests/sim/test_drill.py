"""Drills: what scripts mean happens, dials are met, near misses are none, and the truth speaks the vocabulary."""

from __future__ import annotations

import ast
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from pipeline.actions.vocabulary import KIND, KINDS, UNKNOWN, measure_names, trait_names
from pipeline.court.rule_books import RULE_BOOKS
from pipeline.errors import SettingsError
from pipeline.sim.drill import DrillRequest, drill_tables, plan_drill, write_drill
from pipeline.sim.plays import Execution, Quality, simulate
from pipeline.sim.plays.deeds.observe import matches
from pipeline.sim.plays.game import Call, play_game
from pipeline.sim.plays.possession import Possession
from pipeline.sim.plays.script import Choice, Script
from pipeline.sim.plays.scripts import FAULT_SCRIPTS, SCRIPTS, script_named
from pipeline.sim.truth import TABLES

NBA = RULE_BOOKS["nba"]


def _run(name: str, way: str | None = None, quality: Quality = Quality.GOOD, *, seed: int = 1, side: int = 1):
    """One possession; another seed where the first draws cannot be run."""
    script = SCRIPTS[name]
    choice = next((d for d in script.dials if isinstance(d, Choice)), None)
    dials = {} if way is None or choice is None else {choice.name: way}
    for attempt in range(4):
        try:
            return simulate(script, seed + 50 * attempt, NBA, dials=dials, quality=quality, side=side)
        except SettingsError:
            continue
    raise AssertionError(f"{name} {way} {quality} cannot be run")


def _certain(p: Possession, kind: str) -> list:
    return [s for s in p.seen if s.kind == kind and s.certain]


SHOWN = [
    ("passing", "post_entry"), ("dead_dribble", None), ("handoff", "stands"), ("lost_ball", "turnover"),
    ("lost_ball", "own_rebound"), ("post_up", "block"), ("isolation", None), ("denied", "back_cut"),
    ("ball_screen", "side_over"), ("off_ball_screen", "cross"), ("cut", "zipper_curl"), ("cut", "loop"),
    ("cut", "deep"), ("cut", "flash"), ("cut", "basket"), ("cut", "ucla"), ("cut", "iverson"), ("cut", "shallow"),
    ("fault_screen_into_traffic", "bodies"),
]  # fmt: skip


@pytest.fixture(scope="module")
def shown() -> list[Possession]:
    return [
        _run(name, way, Quality.BAD if name.startswith("fault") else Quality.GOOD) for name, way in SHOWN
    ]  # fmt: skip


def test_every_kind_of_the_vocabulary_happens(shown) -> None:
    kinds = {s.kind for p in shown for s in p.seen if s.certain}
    assert kinds == {k.name for k in KINDS}


def test_the_truth_speaks_the_vocabulary(shown) -> None:
    for p in shown:
        for seen in p.seen:
            kind = KIND[seen.kind]
            assert set(seen.measures) <= set(measure_names(seen.kind)), seen.kind
            assert set(seen.traits) <= set(trait_names(seen.kind)), seen.kind
            values = {t.name: (*t.values, UNKNOWN) for t in kind.traits}
            assert all(v in values[n] for n, v in seen.traits.items()), (seen.kind, seen.traits)
            assert [r for r, _ in seen.roles] == [r for r in kind.roles if seen.body(r) is not None]
            assert seen.start_s <= seen.t_s + 1e-9 <= seen.end_s + 2e-9


def test_a_mirrored_possession_has_the_mirrored_truth() -> None:
    one, other = (_run("weak_side_motion", "zipper_straight", seed=3, side=side) for side in (1, -1))
    assert len(one.seen) == len(other.seen)
    for a, b in zip(one.seen, other.seen, strict=True):
        assert (a.kind, a.roles, a.traits, a.certain, a.t_s) == (b.kind, b.roles, b.traits, b.certain, b.t_s)
        for name, value in a.measures.items():
            sign = -1 if name.endswith("v_ft") else 1
            assert b.measures[name] == pytest.approx(sign * value, abs=1e-9, nan_ok=True)
    assert [(f.kind, f.t_s) for f in one.faults] == [(f.kind, f.t_s) for f in other.faults]


@pytest.mark.parametrize("script", FAULT_SCRIPTS, ids=lambda s: s.name)
def test_faults_come_where_meant_and_near_misses_are_none(script: Script) -> None:
    fault = script.name.removeprefix("fault_")
    bad = _run(script.name, quality=Quality.BAD)
    assert fault in {f.kind for f in bad.faults if f.certain}
    near = _run(script.name, quality=Quality.NEAR_MISS)
    assert fault not in {f.kind for f in near.faults}


@pytest.mark.parametrize(
    ("script", "kind"),
    [("ball_screen", "on_ball_screen"), ("off_ball_screen", "off_ball_screen"), ("handoff", "handoff"),
     ("post_up", "post_up"), ("isolation", "isolation"), ("straight_drive", "drive"), ("denied", "back_cut"),
     ("cut", "zipper_cut"), ("dead_dribble", "dead_dribble")],
)  # fmt: skip
def test_near_misses_are_not_in_the_truth(script: str, kind: str) -> None:
    assert not _certain(_run(script, quality=Quality.NEAR_MISS), kind)


@pytest.mark.parametrize("missing", ["no_cross", "no_return", "no_loop"])
def test_a_set_that_lacks_a_part_is_not_whole(missing: str) -> None:
    p = _run("weak_side_motion", missing, Quality.NEAR_MISS)
    assert all(run.missing for run in p.sets if run.name == "weak_side_motion")


@pytest.mark.parametrize("ending", ["post_entry", "zipper_fade", "side_ball_screen", "back_cut", "handoff_other_way"])
def test_the_set_is_whole_with_its_ending(ending: str) -> None:
    p = _run("weak_side_motion", ending)
    (run,) = [r for r in p.sets if r.name == "weak_side_motion"]
    assert not run.missing
    assert run.ending == ("" if ending in ("back_cut", "handoff_other_way") else ending)
    assert {r for r, _ in run.roles} == {"guard", "wing", "weak", "top", "post"}


@pytest.mark.parametrize("seed", [1, 2])
def test_dials_are_met(seed: int) -> None:
    """Within half a foot and 0.15 s."""
    p = _run("fault_pushed_out_catch", quality=Quality.BAD, seed=seed)
    (fault,) = [f for f in p.faults if f.kind == "pushed_out_catch" and f.certain]
    assert fault.measures["catch_ring_ft"] == pytest.approx(p.dials["catch_ft"], abs=0.5)
    p = _run("fault_stalled_ball", quality=Quality.BAD, seed=seed)
    (fault,) = [f for f in p.faults if f.kind == "stalled_ball" and f.certain]
    assert fault.measures["held_s"] == pytest.approx(p.dials["held_s"], abs=0.15)
    p = _run("fault_twins", quality=Quality.BAD, seed=seed)
    fault = next(f for f in p.faults if f.kind == "twins" and f.certain)
    assert fault.measures["distance_ft"] == pytest.approx(p.dials["apart_ft"], abs=0.5)
    p = _run("dead_dribble", seed=seed)
    (dead,) = _certain(p, "dead_dribble")
    assert dead.measures["held_s"] == pytest.approx(p.dials["held_s"], abs=0.15)
    p = _run("fault_crowded_paint", quality=Quality.BAD, seed=seed)
    fault = next(f for f in p.faults if f.kind == "crowded_paint")
    assert fault.measures["count"] == round(p.dials["bodies"])


def test_every_deed_of_a_checked_script_is_in_the_truth(shown) -> None:
    assert all(p.kept for p in shown)


def test_a_deed_is_found_by_kind_bodies_and_time(shown) -> None:
    from pipeline.sim.plays.script import Deed

    screen = _certain(shown[8], "on_ball_screen")[0]
    deed = Deed(screen.kind, screen.t_s, screen.start_s, screen.end_s, screen.roles[:2], (("coverage", "over"),))
    assert matches(deed, screen)
    late = Deed(screen.kind, screen.t_s + 2, screen.start_s, screen.end_s, screen.roles[:2])
    other = Deed(screen.kind, screen.t_s, screen.start_s, screen.end_s, (("handler", 4),))
    assert not matches(late, screen)
    assert not matches(other, screen)


def test_bodies_keep_their_limits_in_every_new_script(shown) -> None:
    for p in shown:
        assert np.linalg.norm(p.velocity_ft_s, axis=-1).max() <= 22.0
        gaps = np.linalg.norm(p.xy_ft[:, :10, None] - p.xy_ft[:, None, :10], axis=-1) + 9 * np.eye(10)
        assert gaps.min() > 1.4
        step = np.linalg.norm(np.diff(p.ball_ft, axis=0), axis=-1)
        assert step.max() < 60 * p.dt_s + 0.45


REQUEST = DrillRequest(5, possessions=3, scripts=("passing", "ball_screen"), book="fiba", rate=Fraction(12))


def test_same_seed_same_drill(tmp_path: Path) -> None:
    one, other = drill_tables(plan_drill(REQUEST)), drill_tables(plan_drill(REQUEST))
    assert all(one[name].equals(other[name]) for name in one)
    folder = write_drill(REQUEST, tmp_path)
    for spec in TABLES:
        if spec.path(folder).is_file():
            spec.check(spec.read(folder))
    assert (folder / "truth.json").is_file()


def test_a_drill_s_rows_lie_in_their_possessions() -> None:
    tables = drill_tables(plan_drill(REQUEST))
    spans = {r["possession"]: (r["start_s"], r["end_s"]) for r in tables["possessions"].to_pylist()}
    assert len(spans) == 3
    for row in tables["actions"].to_pylist():
        start, end = spans[row["possession"]]
        assert start - 1e-6 <= row["t_s"] <= end + 3.0
        assert row["end_s"] >= row["t_s"] - 1e-6
    held = [r for r in tables["actions"].to_pylist() if r["kind"] == "touch"]
    assert all(r["end_s"] - r["start_s"] == pytest.approx(dict(r["measures"])["held_s"], abs=0.1) for r in held)


def test_what_cannot_be_run_is_left_out() -> None:
    good = script_named("passing")
    never = Script("never", good.spots, _wants_the_impossible, checked=True)
    game = play_game([Call(never, Execution()), Call(good, Execution())], 3, NBA, walk_in=False)
    assert [c.script.name for c in game.left_out] == ["never"]
    assert len(game.stretches) == 1
    with pytest.raises(SettingsError, match="No possession"):
        play_game([Call(never, Execution())], 3, NBA, walk_in=False)


def _wants_the_impossible(play):
    play.faults.add("crowded_paint")
    yield from play.stage.wait(0.2)


def test_unknown_names_are_refused() -> None:
    with pytest.raises(SettingsError, match="scripts are"):
        plan_drill(DrillRequest(1, scripts=("nonsense",)))
    with pytest.raises(SettingsError, match="books are"):
        plan_drill(DrillRequest(1, book="moon"))


def test_the_second_implementation_stands_alone() -> None:
    """What the truth calls an action is read from nobody's recogniser."""
    for path in (Path(__file__).parents[2] / "pipeline" / "sim" / "plays" / "deeds").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            name = node.module if isinstance(node, ast.ImportFrom) else None
            assert name is None or not name.startswith(("pipeline.actions", "pipeline.spacing")), f"{path}: {name}"
