"""The scripts of the common sets, and the files that must find them: runs, near misses, mirror."""

from __future__ import annotations

from fractions import Fraction
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from pipeline.court.rule_books import RULE_BOOKS
from pipeline.sets.definition import SetDefinition
from pipeline.sets.finding import find_sets
from pipeline.sets.library import read_sets
from pipeline.sets.settings import SetSettings
from pipeline.sim.crew import FilmPlan, Shot, View
from pipeline.sim.drill import drill_tables, script_call
from pipeline.sim.plays.execution import Quality
from pipeline.sim.plays.game import After, Game, Stretch
from pipeline.sim.plays.possession import Possession, simulate
from pipeline.sim.plays.repertoire import REPERTOIRE
from pipeline.sim.plays.script import Script

NBA = RULE_BOOKS["nba"]
CONFIGS = Path(__file__).parents[2] / "configs"
FILES = {one.name: one for one in read_sets(CONFIGS)}
NAMES = [s.name for s in REPERTOIRE]
FROM_THE_SCREENS = {"drag", "side_ball_screen", "middle_ball_screen"}
"""Sets that are no more than one ball screen: the truth has them from the screens themselves."""


@cache
def _run(script: Script, quality: Quality, side: int = 1) -> Possession:
    """A run; near misses leave out the screen or the pass by turns, bad execution in the rest."""
    way = NAMES.index(script.name) % 2
    call = script_call(script, quality, np.random.default_rng([3, 9]), way=way, side=side)
    return simulate(script, 3, NBA, execution=call.execution, dials=call.dials, quality=quality, side=side)


def _phases(definition: SetDefinition) -> set[str]:
    return {phase.name for phase in definition.main.phases}


def _complete(possession: Possession) -> set[str]:
    """Sets that the library finds whole in a possession's true actions."""
    seconds, rate = possession.seconds, Fraction(25)
    game = Game(NBA, (Stretch(possession, 0.0, seconds, seconds, After.WHISTLE, clock_runs=True),))
    end_s = float(int(seconds * rate) / rate)
    shot = Shot(View.MAIN, 0.0, end_s, 0.0, 1.0, 0, "start")
    plan = FilmPlan(game, (shot,), (), (), rate, (1280, 720), tuple("0123456789"), 3)
    tables = drill_tables(plan)
    found = find_sets(
        list(FILES.values()), tables["actions"], tables["tracks"], tables["ball"], NBA, SetSettings()
    ).to_pylist()
    return {row["kind"] for row in found if row["complete"]}


def test_at_least_fifteen_further_sets_each_with_its_file() -> None:
    assert len(REPERTOIRE) >= 15
    assert len(set(NAMES)) == len(NAMES)
    assert {*NAMES, "weak_side_motion"} == set(FILES)


@pytest.mark.parametrize("name", sorted(FILES))
def test_every_file_says_where_it_comes_from_and_what_to_look_at(name: str) -> None:
    one = FILES[name]
    assert one.source
    assert len(one.emphases) >= 2
    for point in one.emphases:
        assert point.good is not None
        assert point.poor is not None
        assert point.say_poor


@pytest.mark.parametrize("script", REPERTOIRE, ids=NAMES)
def test_a_good_run_is_its_set_by_the_script_and_by_the_file(script: Script) -> None:
    p = _run(script, Quality.GOOD)
    played = [s for s in p.sets if s.name == script.name and s.certain]
    assert len(played) == 1
    assert not played[0].missing
    players = {player.name for player in FILES[script.name].players}
    assert {role for role, _ in played[0].roles} <= players
    assert played[0].ending in {ending.name for ending in FILES[script.name].endings} | {""}
    assert 0 <= played[0].start_s < played[0].end_s <= p.seconds
    assert _complete(p) == {script.name}


@pytest.mark.parametrize("script", REPERTOIRE, ids=NAMES)
def test_a_near_miss_is_not_its_set(script: Script) -> None:
    p = _run(script, Quality.NEAR_MISS)
    assert not [s for s in p.sets if s.name == script.name and not s.missing and s.certain]
    for run in p.sets:
        assert set(run.missing) <= _phases(FILES[run.name])
    found = _complete(p)
    assert script.name not in found
    assert found <= FROM_THE_SCREENS


@pytest.mark.parametrize("name", ["flex", "horns", "drag"])
def test_the_other_side_is_the_mirror_image(name: str) -> None:
    script = next(s for s in REPERTOIRE if s.name == name)
    one, other = (_run(script, Quality.GOOD, side=side) for side in (1, -1))
    np.testing.assert_allclose(other.xy_ft, one.xy_ft * [1, -1] + [0, NBA.width_ft], atol=1e-9)
    assert _complete(other) == {name}


@pytest.mark.parametrize("script", REPERTOIRE, ids=NAMES)
def test_bodies_keep_their_limits(script: Script) -> None:
    p = _run(script, Quality.GOOD)
    speed = np.linalg.norm(p.velocity_ft_s, axis=-1)
    assert speed.max() <= 22.0
    gaps = np.linalg.norm(p.xy_ft[:, :10, None] - p.xy_ft[:, None, :10], axis=-1) + 9 * np.eye(10)
    assert gaps.min() > 1.4
