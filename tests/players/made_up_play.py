"""A made-up stretch of play seen by a panning camera: ten players, two officials, boxes with errors."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from pipeline.court.camera import Camera, Lens, camera_to_row, straight_lens
from pipeline.court.tables import CAMERAS
from pipeline.film.tables import SHOTS
from pipeline.players.tables import BOXES

SIZE = (1280, 720)
KITS = np.array([[85, 0, 3, 80, 0, 0], [35, 45, 25, 30, 40, 20], [55, 0, 0, 15, 0, 0]], dtype=float)


@dataclass(frozen=True)
class Play:
    boxes: pa.Table
    cameras: pa.Table
    shots: pa.Table
    times_s: np.ndarray
    places_ft: np.ndarray  # (F, 12, 2); 0-4 team 0, 5-9 team 1, 10-11 officials
    holder: np.ndarray  # (F,) actor, -1 in flight


def camera_at(moment: float, k1: float = 0.05) -> Camera:
    lens = Lens(k1, straight_lens(SIZE).centre_px, SIZE[0])
    return Camera(np.array([47.0, -60.0, 32.0]), -20 + 12 * np.sin(moment / 3), -18.0, 0.5, 1150.0, lens, SIZE)


def make_play(
    seed: int, seconds: float = 8.0, rate: float = 12.5, loss: float = 0.05, jitter: float = 0.02, false: float = 0.2
) -> Play:
    rng = np.random.default_rng(seed)
    times = np.arange(int(seconds * rate)) / rate
    places = np.zeros((len(times), 12, 2))
    place = np.column_stack([rng.uniform(5, 45, 12), rng.uniform(5, 45, 12)])
    place[10:, 1] = [1.0, 49.0]
    velocity = rng.normal(0, 4, (12, 2))
    for k in range(len(times)):
        places[k] = place
        pull = np.column_stack([25 - place[:, 0], 25 - place[:, 1]]) * 0.3
        push = place[:, None] - place[None]
        apart = np.maximum(np.linalg.norm(push, axis=2), 0.5)
        pull += np.sum(push / apart[..., None] * np.where(apart < 4, 12 * (4 - apart), 0)[..., None], axis=1)
        velocity += (pull - 0.7 * velocity) / rate + rng.normal(0, 8, (12, 2)) / np.sqrt(rate)
        velocity[10:, 1] = 0
        place = place + velocity / rate
        place[:10] = np.clip(place[:10], 1, 49)
    rows, camera_rows = [], []
    heights = rng.normal(6.4, 0.2, 12)
    lost = np.zeros(12)
    holder = np.full(len(times), -1)
    for k, t in enumerate(times):
        camera = camera_at(t)
        camera_rows.append(
            camera_to_row(camera, frame=3 * k, t_s=float(t), shot=1, rule_book="nba", residual_ft=0.2, quality=0.9)
        )
        away = places[k] - camera.centre_ft[:2]
        soles = places[k] - 0.65 * away / np.linalg.norm(away, axis=1, keepdims=True)
        feet = camera.project_floor(soles)
        heads = camera.project(np.column_stack([places[k], heights]))
        for actor in range(12):
            if lost[actor] > 0:
                lost[actor] -= 1
                continue
            if rng.random() < loss:
                lost[actor] = rng.integers(1, 6)
                continue
            tall = feet[actor, 1] - heads[actor, 1]
            box = np.array([feet[actor, 0] - 0.2 * tall, heads[actor, 1], feet[actor, 0] + 0.2 * tall, feet[actor, 1]])
            box += rng.normal(0, jitter, 4) * tall * [0.4, 1, 0.4, 1]
            if box[0] > SIZE[0] or box[2] < 0 or not np.isfinite(box).all():
                continue
            kind = 2 if actor >= 10 else actor // 5
            kit = (KITS[kind] + rng.normal(0, 4, 6)).astype(np.float32)
            rows.append(_row(3 * k, t, "official" if actor >= 10 else "player", box, rng.uniform(0.6, 0.95), kit))
        for _ in range(rng.poisson(false)):
            corner = rng.uniform(0, 1, 2) * [1200, 550]
            kit = rng.uniform(0, 90, 6).astype(np.float32)
            box = np.hstack([corner, corner + np.array([50, 140])])
            rows.append(_row(3 * k, t, "player", box, rng.uniform(0.3, 0.6), kit))
        ball, holder[k] = _ball(k / rate, places[k])
        size = 0.39 * camera.focal_px / np.linalg.norm(ball - camera.centre_ft)
        middle = camera.project(ball[None])[0] + rng.normal(0, 1.5, 2)
        if rng.random() < 0.8:
            rows.append(_row(3 * k, t, "ball", np.hstack([middle - size, middle + size]), rng.uniform(0.3, 0.9), None))
        if rng.random() < 0.1:
            corner = rng.uniform(0, 1, 2) * [1200, 550]
            rows.append(_row(3 * k, t, "ball", np.hstack([corner, corner + 14]), rng.uniform(0.1, 0.5), None))
    shots = SHOTS.from_rows(
        [
            {
                "shot": 1,
                "start_s": 0.0,
                "end_s": float(times[-1] + 1 / rate),
                "start_frame": 0,
                "end_frame": 3 * len(times),
                "view": "main",
                "live": True,
                "transition_in": "start",
                "score": 1.0,
                "reason": "made up",
            }
        ]
    )
    return Play(BOXES.from_rows(rows), CAMERAS.from_rows(camera_rows), shots, times, places, holder)


HELD_S, FLIGHT_S = 2.0, 0.7


def _ball(t: float, places: np.ndarray) -> tuple[np.ndarray, int]:
    """Players 0 to 4 hold the ball for two seconds each in turn, dribbling, and pass it on."""
    turn, since = divmod(t, HELD_S + FLIGHT_S)
    here, then = int(turn) % 5, (int(turn) + 1) % 5
    side = np.array([1.0, -0.5])
    if since < HELD_S:
        return np.array([*(places[here] + side), 2.0 + 1.5 * abs(np.sin(5 * since))]), here
    share = (since - HELD_S) / FLIGHT_S
    floor = places[here] + side + share * (places[then] - places[here])
    return np.array([*floor, 5.0 + 4 * share * (1 - share)]), -1


def _row(frame: int, t_s: float, kind: str, box: np.ndarray, score: float, kit: np.ndarray | None) -> dict:
    return {
        "frame": frame,
        "t_s": float(t_s),
        "shot": 1,
        "class": kind,
        "x1_px": box[0],
        "y1_px": box[1],
        "x2_px": box[2],
        "y2_px": box[3],
        "score": score,
        "kit_lab": None if kit is None else kit.tolist(),
    }
