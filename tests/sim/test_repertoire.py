"""The scripts of the common sets: they do what they say, near misses lack what they leave out, the mirror is exact."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from pipeline.court.rule_books import RULE_BOOKS
from pipeline.sets.definition import SetDefinition
from pipeline.sets.library import read_sets
from pipeline.sim.drill import script_call
from pipeline.sim.plays.execution import Quality
from pipeline.sim.plays.possession import Possession, simulate
from pipeline.sim.plays.repertoire import REPERTOIRE
from pipeline.sim.plays.script import Script

NBA = RULE_BOOKS["nba"]
FILES = {one.name: one for one in read_sets(Path(__file__).parents[2] / "configs")}
NAMES = [s.name for s in REPERTOIRE]


def _run(script: Script, quality: Quality, seed: int = 3, *, way: int = 0, side: int = 1) -> Possession:
    call = script_call(script, quality, np.random.default_rng([seed, 9]), way=way, side=side)
    return simulate(
        script, seed, NBA, execution=call.execution, dials=call.dials, quality=quality, side=side, dead_s=0.0
    )


def _phases(definition: SetDefinition) -> set[str]:
    return {phase.name for phase in definition.main.phases}


def test_at_least_fifteen_further_sets_each_with_its_file() -> None:
    assert len(REPERTOIRE) >= 15
    assert len(set(NAMES)) == len(NAMES)
    assert set(NAMES) <= set(FILES)


@pytest.mark.parametrize("script", REPERTOIRE, ids=NAMES)
def test_a_good_run_plays_its_set_with_the_players_of_the_file(script: Script) -> None:
    p = _run(script, Quality.GOOD)
    played = [s for s in p.sets if s.name == script.name]
    assert len(played) == 1
    assert not played[0].missing
    players = {player.name for player in FILES[script.name].players}
    assert {role for role, _ in played[0].roles} <= players
    endings = {ending.name for ending in FILES[script.name].endings}
    assert played[0].ending in endings | {""}
    assert 0 <= played[0].start_s < played[0].end_s <= p.seconds


@pytest.mark.parametrize("script", REPERTOIRE, ids=NAMES)
def test_a_near_miss_leaves_out_what_it_says(script: Script) -> None:
    near = next(d for d in script.dials if d.name == "missing").values(Quality.NEAR_MISS)  # type: ignore[union-attr]
    for way in range(len(near)):
        p = _run(script, Quality.NEAR_MISS, way=way)
        assert not [s for s in p.sets if s.name == script.name and not s.missing]
        for run in p.sets:
            assert set(run.missing) <= _phases(FILES[run.name])


@pytest.mark.parametrize("name", ["flex", "horns", "drag"])
def test_the_other_side_is_the_mirror_image(name: str) -> None:
    script = next(s for s in REPERTOIRE if s.name == name)
    one, other = (_run(script, Quality.GOOD, side=side) for side in (1, -1))
    np.testing.assert_allclose(other.xy_ft, one.xy_ft * [1, -1] + [0, NBA.width_ft], atol=1e-9)


@pytest.mark.parametrize("script", REPERTOIRE, ids=NAMES)
def test_bodies_keep_their_limits(script: Script) -> None:
    p = _run(script, Quality.BAD)
    speed = np.linalg.norm(p.velocity_ft_s, axis=-1)
    assert speed.max() <= 22.0
    gaps = np.linalg.norm(p.xy_ft[:, :10, None] - p.xy_ft[:, None, :10], axis=-1) + 9 * np.eye(10)
    assert gaps.min() > 1.4
