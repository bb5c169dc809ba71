"""bodies: the people of the simulator, baked once and posed by targets.

Comes in: an actor's pose name, phase, speed and place. Goes out: the vertices and normals of one dressed body in world
feet, its joints, hands and the ball it holds. Needs numpy and scipy only; `bake`, which makes the shipped file from a
parametric human, is the one module that needs more. Draws nothing and decides no colour.
"""

from pipeline.sim.bodies.actors import Acting, actor_targets, pose_actor, pose_actors
from pipeline.sim.bodies.body import Body, Wardrobe, load_bodies
from pipeline.sim.bodies.gait import stride_ft
from pipeline.sim.bodies.parts import PARTS
from pipeline.sim.bodies.poses import MOVING_POSES, POSES, ball_bounce, pose_targets, usual_speed_ft_s
from pipeline.sim.bodies.skeleton import BONES, JOINTS, PARENTS
from pipeline.sim.bodies.skinning import PosedBody, hand_points, joints, place, pose_body
from pipeline.sim.bodies.solve import BALL_RADIUS_FT
from pipeline.sim.bodies.targets import PoseTargets, blend

__all__ = [
    "BALL_RADIUS_FT",
    "BONES",
    "JOINTS",
    "MOVING_POSES",
    "PARENTS",
    "PARTS",
    "POSES",
    "Acting",
    "Body",
    "PoseTargets",
    "PosedBody",
    "Wardrobe",
    "actor_targets",
    "ball_bounce",
    "blend",
    "hand_points",
    "joints",
    "load_bodies",
    "place",
    "pose_actor",
    "pose_actors",
    "pose_body",
    "pose_targets",
    "stride_ft",
    "usual_speed_ft_s",
]
