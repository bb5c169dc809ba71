"""From actors to posed bodies in the court frame, with the feet that the renderer darkens the floor under."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from pipeline.sim.bodies import Body, Wardrobe, pose_actors
from pipeline.sim.scene import ActorState, BallState

SHOES_PART = 5


@dataclass(frozen=True, slots=True, eq=False)
class Posed:
    """One body in the court frame.

    Attributes
    ----------
    vertices_ft, normals : ndarray of shape (V, 3)
    feet_ft : ndarray of shape (2, 3)
        Middle of each shoe, left and right; z is the sole's lowest point.
    ball_ft : ndarray of shape (3,)
        Where a held ball lies: where the pose has it, else between the palms.
    """

    vertices_ft: np.ndarray
    normals: np.ndarray
    feet_ft: np.ndarray
    ball_ft: np.ndarray


@lru_cache(maxsize=8)
def _shoe_rows(wardrobe: Wardrobe) -> tuple[np.ndarray, np.ndarray]:
    shoes = wardrobe.part == SHOES_PART
    left = wardrobe.rest_uvw[:, 1] > 0
    return np.nonzero(shoes & left)[0], np.nonzero(shoes & ~left)[0]


def posed_all(bodies: Sequence[Body], actors: Sequence[ActorState], ball: BallState | None = None) -> list[Posed]:
    """Pose many actors, each with its body, in the court frame; the holder's hands go to the ball where it is given."""
    found: list[Posed] = []
    balls = [ball.xyz_ft if ball is not None and ball.held_by == actor.actor else None for actor in actors]
    for body, shape in zip(bodies, pose_actors(bodies, actors, balls), strict=True):
        feet = np.zeros((2, 3))
        for row, rows in enumerate(_shoe_rows(body.wardrobe)):
            shoe = shape.vertices_ft[rows]
            feet[row] = [*shoe[:, :2].mean(0), shoe[:, 2].min()]
        held = shape.ball_ft if np.isfinite(shape.ball_ft).all() else shape.palms_ft.mean(0)
        found.append(Posed(shape.vertices_ft, shape.normals, feet, held))
    return found


def bystander_state(index: int, row: np.ndarray) -> ActorState:
    """The still pose of somebody beside the floor; `row` is x, y, facing, kind (0 sits, 1 stands)."""
    rng = np.random.default_rng([7, index])
    standing = row[3] > 0.5
    pose = (
        ("stand", "hands_on_hips", "signal", "walk")[int(rng.choice(4, p=[0.6, 0.25, 0.1, 0.05]))]
        if standing
        else "sit"
    )
    return ActorState(1000 + index, "coach", -1, "", row[:2], float(row[2]), pose, phase=float(rng.random()))  # type: ignore[arg-type]
