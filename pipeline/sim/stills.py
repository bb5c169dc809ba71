"""Training stills: random moments, looks and cameras to pictures, boxes and area maps on disk.

    python -m pipeline.sim.stills OUT --count 4000 --seed 1 --workers 8

writes ``OUT/images/*.jpg``, ``OUT/labels/*.txt`` (YOLO: class, centre x, y, width, height, relative),
``OUT/masks/*.png`` (ids of the court areas), ``OUT/classes.txt``, and ``OUT/stills.jsonl`` (look, rule book, venue and
camera of each picture). The same seed gives the same pictures on one machine whatever the number of workers.

Imports numpy, OpenCV, scipy and moderngl only, so that a machine that renders needs nothing else.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from pipeline.court.camera import Camera, Lens
from pipeline.court.rule_books import RuleBook
from pipeline.sim.looks import Look, Venue, make_look
from pipeline.sim.plays.moments import moment_at, random_possession
from pipeline.sim.plays.possession import Possession
from pipeline.sim.render.labels import CLASS_NAMES, FrameLabels, LabelledBox
from pipeline.sim.render.renderer import FilmRenderer, PictureQuality
from pipeline.sim.scene import ActorState, BallState, SceneFrame, ScoreBug, ViewKind
from pipeline.sim.situations import random_situation

STILLS_PER_LOOK = 12
LOOKS_PER_SEED = 100_003
"""Odd, so that many short runs with seeds in a row hold all rule books equally, as one long run does."""
LEAST_VISIBLE = {"player": 0.25, "official": 0.25, "ball": 0.25, "ring": 0.3}
LEAST_HEIGHT_PX = {"player": 8.0, "official": 8.0, "ball": 3.0, "ring": 8.0}
LEAST_INSIDE = {"player": 0.12, "official": 0.12, "ball": 0.6, "ring": 0.35}
"""Share of the whole box that must lie inside the picture."""


@dataclass(frozen=True, slots=True)
class Still:
    """One picture on disk and how it came about."""

    name: str
    look_seed: int
    rule_book: str
    venue: str
    view: str
    centre_ft: tuple[float, float, float]
    pan_deg: float
    tilt_deg: float
    roll_deg: float
    focal_px: float
    k1: float
    boxes: int


def _aimed(
    centre: np.ndarray,
    target: np.ndarray,
    lift_deg: float,
    roll_deg: float,
    focal_px: float,
    k1: float,
    size_px: tuple[int, int],
) -> Camera:
    delta = target - centre
    pan = float(np.rad2deg(np.arctan2(delta[0], delta[1])))
    tilt = float(np.rad2deg(np.arctan2(delta[2], np.hypot(delta[0], delta[1]))))
    lens = Lens(k1, np.array([(size_px[0] - 1) / 2, (size_px[1] - 1) / 2]), float(size_px[0]))
    return Camera(centre, pan, tilt + lift_deg, roll_deg, focal_px, lens, size_px)


@dataclass(frozen=True, slots=True)
class Stand:
    """Where the camera of one look stands; it hardly moves within a game. `span_ft` is how much of the court's length
    fills the picture's width at the court's middle."""

    centre_ft: np.ndarray
    roll_deg: float
    span_ft: float
    aim_y_ft: float
    k1: float


def camera_stand(rng: np.random.Generator, look: Look, book: RuleBook) -> Stand:
    """Draw where the main camera of a look stands: high and far in arenas, near and low in gyms.

    Ranges are wider than those fitted to real films: 27 to 140 ft from the near sideline, 7 to 26 degrees above the
    court's middle, 45 to 58 ft of the court in the picture's width.
    """
    gym = look.arena.venue is Venue.GYM
    if gym:
        distance = float(rng.uniform(20, 62))
        elevation = float(rng.uniform(6, 24))
        across = float(np.clip(rng.normal(0, 13), -36, 36))
        roll = float(rng.normal(0, 1.1))
    else:
        distance = float(rng.triangular(24, 55, 120))
        elevation = float(rng.uniform(8.5, 26))
        across = float(rng.normal(0, 4.5))
        roll = float(rng.normal(0, 0.6))
    height = (distance + book.width_ft / 2) * np.tan(np.deg2rad(elevation))
    height = float(np.clip(height, 8.0, 26.0 if gym else 60.0))
    centre = np.array([book.length_ft / 2 + across, -distance, height])
    k1 = float(np.clip(look.picture.lens_k1 + rng.normal(0, 0.01), -0.12, 0.3))
    return Stand(centre, roll, float(rng.uniform(43, 66)), float(rng.uniform(28, 54)), k1)


def aim_camera(
    rng: np.random.Generator, stand: Stand, book: RuleBook, focus_ft: np.ndarray, size_px: tuple[int, int]
) -> Camera:
    """Point the camera at the play as an operator would, late, early, wide or tight."""
    span = stand.span_ft * float(rng.uniform(0.86, 1.14))
    draw = rng.random()
    if draw < 0.06:
        span = float(rng.uniform(26, 38))
    elif draw < 0.16:
        span = float(rng.uniform(66, 95))
    target = np.array([focus_ft[0] + rng.normal(0, 4), stand.aim_y_ft + rng.normal(0, 3), 0.0])
    if rng.random() < 0.06:
        target[0] = rng.uniform(0, book.length_ft)
    middle = np.array([target[0], book.width_ft / 2, 0.0])
    focal = size_px[0] * float(np.linalg.norm(middle - stand.centre_ft)) / span
    return _aimed(stand.centre_ft, target, 0.0, stand.roll_deg + float(rng.normal(0, 0.15)), focal, stand.k1, size_px)


def _close_up(rng: np.random.Generator, stand: Stand, frame: SceneFrame, size_px: tuple[int, int]) -> Camera:
    who = frame.actors[int(rng.integers(len(frame.actors)))]
    target = np.array([*who.position_ft, rng.uniform(3.8, 5.6)])
    centre = (
        stand.centre_ft
        if rng.random() < 0.5
        else np.array([rng.uniform(0, 90), -rng.uniform(4, 14), rng.uniform(3, 7)])
    )
    distance = float(np.linalg.norm(target - centre))
    span = rng.uniform(3.0, 8.0)  # feet of body height in the picture
    return _aimed(centre, target, 0.0, 0.0, float(size_px[1] * distance / span), stand.k1, size_px)


def _played(rng: np.random.Generator, possession: Possession) -> tuple[tuple[ActorState, ...], BallState, np.ndarray]:
    """Actors, ball and the operator's target at a random time of a possession."""
    moment = moment_at(possession, float(rng.uniform(0.3, max(possession.seconds - 0.1, 0.31))))
    numbers = np.random.default_rng([int(possession.seconds * 1000), 91]).integers(0, 56, 10)
    actors = tuple(
        replace(actor, number=str(numbers[actor.actor])) if actor.role == "player" else actor for actor in moment.actors
    )
    middle = np.mean([actor.position_ft for actor in actors if actor.role == "player"], axis=0)
    return actors, moment.ball, 0.5 * middle + 0.5 * moment.ball_ft[:2]


def random_frame(
    rng: np.random.Generator,
    look: Look,
    book: RuleBook,
    stand: Stand,
    possession: Possession,
    size_px: tuple[int, int],
    index: int,
) -> SceneFrame:
    """Draw one moment with camera, exposure and graphics; about one in twelve is no court view.

    Four in ten moments are taken from `possession`, the others are drawn as `situations` has them.
    """
    actors, ball, focus = random_situation(rng, book) if rng.random() < 0.6 else _played(rng, possession)
    camera = aim_camera(rng, stand, book, focus, size_px)
    view: ViewKind = "court"
    draw = rng.random()
    if draw < 0.045:
        view = "close_up"
    elif draw < 0.065:
        view = "crowd"
    elif draw < 0.075:
        view = "graphic"
    gym = look.arena.venue is Venue.GYM
    bug = None
    if rng.random() < (0.25 if gym else 0.85):
        shot = None if rng.random() < 0.2 else float(rng.uniform(0, 24))
        bug = ScoreBug(
            int(rng.integers(1, 6)),
            float(rng.uniform(0, 720)),
            shot,
            int(rng.integers(0, 120)),
            int(rng.integers(0, 120)),
        )
    after = None
    if rng.random() < 0.35:
        shift = rng.normal(0, 0.12)
        after = Camera(
            camera.centre_ft,
            camera.pan_deg + shift,
            camera.tilt_deg + rng.normal(0, 0.02),
            camera.roll_deg,
            camera.focal_px,
            camera.lens,
            size_px,
        )
    frame = SceneFrame(
        t_s=float(rng.uniform(0, 500)),
        index=index,
        actors=actors,
        ball=ball,
        camera=camera,
        view=view,
        score_bug=bug,
        exposure=float(np.clip(rng.normal(1.0, 0.1), 0.7, 1.35)),
        shutter_s=float(rng.choice([1 / 50, 1 / 100, 1 / 250, 1 / 500])),
        camera_after=after,
        shot=index,
    )
    if view == "close_up":
        return replace(frame, camera=_close_up(rng, stand, frame, size_px), camera_after=None)
    return frame


def ball_leather(rng: np.random.Generator) -> tuple[tuple[float, float, float], tuple[float, float, float]]:
    """Two colours of a ball (RGB, 0…1): orange to dark brown, one colour or two; wider than films have it."""
    light = float(rng.uniform(0.5, 1.12))
    redness = float(rng.uniform(0.8, 1.2))
    first = (min(0.80 * light * redness**0.3, 1.0), 0.38 * light / redness, 0.16 * light * float(rng.uniform(0.5, 1.5)))
    draw = rng.random()
    if draw < 0.6:
        return first, first
    if draw < 0.9:
        return first, (0.88 * light**0.3, 0.66 * light**0.3, 0.4 * light**0.3)
    return first, (0.45 * light, 0.2 * light, 0.1 * light)


def _covered(box_px: tuple[float, float, float, float], graphic_px: tuple[int, int, int, int] | None) -> float:
    """Share of a box that the score graphic covers."""
    if graphic_px is None:
        return 0.0
    width = min(box_px[2], graphic_px[2]) - max(box_px[0], graphic_px[0])
    height = min(box_px[3], graphic_px[3]) - max(box_px[1], graphic_px[1])
    area = (box_px[2] - box_px[0]) * (box_px[3] - box_px[1])
    return max(width, 0.0) * max(height, 0.0) / max(area, 1e-9)


def kept_boxes(labels: FrameLabels) -> list[LabelledBox]:
    """Boxes that a detector can be asked to find: enough of it visible, large enough, mostly inside the picture."""
    kept = []
    for box in labels.boxes:
        x1, y1, x2, y2 = box.box_px
        wx1, wy1, wx2, wy2 = box.whole_px
        inside = (x2 - x1) * (y2 - y1) / max((wx2 - wx1) * (wy2 - wy1), 1e-9)
        shown = 1.0 - _covered(box.box_px, labels.graphic_px)
        if (
            box.visible * shown >= LEAST_VISIBLE[box.name]
            and y2 - y1 >= LEAST_HEIGHT_PX[box.name]
            and inside >= LEAST_INSIDE[box.name]
        ):
            kept.append(box)
    return kept


def yolo_lines(boxes: list[LabelledBox], size_px: tuple[int, int]) -> str:
    """Label file text. Box edges are pixel centres' coordinates; the file counts from the picture's outer edge."""
    width, height = size_px
    lines = []
    for box in boxes:
        x1, y1, x2, y2 = (value + 0.5 for value in box.box_px)
        numbers = ((x1 + x2) / 2 / width, (y1 + y2) / 2 / height, (x2 - x1) / width, (y2 - y1) / height)
        lines.append(f"{CLASS_NAMES.index(box.name)} " + " ".join(f"{number:.6f}" for number in numbers))
    return "\n".join(lines) + ("\n" if lines else "")


def stills_of_look(
    look_seed: int, count: int, size_px: tuple[int, int], quality: PictureQuality, device_index: int | None = None
) -> Iterator[tuple[np.ndarray, FrameLabels, SceneFrame, Look]]:
    """Draw `count` moments in one look, seen by its one camera."""
    look = make_look(look_seed)
    renderer = FilmRenderer(look, size_px, quality, device_index=device_index)
    rng = np.random.default_rng([look_seed, 71])
    renderer.leather = ball_leather(np.random.default_rng([look_seed, 72]))
    stand = camera_stand(rng, look, renderer.book)
    possession = random_possession(rng, renderer.book)
    for index in range(count):
        frame = random_frame(rng, look, renderer.book, stand, possession, size_px, index)
        yield renderer.draw(frame), renderer.labels(frame), frame, look


def _write(out: Path, name: str, picture: np.ndarray, labels: FrameLabels, frame: SceneFrame, look: Look) -> Still:
    boxes = [] if frame.view in ("crowd", "graphic") else kept_boxes(labels)
    quality = int(np.random.default_rng([look.seed, frame.index, 81]).integers(82, 97))
    cv2.imwrite(str(out / "images" / f"{name}.jpg"), picture, [cv2.IMWRITE_JPEG_QUALITY, quality])
    cv2.imwrite(str(out / "masks" / f"{name}.png"), labels.areas, [cv2.IMWRITE_PNG_COMPRESSION, 2])
    (out / "labels" / f"{name}.txt").write_text(yolo_lines(boxes, frame.camera.size_px))
    camera = frame.camera
    x, y, z = (round(float(v), 4) for v in camera.centre_ft)
    return Still(
        name,
        look.seed,
        look.rule_book,
        look.arena.venue.value,
        frame.view,
        (x, y, z),
        camera.pan_deg,
        camera.tilt_deg,
        camera.roll_deg,
        camera.focal_px,
        camera.lens.k1,
        len(boxes),
    )


def _one_look(task: tuple[str, int, int, tuple[int, int], PictureQuality, int | None]) -> list[Still]:
    folder, look_seed, count, size_px, quality, device_index = task
    cv2.setNumThreads(1)
    out = Path(folder)
    found = []
    for index, (picture, labels, frame, look) in enumerate(
        stills_of_look(look_seed, count, size_px, quality, device_index)
    ):
        found.append(_write(out, f"{look_seed:07d}_{index:02d}", picture, labels, frame, look))
    return found


def render_stills(
    out: Path,
    count: int,
    seed: int,
    size_px: tuple[int, int] = (1280, 720),
    *,
    workers: int = 1,
    stills_per_look: int = STILLS_PER_LOOK,
    quality: PictureQuality | None = None,
    device_index: int | None = None,
) -> list[Still]:
    """Render a training set.

    Parameters
    ----------
    out : Path
        Folder to write into; made if missing.
    count : int
        Pictures.
    seed : int
        Non-negative; looks are seeded ``seed * LOOKS_PER_SEED + n``.
    size_px : tuple of int
    workers : int
        Processes.
    stills_per_look : int
        Pictures that share floor, kits and camera place.
    quality : PictureQuality, optional
    device_index : int, optional
        EGL device of all workers.

    Returns
    -------
    list of Still
        In order of names.
    """
    for name in ("images", "labels", "masks"):
        (out / name).mkdir(parents=True, exist_ok=True)
    (out / "classes.txt").write_text("\n".join(CLASS_NAMES) + "\n")
    tasks = []
    for number, start in enumerate(range(0, count, stills_per_look)):
        share = min(stills_per_look, count - start)
        tasks.append(
            (str(out), seed * LOOKS_PER_SEED + number, share, size_px, quality or PictureQuality(), device_index)
        )
    found: list[Still] = []
    if workers <= 1:
        for task in tasks:
            found += _one_look(task)
    else:
        os.environ.setdefault("OMP_NUM_THREADS", "1")
        os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
        with multiprocessing.get_context("spawn").Pool(workers) as pool:
            for stills in pool.imap_unordered(_one_look, tasks):
                found += stills
    found.sort(key=lambda still: still.name)
    rows: list[dict[str, Any]] = [asdict(still) for still in found]
    (out / "stills.jsonl").write_text("".join(json.dumps(row) + "\n" for row in rows))
    return found


def main(arguments: list[str] | None = None) -> None:
    """Command line of `python -m pipeline.sim.stills`."""
    parser = argparse.ArgumentParser(
        prog="python -m pipeline.sim.stills", description="Render training stills with labels."
    )
    parser.add_argument("out", type=Path, help="folder to write into")
    parser.add_argument("--count", type=int, default=100, help="pictures")
    parser.add_argument("--seed", type=int, default=1, help="non-negative; another seed gives other looks")
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1, help="processes")
    parser.add_argument("--width", type=int, default=1280, help="picture width in pixels; the height follows 16:9")
    parser.add_argument(
        "--supersample", type=float, default=PictureQuality().supersample, help="rendered over final resolution"
    )
    parser.add_argument("--samples", type=int, default=0, help="multisampling, 0 or 4")
    parser.add_argument("--device", type=int, default=None, help="EGL device index on a machine with several")
    given = parser.parse_args(arguments)
    size = (given.width, given.width * 9 // 16)
    quality = PictureQuality(supersample=given.supersample, samples=given.samples)
    render_stills(
        given.out, given.count, given.seed, size, workers=given.workers, quality=quality, device_index=given.device
    )


if __name__ == "__main__":
    main()
