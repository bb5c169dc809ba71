"""The baked bodies and their poses: whole, on the floor, of constant length, mirrored, and not sliding."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import dataclass, field
from typing import get_args

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.errors import DataError, SettingsError, ShapeError
from pipeline.sim.bodies import (
    BALL_RADIUS_FT,
    BONES,
    JOINTS,
    PARENTS,
    PARTS,
    POSES,
    actor_targets,
    blend,
    hand_points,
    joints,
    load_bodies,
    place,
    pose_actor,
    pose_actors,
    pose_body,
    pose_targets,
    stride_ft,
    usual_speed_ft_s,
)
from pipeline.sim.bodies.body import BODIES_FILE
from pipeline.sim.bodies.gait import SIDEWAYS_POSES
from pipeline.sim.bodies.poses import MOVING_POSES
from pipeline.sim.bodies.skeleton import BONE
from pipeline.sim.bodies.solve import frame_of, solve, two_bone
from pipeline.sim.bodies.targets import TARGET_COUNT, PoseTargets
from pipeline.sim.scene import Pose

BODIES = load_bodies()
SOME = (BODIES[0], BODIES[11], BODIES[12], BODIES[20], BODIES[26])
PHASES = (0.0, 0.15, 0.3, 0.45, 0.6, 0.7, 0.85, 1.0)
LIMBS = (
    ("upper_arm", "forearm"),
    ("forearm", "hand"),
    ("thigh", "shin"),
    ("shin", "foot"),
    ("foot", "toes"),
    ("clavicle", "upper_arm"),
)


@dataclass(frozen=True)
class State:
    pose: str
    phase: float = 0.0
    actor: int = 3
    position_ft: np.ndarray = field(default_factory=lambda: np.zeros(2))
    facing_rad: float = 0.0
    speed_ft_s: float = 0.0
    velocity_ft_s: np.ndarray = field(default_factory=lambda: np.zeros(2))
    height_off_floor_ft: float = 0.0
    blend_from: str | None = None
    blend: float = 1.0


def direction_of(pose: str) -> np.ndarray:
    return {"backpedal": np.array([-1.0, 0.0]), "slide": np.array([0.0, 1.0])}.get(pose, np.array([1.0, 0.0]))


def moving(pose: str, phase: float, at_ft: float = 0.0) -> State:
    speed = usual_speed_ft_s(pose)
    way = direction_of(pose)
    return State(pose, phase, position_ft=way * at_ft, speed_ft_s=speed, velocity_ft_s=way * speed)


def every_pose() -> list[tuple[str, float]]:
    return [(pose, phase) for pose in POSES for phase in PHASES]


def shoe_bottom(posed) -> float:
    return float(posed.vertices_ft[posed.body.part == PARTS.index("shoes"), 2].min())


def test_every_pose_of_the_scene_is_in_the_library():
    assert set(POSES) == set(get_args(Pose))


def test_file_is_small_and_bodies_load_alike():
    assert BODIES_FILE.stat().st_size < 8e6
    again = load_bodies.__wrapped__(BODIES_FILE)
    assert [body.name for body in again] == [body.name for body in BODIES]
    for first, second in zip(BODIES, again, strict=True):
        np.testing.assert_array_equal(first.vertices_ft, second.vertices_ft)
        np.testing.assert_array_equal(first.bone_heads_ft, second.bone_heads_ft)


def test_missing_file_says_how_to_bake(tmp_path):
    with pytest.raises(DataError, match="bake"):
        load_bodies(tmp_path / "none.npz")


def test_bodies_are_athletes_and_officials_of_believable_size():
    players = [body for body in BODIES if body.outfit == "player"]
    officials = [body for body in BODIES if body.outfit == "official"]
    assert len(players) >= 16
    assert len(officials) >= 3
    statures = np.array([body.bone_heads_ft[BONE["head"], 2] / 0.89 for body in players])
    assert statures.min() > 5.5
    assert statures.max() < 7.4
    assert np.ptp(statures) > 1.0


@pytest.mark.parametrize("body", [BODIES[0], BODIES[-1]], ids=lambda body: body.outfit)
def test_mesh_is_sound(body):
    count = len(body.vertices_ft)
    assert count < 4000
    assert body.faces.min() == 0
    assert body.faces.max() == count - 1
    np.testing.assert_array_equal(body.part[body.faces].min(axis=1), body.part[body.faces].max(axis=1))
    np.testing.assert_allclose(body.wardrobe.bone_weights.sum(axis=1), 1, atol=1e-5)
    assert abs(body.vertices_ft[:, 2].min()) < 1e-5
    np.testing.assert_allclose(np.linalg.norm(body.normals, axis=1), 1, atol=1e-4)
    wanted = {"skin", "jersey", "hair", "shoes"} | ({"shorts"} if body.outfit == "player" else {"trousers"})
    assert {PARTS[i] for i in np.unique(body.part)} == wanted
    with pytest.raises(ValueError, match="read-only"):
        body.vertices_ft[0] = 0


def test_normals_point_outwards():
    body = BODIES[3]
    for part, bone in (("jersey", "chest"), ("hair", "head"), ("shorts", "pelvis")):
        mine = body.part == PARTS.index(part)
        outward = body.vertices_ft[mine] - body.bone_heads_ft[BONE[bone]]
        outward[:, 2] = 0 if part != "hair" else outward[:, 2]
        facing = (outward * body.normals[mine]).sum(axis=1) > 0
        assert facing.mean() > 0.8, part  # inner thighs face the middle


@pytest.mark.parametrize("body", SOME, ids=lambda body: body.name)
def test_every_pose_is_finite_and_stands_on_the_floor(body):
    states = [moving(pose, phase) for pose, phase in every_pose()]
    for state, posed in zip(states, pose_actors([body] * len(states), states), strict=True):
        assert np.isfinite(posed.vertices_ft).all(), state
        assert np.isfinite(posed.normals).all(), state
        assert np.isfinite(joints(posed)).all(), state
        # Runners have both feet off the floor for part of the stride, and a lay-up is two running steps.
        highest = 0.9 if state.pose in ("run", "jog", "drive") else 0.12 if state.pose == "lay_up" else 0.04
        assert -0.04 < shoe_bottom(posed) < highest, state
        spread = np.ptp(posed.vertices_ft, axis=0)
        assert (spread < 1.6 * body.stature_ft).all(), state


@pytest.mark.parametrize("body", SOME, ids=lambda body: body.name)
def test_limbs_keep_their_lengths(body):
    rest = body.bone_heads_ft
    values = np.stack([actor_targets(body, moving(pose, phase)).values for pose, phase in every_pose()])
    at = solve([body] * len(values), values).positions_ft
    for start, end in LIMBS:
        for side in ("left", "right"):
            a, b = BONE[f"{start}_{side}"], BONE[f"{end}_{side}"]
            lengths = np.linalg.norm(at[:, b] - at[:, a], axis=1)
            np.testing.assert_allclose(lengths, np.linalg.norm(rest[b] - rest[a]), rtol=1e-6, err_msg=start)


@given(
    values=st.lists(st.floats(-2.5, 2.5), min_size=TARGET_COUNT, max_size=TARGET_COUNT),
    row=st.integers(0, len(BODIES) - 1),
)
@settings(max_examples=40, deadline=None)
def test_any_targets_give_rotations_and_whole_limbs(values, row):
    body = BODIES[row]
    bones = solve([body], np.array(values)[None])
    eye = bones.rotations[0] @ np.swapaxes(bones.rotations[0], -1, -2)
    np.testing.assert_allclose(eye, np.broadcast_to(np.eye(3), eye.shape), atol=1e-6)
    assert np.linalg.det(bones.rotations[0]) == pytest.approx(1.0)
    for start, end in LIMBS:
        a, b = BONE[f"{start}_left"], BONE[f"{end}_left"]
        length = np.linalg.norm(bones.positions_ft[0, b] - bones.positions_ft[0, a])
        assert length == pytest.approx(np.linalg.norm(body.bone_heads_ft[b] - body.bone_heads_ft[a]), rel=1e-6)


@given(
    target=st.tuples(*[st.floats(-4, 4)] * 3),
    pole=st.tuples(*[st.floats(-1, 1)] * 3),
    upper=st.floats(0.5, 2),
    lower=st.floats(0.5, 2),
)
@settings(max_examples=200, deadline=None)
def test_two_bone_reaches_what_is_within_reach(target, pole, upper, lower):
    root = np.zeros((1, 3))
    goal = np.array([target])
    middle, end, _ = two_bone(root, goal, np.array([upper]), np.array([lower]), np.array([pole]))
    assert np.linalg.norm(middle) == pytest.approx(upper, rel=1e-9)
    assert np.linalg.norm(end - middle) == pytest.approx(lower, rel=1e-6)
    distance = np.linalg.norm(goal)
    if abs(upper - lower) + 0.01 * (upper + lower) < distance < 0.99 * (upper + lower):
        np.testing.assert_allclose(end, goal, atol=1e-9)


@pytest.mark.parametrize("pose", POSES)
def test_mirrored_targets_give_the_mirrored_body(pose):
    swap = [
        JOINTS.index(
            name.replace("left", "#").replace("right", "left").replace("#", "right")
            if name.endswith(("left", "right"))
            else name
        )
        for name in JOINTS
    ]
    body = BODIES[5]
    for phase in (0.1, 0.55):
        targets = pose_targets(pose, phase, speed_ft_s=usual_speed_ft_s(pose), leg_ft=body.leg_ft)
        straight = joints(pose_body(body, targets))
        mirrored = joints(pose_body(body, targets.mirrored()))
        # The baked people are symmetric to a few millimetres.
        np.testing.assert_allclose(mirrored[swap] * [1, -1, 1], straight, atol=0.03)
        np.testing.assert_array_equal(targets.mirrored().mirrored().values, targets.values)


def test_left_and_right_dribble_are_mirror_images():
    left = pose_targets("dribble_left", 0.3)
    right = pose_targets("dribble_right", 0.3)
    np.testing.assert_allclose(left.mirrored().values, right.values)


def test_blend_ends_and_middle():
    first, second = pose_targets("stand"), pose_targets("stance")
    assert blend(first, second, 0.0) is first
    assert blend(first, second, 1.0) is second
    middle = blend(first, second, 0.5)
    np.testing.assert_allclose(middle.values, (first.values + second.values) / 2)
    np.testing.assert_allclose(blend(second, first, 0.25).values, blend(first, second, 0.75).values)


def test_a_one_shot_pose_is_left_from_its_end():
    leaving = pose_actor(BODIES[0], State("chest_pass", 0.0, blend_from="catch", blend=0.01))
    ended = pose_actor(BODIES[0], State("catch", 1.0))
    np.testing.assert_allclose(leaving.bone_positions_ft, ended.bone_positions_ft, atol=0.05)


def test_people_differ_in_manner_but_keep_their_own():
    first, again, other = (pose_actor(BODIES[0], State("stance", actor=actor)) for actor in (1, 1, 2))
    np.testing.assert_array_equal(first.vertices_ft, again.vertices_ft)
    assert np.abs(first.bone_positions_ft - other.bone_positions_ft).max() > 0.05
    for actor in range(12):
        for pose in ("stance", "deny", "screen", "sit", "hands_on_hips"):
            posed = pose_actor(BODIES[actor], State(pose, actor=actor))
            assert abs(shoe_bottom(posed)) < 0.04


def test_blend_from_is_followed():
    ends = [pose_actor(BODIES[0], State(pose)).bone_positions_ft for pose in ("stand", "stance")]
    half = pose_actor(BODIES[0], State("stance", blend_from="stand", blend=0.5)).bone_positions_ft
    head = BONE["head"]
    assert ends[1][head, 2] < half[head, 2] < ends[0][head, 2]
    at_end = pose_actor(BODIES[0], State("stance", blend_from="stand", blend=1.0)).bone_positions_ft
    np.testing.assert_array_equal(at_end, ends[1])


@pytest.mark.parametrize("pose", ["walk", "jog", "run", "backpedal", "slide", "drive", "dribble_right"])
@pytest.mark.parametrize("body", [BODIES[0], BODIES[11], BODIES[12]], ids=lambda body: body.name)
def test_standing_feet_do_not_slide(pose, body):
    speed = usual_speed_ft_s(pose) or 8.0
    way = direction_of(pose)
    steps = 120
    stride = stride_ft(speed)
    states = [
        State(pose, k / steps, position_ft=way * stride * k / steps, speed_ft_s=speed, velocity_ft_s=way * speed)
        for k in range(steps)
    ]
    values = np.stack([actor_targets(body, state).values for state in states])
    bones = solve([body] * steps, values)
    frame = frame_of(body)
    for row, side in enumerate(("left", "right")):
        foot = BONE[f"foot_{side}"]
        at, turn = bones.positions_ft[:, foot], bones.rotations[:, foot]
        at = at + np.stack([np.append(state.position_ft, 0.0) for state in states])
        spots = np.stack([at + turn @ frame.heel[row], at + turn @ frame.ball_of_foot[row]], axis=1)
        on_floor = spots[..., 2] < 0.004
        planted = on_floor[:-1] & on_floor[1:]
        moved = np.linalg.norm(np.diff(spots[..., :2], axis=0), axis=-1)
        assert planted.any(axis=1).mean() > 0.2
        # A foot that lands slides less than a tenth of the way that the body goes meanwhile.
        assert moved[planted].mean() < 0.1 * stride / steps


@pytest.mark.parametrize("pose", sorted(SIDEWAYS_POSES & MOVING_POSES))
def test_sliding_feet_do_not_cross(pose):
    for phase in np.linspace(0, 1, 17):
        way = np.array([0.0, 1.0])
        posed = pose_actor(BODIES[7], State(pose, phase, speed_ft_s=7.0, velocity_ft_s=way * 7.0))
        at = posed.bone_positions_ft
        assert at[BONE["foot_left"], 1] > at[BONE["foot_right"], 1] + 0.15


@pytest.mark.parametrize("body", SOME, ids=lambda body: body.name)
@pytest.mark.parametrize(
    ("pose", "phase"), [("catch", 0.9), ("chest_pass", 0.1), ("overhead_pass", 0.3), ("rebound", 0.9), ("rebound", 0.5)]
)
def test_two_hands_touch_the_held_ball(body, pose, phase):
    posed = pose_actor(body, State(pose, phase))
    distance = np.linalg.norm(hand_points(posed) - posed.ball_ft, axis=1)
    assert (distance > BALL_RADIUS_FT - 0.12).all()
    assert (distance < BALL_RADIUS_FT + 0.2).all()


def test_hands_go_to_a_given_ball():
    for body in SOME:
        for pose in ("catch", "stand", "jump_shot", "walk"):
            state = State(pose, 0.2, position_ft=np.array([30.0, 20.0]), facing_rad=2.0)
            ball = np.array([30 + 1.1 * np.cos(2.0), 20 + 1.1 * np.sin(2.0), 3.9])
            posed = pose_actor(body, state, ball)
            np.testing.assert_allclose(posed.ball_ft, ball, atol=1e-9)
            assert (np.linalg.norm(hand_points(posed) - ball, axis=1) < BALL_RADIUS_FT + 0.3).all(), (body.name, pose)


@pytest.mark.parametrize("pose", ["run", "stance", "post_up", "walk"])
def test_who_has_the_ball_in_an_empty_handed_pose_holds_it_before_the_chest(pose):
    posed = pose_actor(BODIES[8], moving(pose, 0.4), np.full(3, np.nan))
    assert posed.ball_ft[0] > 0.4
    assert 2.0 < posed.ball_ft[2] < 5.5
    assert (np.linalg.norm(hand_points(posed) - posed.ball_ft, axis=1) < BALL_RADIUS_FT + 0.2).all()


def test_a_dribbling_hand_rides_on_a_high_ball_and_lets_a_low_one_go():
    body = BODIES[4]
    state = State("dribble_right", 0.2)
    high = pose_actor(body, state, np.array([0.85, -0.95, 2.7]))
    low = pose_actor(body, state, np.array([0.85, -0.95, 0.5]))
    assert np.linalg.norm(hand_points(high)[1] - high.ball_ft) < BALL_RADIUS_FT + 0.25
    assert hand_points(low)[1][2] > 1.5


def test_a_dribble_goes_from_hand_to_floor_and_back():
    heights = [pose_actor(BODIES[2], State("dribble_left", p)).ball_ft[2] for p in np.linspace(0, 1, 41)]
    assert min(heights) == pytest.approx(BALL_RADIUS_FT, abs=0.02)
    assert heights[0] > 1.5
    assert heights[0] == pytest.approx(heights[-1])


def test_ball_is_unknown_without_hands_on_it():
    assert np.isnan(pose_actor(BODIES[0], State("stand")).ball_ft).all()


def test_place_is_a_rigid_motion():
    posed = pose_body(BODIES[1], pose_targets("stance"))
    placed = place(posed, np.array([40.0, 12.0]), 1.3, 0.5)
    forward = np.array([np.cos(1.3), np.sin(1.3), 0])
    nose = JOINTS.index("nose")
    ahead = joints(placed)[nose] - joints(placed)[JOINTS.index("neck")]
    assert ahead @ forward > 0
    assert shoe_bottom(placed) == pytest.approx(0.5 + shoe_bottom(posed), abs=1e-4)
    before = np.linalg.norm(np.diff(posed.vertices_ft, axis=0), axis=1)
    after = np.linalg.norm(np.diff(placed.vertices_ft, axis=0), axis=1)
    np.testing.assert_allclose(before, after, atol=2e-4)


def test_jumpers_point_their_toes_and_hang_above_the_floor():
    for pose, phase in (("jump_shot", 0.62), ("rebound", 0.45), ("contest", 0.5), ("stand", 0.0)):
        posed = pose_actor(BODIES[6], State(pose, phase, height_off_floor_ft=1.5))
        assert shoe_bottom(posed) == pytest.approx(1.5, abs=0.08)
        toe, heel = (joints(posed)[JOINTS.index(f"{name}_left")] for name in ("toe", "heel"))
        assert heel[2] > toe[2] + 0.15


def test_many_at_once_equal_one_by_one():
    states = [State(pose, 0.3, position_ft=np.array([k, 2.0 * k]), facing_rad=k) for k, pose in enumerate(POSES)]
    bodies = [BODIES[k % len(BODIES)] for k in range(len(states))]
    together = pose_actors(bodies, states)
    for body, state, posed in zip(bodies, states, together, strict=True):
        np.testing.assert_allclose(pose_actor(body, state).vertices_ft, posed.vertices_ft, atol=1e-4)
        assert posed.body is body
    assert pose_actors([], []) == ()


def test_wrong_input_is_refused_in_a_sentence():
    with pytest.raises(SettingsError, match="moonwalk"):
        pose_targets("moonwalk")
    with pytest.raises(SettingsError, match="third_hand"):
        pose_targets("stand").with_targets(third_hand=1.0)
    with pytest.raises(ShapeError, match="1 bodies for 2 actors"):
        pose_actors([BODIES[0]], [State("stand"), State("walk")])
    with pytest.raises(ShapeError):
        PoseTargets(np.zeros(3))


def test_parents_come_first():
    assert PARENTS[0] == -1
    assert (PARENTS[1:] < np.arange(1, len(BONES))).all()


def test_importing_needs_no_heavy_library():
    code = (
        "import sys, pipeline.sim.bodies as b; b.load_bodies();"
        "print([m for m in ('torch', 'cv2', 'pyarrow', 'av', 'anny', 'moderngl') if m in sys.modules])"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"
