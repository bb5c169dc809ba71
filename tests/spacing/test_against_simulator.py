"""Our drives and crowded paint against the simulator's own reading of the glossary, written apart from ours."""

import numpy as np
import pytest

from pipeline.actions.events import events_from_table
from pipeline.actions.recognisers import find_actions
from pipeline.actions.settings import ActionSettings
from pipeline.actions.stretches import stretches
from pipeline.actions.view_building import possession_views
from pipeline.court.attack_frame import to_attack
from pipeline.court.rule_books import rule_book
from pipeline.errors import SettingsError
from pipeline.sim.plays.ball_screens import CLEAR_DRIVE, CROWDED_DRIVE
from pipeline.sim.plays.execution import Execution, Quality
from pipeline.sim.plays.free_play import TRANSITION, UNSCRIPTED
from pipeline.sim.plays.possession import Possession, simulate
from pipeline.sim.plays.stoppages import FREE_THROWS
from pipeline.sim.plays.weak_side import WEAK_SIDE_MOTION
from pipeline.spacing.arrivals import ENTERS, arrivals
from pipeline.spacing.faults import faults_of
from pipeline.spacing.scene import scene
from pipeline.spacing.settings import SpacingSettings, shipped_faults
from tests.actions.made_up import tables_of

STEP_S = 0.08


def read(p: Possession):
    """Our arrivals and faults on a simulated possession, with its true paths and holder at 12.5 moments a second."""
    every = max(1, round(STEP_S / p.dt_s))
    t_s = (np.arange(len(p.xy_ft)) * p.dt_s)[::every]
    order = np.arange(10) if p.offence == 0 else np.roll(np.arange(10), 5)
    holder = p.holder[::every]
    holds = [
        (place, float(t_s[a]), float(t_s[b - 1]))
        for place, actor in enumerate(order)
        for a, b in stretches(holder == actor)
    ]
    uv = to_attack(p.xy_ft[::every, order].reshape(-1, 2), p.book, p.end).reshape(-1, 10, 2)
    ball = to_attack(p.ball_ft[::every, :2], p.book, p.end)
    play = tables_of(t_s, uv, ball, sorted(holds, key=lambda hold: hold[1]), end=p.end, book=p.book)
    tables = (play.tracks, play.ball, play.touches, play.possessions)
    events = events_from_table(find_actions(*tables, p.book, ActionSettings()))
    (view,) = possession_views(*tables, p.book, ActionSettings())
    one = scene(view, events, SpacingSettings())
    crowded = [rule for rule in shipped_faults().library if rule.name == "crowded_paint"]
    return [m.event for m in arrivals(one)], faults_of(one, tuple(crowded))


@pytest.mark.slow
@pytest.mark.parametrize("bodies", [2, 4, 5, 6])
@pytest.mark.parametrize(("seed", "book"), [(1, "nba"), (2, "fiba"), (3, "ncaa")])
def test_scripted_drives_are_counted_as_the_script_promises(bodies, seed, book):
    script = CROWDED_DRIVE if bodies >= 5 else CLEAR_DRIVE
    end = "left" if seed % 2 else "right"
    p = simulate(script, seed, rule_book(book), execution=Execution(bodies=bodies), end=end, offence=seed % 2)
    found, faults = read(p)
    entries = [c for c in p.paint_counts if c.kind == "entry"]
    ours = [a for a in found if a.traits["moment"] == ENTERS]
    assert [a.measures["count"] for a in ours] == [c.count for c in entries]
    for a, c in zip(ours, entries, strict=True):
        assert a.t_s == pytest.approx(c.moment * p.dt_s, abs=STEP_S)
    assert bool(faults) == any(c.count >= 5 for c in p.paint_counts) == (bodies >= 5)


def run_from(script, seed):
    """A run of a script; dials that cannot be run are drawn again."""
    for attempt in range(5):
        dials = script.draw(np.random.default_rng(seed + 10 * attempt), Quality.GOOD)
        try:
            return simulate(script, seed, rule_book("nba"), dials=dials)
        except SettingsError:
            continue
    raise AssertionError(f"{script.name} cannot be run from seed {seed}")


@pytest.mark.slow
@pytest.mark.parametrize("script", [WEAK_SIDE_MOTION, UNSCRIPTED, TRANSITION, FREE_THROWS])
def test_other_play_has_the_faults_that_the_simulator_sees(script):
    for seed in range(3):
        p = run_from(script, seed)
        _, faults = read(p)
        clear = [c for c in p.paint_counts if c.edge_ft > 0.8 or c.most < 5]
        if len(clear) == len(p.paint_counts):
            assert bool(faults) == any(c.count >= 5 for c in p.paint_counts)
