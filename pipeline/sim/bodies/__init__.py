"""bodies: the people of the simulator, baked once and posed by targets.

Comes in: an actor's pose name, phase, speed and place. Goes out: the vertices and normals of one dressed body in world
feet, its joints, hands and the ball it holds. Needs numpy and scipy only; `bake`, which makes the shipped file from a
parametric human, is the one module that needs more. Draws nothing and decides no colour.
"""

from pipeline.sim.bodies.body import Body, Wardrobe, load_bodies
from pipeline.sim.bodies.parts import PARTS
from pipeline.sim.bodies.skeleton import BONES, JOINTS, PARENTS

__all__ = ["BONES", "JOINTS", "PARENTS", "PARTS", "Body", "Wardrobe", "load_bodies"]
