"""Faults of simulated possessions: the mirror image, another order of players and half the frame rate give the same."""

import numpy as np
import pytest

from pipeline.actions.recognisers import actions_in
from pipeline.actions.settings import ActionSettings
from pipeline.actions.stretches import stretches
from pipeline.actions.view_building import possession_views
from pipeline.court.attack_frame import to_attack
from pipeline.court.rule_books import rule_book
from pipeline.errors import SettingsError
from pipeline.sim.plays.execution import Quality
from pipeline.sim.plays.possession import simulate
from pipeline.sim.plays.scripts import script_named
from pipeline.spacing.faults import faults_of
from pipeline.spacing.scene import scene
from pipeline.spacing.settings import SpacingSettings, shipped_faults
from tests.actions.made_up import tables_of

NBA = rule_book("nba")
SCRIPTS = ("fault_twins", "fault_overloaded_side", "fault_pushed_out_catch", "fault_crowded_paint", "fault_left_early")


def simulated(name):
    for seed in range(1, 6):
        try:
            return simulate(script_named(name), seed, NBA, quality=Quality.BAD)
        except SettingsError:
            continue
    raise AssertionError(f"{name} cannot be run")


def faults(p, *, every=2, mirror=1, order=tuple(range(10))):
    """Kinds with rounded moments and the simulated bodies in them."""
    t_s = (np.arange(len(p.xy_ft)) * p.dt_s)[::every]
    mine = np.arange(10) if p.offence == 0 else np.roll(np.arange(10), 5)
    actors = [int(mine[k]) for k in order]
    uv = to_attack(p.xy_ft[::every, actors].reshape(-1, 2), NBA, p.end).reshape(-1, 10, 2) * (1, mirror)
    ball = to_attack(p.ball_ft[::every, :2], NBA, p.end) * (1, mirror)
    holder = p.holder[::every]
    holds = sorted(
        (
            (place, float(t_s[a]), float(t_s[b - 1]))
            for place, actor in enumerate(actors)
            for a, b in stretches(holder == actor)
        ),
        key=lambda hold: hold[1],
    )
    play = tables_of(t_s, uv, ball, holds, end=p.end)
    (view,) = possession_views(play.tracks, play.ball, play.touches, play.possessions, NBA, ActionSettings())
    one = scene(view, actions_in(view, ActionSettings()), SpacingSettings())
    return [
        (f.kind, round(f.t_s, 2), frozenset(actors[track] for _, track in f.actors))
        for f in faults_of(one, shipped_faults().library)
    ]


@pytest.mark.slow
@pytest.mark.parametrize("name", SCRIPTS)
def test_mirror_order_and_half_the_rate(name):
    p = simulated(name)
    as_it_is = faults(p)
    assert name.removeprefix("fault_") in {kind for kind, _, _ in as_it_is}
    assert sorted(faults(p, mirror=-1), key=str) == sorted(as_it_is, key=str)
    assert sorted(faults(p, order=(4, 2, 0, 3, 1, 9, 5, 7, 6, 8)), key=str) == sorted(as_it_is, key=str)
    half = faults(p, every=4)
    assert [kind for kind, _, _ in sorted(half, key=str)] == [kind for kind, _, _ in sorted(as_it_is, key=str)]
