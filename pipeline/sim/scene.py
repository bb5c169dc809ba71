"""What a simulated moment is, before anything is drawn: actors, ball, camera, score bug, cut.

The script side makes one `SceneFrame` per film frame; the renderer turns it into a picture and labels. All places are
in the court frame in feet (origin near-left corner, x along the near sideline, y away from the main camera, z up).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np

from pipeline.errors import ShapeError

if TYPE_CHECKING:
    from pipeline.court.camera import Camera

Role = Literal["player", "official", "bench", "coach"]
Pose = Literal[
    "stand",
    "walk",
    "run",
    "backpedal",
    "slide",
    "stance",
    "deny",
    "screen",
    "use_screen",
    "post_up",
    "post_defend",
    "catch",
    "chest_pass",
    "overhead_pass",
    "handoff",
    "dribble_left",
    "dribble_right",
    "drive",
    "jump_shot",
    "lay_up",
    "contest",
    "box_out",
    "rebound",
    "free_throw",
    "hands_on_hips",
    "signal",
    "jog",
    "sit",
]
ViewKind = Literal["court", "close_up", "crowd", "graphic"]
TransitionKind = Literal["wipe", "stinger", "dissolve", "fade"]


def _read_only(values: object, size: int, name: str) -> np.ndarray:
    """Copy a point to a read-only float64 array and check its length."""
    array = np.array(values, dtype=np.float64)
    if array.shape != (size,):
        raise ShapeError(f"{name} must be ({size},), got {array.shape}; pass one point in feet.")
    array.setflags(write=False)
    return array


@dataclass(frozen=True, slots=True, eq=False)
class ActorState:
    """One person on or beside the floor at one moment.

    Attributes
    ----------
    actor : int
        Stable over the film; index of the person's body and face in the look.
    role : {"player", "official", "bench", "coach"}
    team : int
        0 home, 1 away, -1 neither (officials).
    number : str
        Jersey number, "" for none.
    position_ft : ndarray of shape (2,)
        The floor point between the feet (below the body, when jumping), court x, y.
    facing_rad : float
        0 looks along +x, counter-clockwise seen from above.
    speed_ft_s, velocity_ft_s : float, ndarray of shape (2,)
        Speed and velocity on the floor.
    pose : str
        One of `Pose`.
    phase : float
        0..1: stride phase, tied to the distance travelled, or the progress of a one-shot pose.
    height_off_floor_ft : float
        How high the feet are above the floor (jumps).
    blend_from, blend : str | None, float
        When set, the drawn pose is (1 - blend) * blend_from + blend * pose, both at `phase`.
    """

    actor: int
    role: Role
    team: int
    number: str
    position_ft: np.ndarray
    facing_rad: float
    pose: Pose
    phase: float = 0.0
    speed_ft_s: float = 0.0
    velocity_ft_s: np.ndarray = field(default_factory=lambda: np.zeros(2))
    height_off_floor_ft: float = 0.0
    blend_from: Pose | None = None
    blend: float = 1.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "position_ft", _read_only(self.position_ft, 2, "position_ft"))
        object.__setattr__(self, "velocity_ft_s", _read_only(self.velocity_ft_s, 2, "velocity_ft_s"))


@dataclass(frozen=True, slots=True, eq=False)
class BallState:
    """The ball's centre and, while held, its holder.

    A held ball (also while dribbled: the script gives the bounce) is drawn at `xyz_ft`; where that is NaN it is drawn
    between the hands of `held_by`. `velocity_ft_s` smears it over the exposure.
    """

    xyz_ft: np.ndarray
    held_by: int | None = None
    velocity_ft_s: np.ndarray = field(default_factory=lambda: np.zeros(3))

    def __post_init__(self) -> None:
        object.__setattr__(self, "xyz_ft", _read_only(self.xyz_ft, 3, "xyz_ft"))
        object.__setattr__(self, "velocity_ft_s", _read_only(self.velocity_ft_s, 3, "velocity_ft_s"))


@dataclass(frozen=True, slots=True)
class ScoreBug:
    """The figures of the score graphic; its place, shape and colours belong to the look.

    `clock_s` is game time left in the period, `shot_clock_s` None when it is off. Team codes are taken from the look
    when empty.
    """

    period: int
    clock_s: float
    shot_clock_s: float | None
    home: int
    away: int
    home_code: str = ""
    away_code: str = ""


@dataclass(frozen=True, slots=True)
class Transition:
    """A passage between two shots: the graphic that covers the picture at `progress` 0..1."""

    kind: TransitionKind
    progress: float


@dataclass(frozen=True, slots=True, eq=False)
class SceneFrame:
    """Everything the renderer needs for one picture.

    Attributes
    ----------
    t_s : float
        Time of the moment in the game (drives the crowd's movement).
    index : int
        Film frame; seeds grain and crowd flicker.
    actors : tuple of ActorState
        People on the floor, and any moving bench or coach; the renderer adds a still bench, crowd and table itself.
    ball : BallState | None
    camera : Camera
        `court.camera.Camera`, lens included.
    view : {"court", "close_up", "crowd", "graphic"}
        What the shot shows; "crowd" and "graphic" ignore the camera.
    score_bug : ScoreBug | None
        None hides the graphic.
    transition : Transition | None
    exposure : float
        Gain on the picture, 1 is the look's own.
    shutter_s : float
        Exposure time over which the ball and fast limbs smear.
    camera_after : Camera | None
        Camera at the end of the exposure, for motion blur by panning.
    """

    t_s: float
    index: int
    actors: tuple[ActorState, ...]
    ball: BallState | None
    camera: Camera
    view: ViewKind = "court"
    score_bug: ScoreBug | None = None
    transition: Transition | None = None
    exposure: float = 1.0
    shutter_s: float = 1 / 100
    camera_after: Camera | None = None
    shot: int = 0
