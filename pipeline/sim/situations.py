"""Random moments of play for training stills: who stands where, doing what, and where the ball is.

Unlike the scripts of `plays`, these have no before and after; they are drawn to be varied and hard (crowds under the
ring, people half out of the picture) rather than true to a set.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from pipeline.court.attack_frame import End, to_court
from pipeline.court.rule_books import RuleBook
from pipeline.sim.scene import ActorState, BallState, Pose

DEFENDER_MAN, DEFENDER_BALL, DEFENDER_RING = 0.62, 0.11, 0.27
"""A defender's mean place between man, ball and ring (Franks et al. 2015, arXiv:1405.0231)."""

BEHIND_SHARE, OFFICIAL_NEAR_SHARE = 0.45, 0.25
"""Share of moments with players right behind others as the camera sees them, and with an official beside a player."""

Places = np.ndarray
_MOVING: tuple[Pose, ...] = ("walk", "run", "jog", "slide", "backpedal", "drive")
_ATTACK: tuple[Pose, ...] = ("stand", "walk", "run", "catch", "screen", "use_screen", "post_up", "jog", "stance")
_DEFENCE: tuple[Pose, ...] = ("stance", "slide", "deny", "post_defend", "run", "contest", "walk", "stand")
_BALL: tuple[Pose, ...] = (
    "dribble_left",
    "dribble_right",
    "drive",
    "jump_shot",
    "chest_pass",
    "overhead_pass",
    "catch",
    "lay_up",
    "stand",
)
_RING: tuple[Pose, ...] = ("box_out", "rebound", "contest", "post_up", "post_defend", "stance", "run", "lay_up")


def _spread(rng: np.random.Generator, book: RuleBook) -> Places:
    """Five attackers round the arc and at the block, in the attack frame."""
    angle = np.deg2rad(np.array([-82, -42, 0, 42, 82]) + rng.normal(0, 9, 5))
    radius = book.arc_radius_ft + rng.uniform(0.5, 4.0, 5)
    spots = np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])
    for inside in rng.permutation(5)[: int(rng.integers(0, 3))]:
        spots[inside] = [rng.uniform(-2, 17), rng.choice([-1, 1]) * rng.uniform(2, book.lane_width_ft / 2 + 4)]
    spots[:, 1] = np.clip(spots[:, 1], -book.width_ft / 2 + 2, book.width_ft / 2 - 2)
    return spots


def _guards(rng: np.random.Generator, attackers: Places, ball: np.ndarray) -> Places:
    return DEFENDER_MAN * attackers + DEFENDER_BALL * ball + rng.normal(0, 1.6, attackers.shape)


def _face(origin: np.ndarray, target: np.ndarray) -> float:
    delta = target - origin
    return float(np.arctan2(delta[1], delta[0]))


def _actor(
    rng: np.random.Generator,
    actor: int,
    team: int,
    number: str,
    place: np.ndarray,
    facing: float,
    poses: tuple[Pose, ...],
    lift_ft: float = 0.0,
) -> ActorState:
    pose: Pose = poses[int(rng.integers(len(poses)))]
    speed = float(rng.uniform(4, 18)) if pose in _MOVING else 0.0
    velocity = speed * np.array([np.cos(facing), np.sin(facing)])
    mixed: Pose | None = _MOVING[int(rng.integers(len(_MOVING)))] if rng.random() < 0.25 else None
    if pose in ("jump_shot", "lay_up", "rebound", "contest") and lift_ft == 0.0:
        lift_ft = float(max(rng.uniform(-1.5, 2.3), 0.0))
    return ActorState(
        actor,
        "player",
        team,
        number,
        place,
        facing + float(rng.normal(0, 0.25)),
        pose,
        phase=float(rng.random()),
        speed_ft_s=speed,
        velocity_ft_s=velocity,
        height_off_floor_ft=lift_ft,
        blend_from=mixed,
        blend=float(rng.uniform(0.4, 1.0)) if mixed else 1.0,
    )


def _officials(rng: np.random.Generator, book: RuleBook, end: End, spots_uv: np.ndarray) -> list[ActorState]:
    poses: tuple[Pose, ...] = ("stand", "hands_on_hips", "signal", "jog", "walk", "run")
    count = 3 if book.name in ("nba", "ncaa") or rng.random() < 0.4 else 2
    found = []
    for number in range(count):
        place = to_court(spots_uv[number : number + 1], book, end)[0]
        ring = to_court(np.zeros((1, 2)), book, end)[0]
        found.append(
            ActorState(
                10 + number,
                "official",
                -1,
                "",
                place,
                _face(place, ring) + float(rng.normal(0, 0.5)),
                poses[int(rng.choice(6, p=[0.35, 0.25, 0.12, 0.12, 0.1, 0.06]))],
                phase=float(rng.random()),
            )
        )
    return found


def _official_spots(rng: np.random.Generator, book: RuleBook) -> np.ndarray:
    side = rng.choice([-1, 1])
    half = book.width_ft / 2
    lead = [-book.ring_to_baseline_ft + rng.uniform(-3.5, 1), side * rng.uniform(4, 16)]
    trail = [rng.uniform(24, 38), -side * rng.uniform(8, half + 2)]
    slot = [rng.uniform(8, 22), side * (half + rng.uniform(-4, 2.5))]
    spots = np.array([lead, trail, slot])
    return spots[rng.permutation(3)] if rng.random() < 0.3 else spots


def _numbers(rng: np.random.Generator) -> list[str]:
    first = rng.choice(56, 5, replace=False)
    second = rng.choice(56, 5, replace=False)
    return [str(n) for n in (*first, *second)]


def random_situation(rng: np.random.Generator, book: RuleBook) -> tuple[tuple[ActorState, ...], BallState, np.ndarray]:
    """Draw a moment.

    Parameters
    ----------
    rng : numpy Generator
    book : RuleBook

    Returns
    -------
    actors : tuple of ActorState
        Ten players (home is team 0) and two or three officials.
    ball : BallState
    focus_ft : ndarray of shape (2,)
        Court point that a camera operator would follow.
    """
    kinds: tuple[tuple[float, Callable[[np.random.Generator, RuleBook], tuple[Places, Places, str]]], ...] = (
        (0.42, _half_court),
        (0.2, _crowded),
        (0.14, _transition),
        (0.1, _free_throw),
        (0.08, _standing),
        (0.06, _scattered),
    )
    chosen = int(rng.choice(len(kinds), p=[share for share, _ in kinds]))
    attack, defence, kind = kinds[chosen][1](rng, book)
    end: End = "left" if rng.random() < 0.5 else "right"
    handler = int(rng.integers(5))
    uv = np.vstack([attack, defence])
    low, high = -book.ring_to_baseline_ft + 0.3, book.length_ft - book.ring_to_baseline_ft - 0.5
    uv[:, 0] = np.clip(uv[:, 0], low, high)
    uv[:, 1] = np.clip(uv[:, 1], -book.width_ft / 2 - 1, book.width_ft / 2 + 1)
    uv = _apart(uv, 1.5)
    xy = to_court(uv, book, end)
    if rng.random() < BEHIND_SHARE:
        xy = _one_behind_another(rng, xy, book)
    ring = to_court(np.zeros((1, 2)), book, end)[0]
    attacking_team = int(rng.integers(2))
    numbers = _numbers(rng)
    actors: list[ActorState] = []
    ball_near_ring = kind == "crowd" and rng.random() < 0.5
    for row in range(10):
        attacker = row < 5
        team = attacking_team if attacker else 1 - attacking_team
        actor = team * 5 + row % 5
        place = xy[row]
        man = xy[(row + 5) % 10]
        facing = (
            _face(place, ring)
            if attacker == (rng.random() < 0.6)
            else _face(place, man if not attacker else xy[handler])
        )
        poses = _ATTACK if attacker else _DEFENCE
        if row == handler and not ball_near_ring:
            poses = _BALL
        elif kind == "crowd" and np.hypot(*uv[row]) < 9:
            poses = _RING
        elif kind == "transition":
            poses, facing = ("run", "jog", "run", "walk"), _face(place, ring + np.array([0, rng.uniform(-15, 15)]))
        elif kind in ("standing", "free_throw"):
            poses = ("stand", "hands_on_hips", "walk", "stand", "stance")
        if kind == "free_throw" and row == handler:
            poses = ("free_throw", "stand", "dribble_right")
        actors.append(_actor(rng, actor, team, numbers[actor], place, facing, poses))
    ball = _ball(rng, book, actors[handler], xy, ring, kind, near_ring=ball_near_ring)
    officials = _officials(rng, book, end, _official_spots(rng, book))
    if rng.random() < OFFICIAL_NEAR_SHARE:
        officials[0] = replace(officials[0], position_ft=_beside(rng, xy[int(rng.integers(10))]))
    actors += officials
    focus = xy[handler] * 0.35 + xy.mean(0) * 0.4 + ring * 0.25
    return tuple(actors), ball, focus


def _ball(
    rng: np.random.Generator,
    book: RuleBook,
    holder: ActorState,
    xy: Places,
    ring: np.ndarray,
    kind: str,
    *,
    near_ring: bool,
) -> BallState:
    draw = rng.random()
    if near_ring:
        place = np.array([*(ring + rng.normal(0, 1.5, 2)), book.ring_height_ft + rng.uniform(-2.0, 3.5)])
        return BallState(place, None, rng.normal(0, 8, 3))
    if kind == "standing" and draw < 0.4:
        place = np.array([*(holder.position_ft + rng.normal(0, 6, 2)), 0.39])
        return BallState(place, None, np.zeros(3))
    if draw < 0.6:
        return BallState(np.full(3, np.nan), holder.actor)
    if draw < 0.68:  # knocked loose among bodies
        near = xy[int(rng.integers(10))] + rng.normal(0, 1.8, 2)
        return BallState(np.array([*near, rng.uniform(0.4, 6.0)]), None, rng.normal(0, 12, 3))
    target = xy[int(rng.integers(5))]
    share = rng.uniform(0.15, 0.85)
    ground = holder.position_ft * (1 - share) + target * share
    way = target - holder.position_ft
    if draw < 0.87:  # a pass
        speed = rng.uniform(20, 45)
        direction = way / max(float(np.linalg.norm(way)), 1e-6)
        return BallState(
            np.array([*ground, rng.uniform(1.5, 8.5)]), None, np.array([*(direction * speed), rng.normal(0, 4)])
        )
    ground = holder.position_ft * (1 - share) + ring * share  # a shot
    height = 7 + (book.ring_height_ft - 7) * share + 4 * 6.0 * share * (1 - share)
    way = ring - holder.position_ft
    return BallState(np.array([*ground, height]), None, np.array([*(way * 0.9), rng.uniform(-18, 18)]))


def _apart(uv: Places, least_ft: float) -> Places:
    """Push people apart until no two stand in one another."""
    out = uv.copy()
    for _ in range(8):
        delta = out[:, None] - out[None]
        gap = np.linalg.norm(delta, axis=2) + np.eye(len(out)) * 99
        push = np.clip(least_ft - gap, 0, None)
        out += (delta / gap[..., None] * push[..., None] * 0.5).sum(1)
    return out


def _beside(rng: np.random.Generator, place: np.ndarray) -> np.ndarray:
    """A place two to four feet from another, mostly before or behind it as the camera on the near side sees it."""
    return place + np.array([rng.normal(0, 1.0), rng.choice([-1, 1]) * rng.uniform(1.8, 4.0)])


def _one_behind_another(rng: np.random.Generator, xy: Places, book: RuleBook) -> Places:
    """Put one to three players just before or behind others."""
    out = xy.copy()
    order = rng.permutation(10)
    for pair in range(int(rng.integers(1, 4))):
        out[order[2 * pair]] = _beside(rng, out[order[2 * pair + 1]])
    return np.clip(_apart(out, 1.5), [-1.0, -1.0], [book.length_ft + 1, book.width_ft + 1])


def _half_court(rng: np.random.Generator, book: RuleBook) -> tuple[Places, Places, str]:
    attack = _spread(rng, book)
    return attack, _guards(rng, attack, attack[int(rng.integers(5))]), "half_court"


def _crowded(rng: np.random.Generator, book: RuleBook) -> tuple[Places, Places, str]:
    attack = _spread(rng, book)
    inside = int(rng.integers(1, 5))
    attack[:inside] = np.column_stack([rng.normal(4, 4.5, inside), rng.normal(0, book.lane_width_ft * 0.4, inside)])
    defence = _guards(rng, attack, attack[0])
    packed = int(rng.integers(2, 6))
    defence[:packed] = np.column_stack([rng.normal(4.5, 4.5, packed), rng.normal(0, book.lane_width_ft * 0.4, packed)])
    return attack, defence, "crowd"


def _transition(rng: np.random.Generator, book: RuleBook) -> tuple[Places, Places, str]:
    middle = rng.uniform(20, 70)
    both = np.column_stack([rng.normal(middle, 13, 10), rng.uniform(-book.width_ft / 2, book.width_ft / 2, 10)])
    return both[:5], both[5:], "transition"


def _free_throw(rng: np.random.Generator, book: RuleBook) -> tuple[Places, Places, str]:
    shooter = book.lane_length_ft - book.ring_to_baseline_ft + rng.uniform(0.3, 1.2)
    edge = book.lane_width_ft / 2 + 0.9
    marks = np.array([2.2, 5.3, 8.4]) + rng.normal(0, 0.3, 3)
    lane = np.array([[u, side * edge] for u in marks for side in (-1, 1)]) + rng.normal(0, 0.2, (6, 2))
    back = np.column_stack([rng.uniform(20, 32, 3), rng.uniform(-18, 18, 3)])
    attack = np.vstack([[shooter, rng.normal(0, 0.3)], lane[2:4], back[:2]])
    defence = np.vstack([lane[:2], lane[4:6], back[2:]])
    return attack, defence, "free_throw"


def _standing(rng: np.random.Generator, book: RuleBook) -> tuple[Places, Places, str]:
    both = np.column_stack([rng.uniform(-4, 50, 10), rng.uniform(-book.width_ft / 2 - 1, book.width_ft / 2 + 1, 10)])
    huddle = rng.random() < 0.4
    if huddle:
        both[:5] = both[0] + rng.normal(0, 2.2, (5, 2))
    return both[:5], both[5:], "standing"


def _scattered(rng: np.random.Generator, book: RuleBook) -> tuple[Places, Places, str]:
    length, half = book.length_ft - book.ring_to_baseline_ft, book.width_ft / 2
    both = np.column_stack([rng.uniform(-5, length, 10), rng.uniform(-half, half, 10)])
    return both[:5], both[5:], "scattered"
