"""plays: how the simulated game moves.

Comes in: a script, a seed, a rule book, the dials of its execution. Goes out: paths of ten players,
three officials and the ball, with facing and poses, as a ``Possession`` in the court frame, and the
paint counts the glossary's rule finds in it. Draws nothing and knows no camera.
"""

from pipeline.sim.plays.execution import Execution, Quality, sample_execution
from pipeline.sim.plays.moments import random_moment, scene_actors, scene_ball
from pipeline.sim.plays.possession import Possession, simulate
from pipeline.sim.plays.script import Script
from pipeline.sim.plays.scripts import SCRIPTS

__all__ = [
    "Execution",
    "Possession",
    "Quality",
    "SCRIPTS",
    "Script",
    "random_moment",
    "sample_execution",
    "scene_actors",
    "scene_ball",
    "simulate",
]
