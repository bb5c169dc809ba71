"""Where training pictures and their boxes go: random framings, cover, and painted balls.

Pure functions of arrays and a random generator. Geometry comes as 3×3 matrices so that boxes and masks move with the
picture. What happens to colours and sharpness is in `disturb`.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from pipeline.players.tables import BOX_CLASSES
from pipeline.training.packs import HIDDEN_BALL, NOTHING

MIN_SHARE_INSIDE = 0.3
"""A box less than this much inside the framed picture is not asked for."""

LEAST_SIDE_PX = 2.0
BALL, OFFICIAL = BOX_CLASSES.index("ball"), BOX_CLASSES.index("official")


@dataclass(frozen=True, slots=True)
class Framing:
    """How far the picture may be moved: the limits of one random framing."""

    min_zoom: float = 0.7
    max_zoom: float = 1.7
    max_turn_deg: float = 4.0
    max_shear: float = 0.04
    mirror_share: float = 0.5
    on_ball_share: float = 0.0
    """Share of the pictures with a ball that are zoomed in (up to twice) with the ball well inside."""


def fitted(size_px: tuple[int, int], input_px: tuple[int, int]) -> np.ndarray:
    """Matrix that fits a picture into the network's input, centred, whole and undistorted."""
    (width, height), (in_w, in_h) = size_px, input_px
    scale = min(in_w / width, in_h / height)
    # Pixel centres are at integers: the picture's corner is at -0.5.
    dx, dy = (in_w - width * scale) / 2, (in_h - height * scale) / 2
    shift = 0.5 * scale - 0.5
    return np.array([[scale, 0, dx + shift], [0, scale, dy + shift], [0, 0, 1.0]])


def framed(
    size_px: tuple[int, int],
    input_px: tuple[int, int],
    balls_px: np.ndarray,
    rng: np.random.Generator,
    limits: Framing,
) -> np.ndarray:
    """Matrices of random framings: mirrored or not, zoomed about a random point, slightly turned and sheared.

    Parameters
    ----------
    balls_px : ndarray of shape (N, 2)
        Where the ball of each picture is; NaN without one.

    Returns
    -------
    ndarray of shape (N, 3, 3)
        From pixels of the picture to pixels of the input.
    """
    count = len(balls_px)
    in_w, in_h = input_px
    base = np.broadcast_to(fitted(size_px, input_px), (count, 3, 3)).copy()
    mirrored = rng.random(count) < limits.mirror_share
    base[mirrored] = np.array([[-1, 0, in_w - 1.0], [0, 1, 0], [0, 0, 1]]) @ base[mirrored]
    balls = np.einsum("nij,nj->ni", base[:, :2, :2], balls_px) + base[:, :2, 2]
    on_ball = (rng.random(count) < limits.on_ball_share) & np.isfinite(balls).all(axis=1)
    log_zoom = rng.uniform(np.log(limits.min_zoom), np.log(limits.max_zoom), count)
    zoom = np.exp(np.where(on_ball, rng.uniform(0, np.log(2.0), count), log_zoom))
    turn = np.deg2rad(rng.normal(0, limits.max_turn_deg / 2, count))
    stretch = np.exp(rng.uniform(-0.08, 0.08, count))
    cos, sin = np.cos(turn) * zoom, np.sin(turn) * zoom
    linear = np.stack([cos * stretch, -sin, sin, cos / stretch], axis=1).reshape(count, 2, 2)
    shear = np.broadcast_to(np.eye(2), (count, 2, 2)).copy()
    shear[:, 0, 1], shear[:, 1, 0] = rng.uniform(-limits.max_shear, limits.max_shear, (2, count))
    linear = linear @ shear
    middle, size = np.array([in_w / 2, in_h / 2]), np.array([in_w, in_h])
    fixed = np.where(on_ball[:, None], balls, middle)
    slack = np.abs(zoom - 1)[:, None] / 2
    goal = middle + rng.uniform(-1, 1, (count, 2)) * np.where(on_ball[:, None], 0.32, slack) * size
    move = np.zeros((count, 3, 3))
    move[:, :2, :2], move[:, 2, 2] = linear, 1
    move[:, :2, 2] = goal - np.einsum("nij,nj->ni", linear, fixed)
    return move @ base


def moved_boxes(
    boxes_px: np.ndarray, classes: np.ndarray, matrices: np.ndarray, input_px: tuple[int, int]
) -> tuple[np.ndarray, np.ndarray]:
    """Move boxes with their pictures.

    Parameters
    ----------
    boxes_px : ndarray of shape (N, K, 4), x1, y1, x2, y2
    classes : ndarray of int, shape (N, K)
    matrices : ndarray of shape (N, 3, 3)

    Returns
    -------
    boxes_px : ndarray of shape (N, K, 4), cut at the input's edge
    classes : ndarray of shape (N, K); `NOTHING` for boxes that are now mostly outside or too small
    """
    x1, y1, x2, y2 = np.moveaxis(boxes_px.astype(float), 2, 0)
    # The middles of the four sides: a turned box drawn round its corners would grow.
    across, down = (x1 + x2) / 2, (y1 + y2) / 2
    points = np.stack(
        [np.stack([x1, down], 2), np.stack([x2, down], 2), np.stack([across, y1], 2), np.stack([across, y2], 2)], axis=2
    )
    points = np.einsum("nij,nkpj->nkpi", matrices[:, :2, :2], points) + matrices[:, None, None, :2, 2]
    low, high = points.min(axis=2), points.max(axis=2)
    low_in, high_in = (np.clip(p, -0.5, np.array(input_px) - 0.5) for p in (low, high))
    share = np.prod(high_in - low_in, axis=2) / np.maximum(np.prod(high - low, axis=2), 1e-6)
    gone = (share < MIN_SHARE_INSIDE) | ((high_in - low_in).min(axis=2) < LEAST_SIDE_PX)
    return np.concatenate([low_in, high_in], axis=2), np.where(gone, NOTHING, classes)


def covers(
    boxes_px: np.ndarray, classes: np.ndarray, rng: np.random.Generator, share: float
) -> tuple[list[tuple[int, int, int, int, int]], np.ndarray]:
    """Rectangles over parts of bodies, as people courtside and nearer players hide them.

    Parameters
    ----------
    boxes_px, classes : as `moved_boxes` gives them
    share : of the pictures, how many get one

    Returns
    -------
    rectangles : list of (picture, left, top, right, bottom) in pixels of the input, right and bottom not included
    classes : ndarray of shape (N, K), with `HIDDEN_BALL` for balls that are mostly under one
    """
    classes = classes.copy()
    found = []
    for number in np.nonzero(rng.random(len(boxes_px)) < share)[0]:
        bodies = np.nonzero((classes[number] >= 0) & (classes[number] <= OFFICIAL))[0]
        if not len(bodies):
            continue
        x1, y1, x2, y2 = boxes_px[number, rng.choice(bodies)]
        part, wide = rng.uniform(0.2, 0.5), rng.uniform(0.8, 1.6)
        middle, half = (x1 + x2) / 2, (x2 - x1) * wide / 2
        left, top, right, bottom = middle - half, y2 - part * (y2 - y1), middle + half, y2 + 0.1 * (y2 - y1)
        if rng.random() < 0.5:  # from the side
            edge = x1 + part * (x2 - x1) if rng.random() < 0.5 else x2 - part * (x2 - x1)
            left, right = (x1 - 0.3 * (x2 - x1), edge) if edge < middle else (edge, x2 + 0.3 * (x2 - x1))
            top = y1 + rng.uniform(0, 0.5) * (y2 - y1)
        rectangle = [int(v) for v in np.maximum([left, top, right, bottom], 0)]
        if rectangle[2] - rectangle[0] < 2 or rectangle[3] - rectangle[1] < 2:
            continue
        found.append((int(number), rectangle[0], rectangle[1], rectangle[2], rectangle[3]))
        for ball in np.nonzero(classes[number] == BALL)[0]:
            low = np.maximum(boxes_px[number, ball, :2], rectangle[:2])
            high = np.minimum(boxes_px[number, ball, 2:], rectangle[2:])
            if np.prod(np.maximum(high - low, 0)) > 0.4 * np.prod(
                boxes_px[number, ball, 2:] - boxes_px[number, ball, :2]
            ):
                classes[number, ball] = HIDDEN_BALL
    return found, classes


def with_ball(
    picture_bgr: np.ndarray, people_px: np.ndarray, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """Paint a basketball into a picture: real frames show few that can be labelled, and the network needs their look.

    Parameters
    ----------
    picture_bgr : ndarray of shape (H, W, 3), uint8
    people_px : ndarray of shape (N, 4), x1, y1, x2, y2; N ≥ 1. They give the size and mostly the place.

    Returns
    -------
    picture : a painted copy
    box_px : ndarray of shape (4,), round the painted ball
    """
    height, width = picture_bgr.shape[:2]
    x1, y1, x2, y2 = people_px[rng.integers(len(people_px))]
    # A ball is 0.79 ft across (FIBA equipment rules 3.5), a player about 6.4 ft tall.
    diameter = float(max((y2 - y1) * 0.79 / 6.4 * rng.uniform(0.85, 1.25), 3.5))
    if rng.random() < 0.65:
        centre = np.array([rng.normal((x1 + x2) / 2, 0.6 * (x2 - x1)), rng.uniform(y1 - 0.4 * (y2 - y1), y2)])
    else:
        centre = np.array([rng.uniform(0, width), rng.uniform(0.12, 0.95) * height])
    half = int(np.ceil(diameter * 1.3)) + 3
    corner = np.floor(centre).astype(int) - half
    low = np.maximum(corner, 0)
    high = np.minimum(corner + 2 * half + 1, [width, height])
    if (high - low < 2).any():
        centre = np.clip(centre, half, np.array([width, height]) - half - 1)
        corner = np.floor(centre).astype(int) - half
        low, high = corner, corner + 2 * half + 1
    under = picture_bgr[low[1] : high[1], low[0] : high[0]].astype(np.float32)
    colour, cover = _ball_patch(2 * half + 1, centre - corner, diameter, float(np.median(under.max(axis=2))), rng)
    a, b = low - corner, high - corner
    colour, cover = colour[a[1] : b[1], a[0] : b[0]], cover[a[1] : b[1], a[0] : b[0], None]
    out = picture_bgr.copy()
    out[low[1] : high[1], low[0] : high[0]] = np.clip(under * (1 - cover) + colour, 0, 255).astype(np.uint8)
    rows, columns = np.nonzero(cover[:, :, 0] > 0.35)
    if not len(rows):
        return picture_bgr, np.zeros(4)
    return out, np.array(
        [
            low[0] + columns.min() - 0.5,
            low[1] + rows.min() - 0.5,
            low[0] + columns.max() + 0.5,
            low[1] + rows.max() + 0.5,
        ]
    )


def _ball_patch(
    side_px: int, centre_px: np.ndarray, diameter_px: float, light: float, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """A lit, seamed, perhaps smeared ball: colour (side, side, 3) times cover, and cover (side, side) in 0…1."""
    fine = 5  # drawn so many times larger
    grid = (np.arange(side_px * fine) + 0.5) / fine - 0.5
    u = (grid[None, :] - centre_px[0]) / (diameter_px / 2)
    v = (grid[:, None] - centre_px[1]) / (diameter_px / 2)
    inside = u**2 + v**2 < 1
    z = np.sqrt(np.clip(1 - u**2 - v**2, 0, None))
    normal = np.stack([np.broadcast_to(u, z.shape), np.broadcast_to(v, z.shape), z], axis=2)
    turn = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    seen = normal @ turn
    seam = (np.abs(seen[..., 0]) < 0.06) | (np.abs(seen[..., 1]) < 0.06)
    seam |= np.abs(np.abs(seen[..., 2]) - 0.45 - 0.5 * seen[..., 0] ** 2) < 0.06
    lamp = np.array([rng.uniform(-0.5, 0.5), -1.0, rng.uniform(0.2, 1.0)])
    shade = 0.5 + 0.5 * np.clip(normal @ (lamp / np.linalg.norm(lamp)), 0, 1)
    value = float(np.clip(light * rng.uniform(0.65, 1.25), 70, 225))
    hsv = np.array([[[int(rng.integers(4, 17)), int(rng.integers(85, 200)), int(value)]]], np.uint8)
    paint = cv2.cvtColor(hsv, cv2.COLOR_HSV2BGR).reshape(3).astype(np.float32)
    drawn = paint * (shade * np.where(seam, rng.uniform(0.3, 0.7), 1.0))[..., None]
    layers: np.ndarray = np.dstack([drawn * inside[..., None], inside]).astype(np.float32)
    layers = cv2.resize(layers, (side_px, side_px), interpolation=cv2.INTER_AREA)
    layers = cv2.GaussianBlur(layers, (0, 0), float(rng.uniform(0.3, 0.9)))
    if rng.random() < 0.45:
        length = int(np.clip(diameter_px * rng.uniform(0.2, 1.0), 2, 15))
        angle = rng.uniform(0, np.pi)
        kernel = np.zeros((length, length), np.float32)
        steps = np.linspace(-0.5, 0.5, 4 * length) * (length - 1)
        kernel[
            np.round(steps * np.sin(angle) + (length - 1) / 2).astype(int),
            np.round(steps * np.cos(angle) + (length - 1) / 2).astype(int),
        ] = 1
        layers = cv2.filter2D(layers, -1, kernel / kernel.sum())
    return layers[..., :3], layers[..., 3]
