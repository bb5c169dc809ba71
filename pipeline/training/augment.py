"""Disturb training pictures the way films differ: framing, colour, light, sharpness, compression.

Pure functions of a picture and a random generator. Geometry comes as one 3×3 matrix so that boxes and
masks move with the picture.
"""

from dataclasses import dataclass

import cv2
import numpy as np

PAD = 114
"""Grey level around a picture that does not fill the network's input."""


@dataclass(frozen=True, slots=True)
class Framing:
    """How far the picture may be moved: the limits of one random framing."""

    min_zoom: float = 0.7
    max_zoom: float = 1.7
    max_turn_deg: float = 4.0
    max_shear: float = 0.04
    mirror_share: float = 0.5


def fitted(size_px: tuple[int, int], input_px: tuple[int, int]) -> np.ndarray:
    """Matrix that fits a picture into the network's input, centred, whole and undistorted."""
    (width, height), (in_w, in_h) = size_px, input_px
    scale = min(in_w / width, in_h / height)
    # Pixel centres are at integers: the picture's corner is at -0.5.
    dx, dy = (in_w - width * scale) / 2, (in_h - height * scale) / 2
    shift = 0.5 * scale - 0.5
    return np.array([[scale, 0, dx + shift], [0, scale, dy + shift], [0, 0, 1.0]])


def framed(
    size_px: tuple[int, int], input_px: tuple[int, int], rng: np.random.Generator, limits: Framing
) -> np.ndarray:
    """Matrix of a random framing: mirrored or not, zoomed about a random point, slightly turned and sheared."""
    in_w, in_h = input_px
    matrix = fitted(size_px, input_px)
    if rng.random() < limits.mirror_share:
        matrix = np.array([[-1, 0, in_w - 1.0], [0, 1, 0], [0, 0, 1]]) @ matrix
    zoom = float(np.exp(rng.uniform(np.log(limits.min_zoom), np.log(limits.max_zoom))))
    turn = np.deg2rad(rng.normal(0, limits.max_turn_deg / 2))
    shear_x, shear_y = rng.uniform(-limits.max_shear, limits.max_shear, 2)
    cos, sin = np.cos(turn) * zoom, np.sin(turn) * zoom
    stretch = float(np.exp(rng.uniform(-0.08, 0.08)))
    linear = np.array([[cos * stretch, -sin], [sin, cos / stretch]]) @ np.array([[1, shear_x], [shear_y, 1]])
    centre = np.array([in_w / 2, in_h / 2])
    slack = abs(zoom - 1) / 2
    goal = centre + rng.uniform(-slack, slack, 2) * [in_w, in_h]
    move = np.eye(3)
    move[:2, :2] = linear
    move[:2, 2] = goal - linear @ centre
    return move @ matrix


def moved_boxes(boxes_px: np.ndarray, matrix: np.ndarray, input_px: tuple[int, int]) -> tuple[np.ndarray, np.ndarray]:
    """Move boxes with the picture.

    Parameters
    ----------
    boxes_px : ndarray of shape (N, 4), x1, y1, x2, y2

    Returns
    -------
    boxes_px : ndarray of shape (N, 4), cut at the input's edge
    share : ndarray of shape (N,), how much of each box is still inside
    """
    if not len(boxes_px):
        return np.empty((0, 4)), np.empty(0)
    x1, y1, x2, y2 = boxes_px.T
    # The middles of the four sides: a turned box drawn round its corners would grow.
    points = np.stack(
        [
            np.column_stack([x1, (y1 + y2) / 2]),
            np.column_stack([x2, (y1 + y2) / 2]),
            np.column_stack([(x1 + x2) / 2, y1]),
            np.column_stack([(x1 + x2) / 2, y2]),
        ],
        axis=1,
    )
    points = points @ matrix[:2, :2].T + matrix[:2, 2]
    low, high = points.min(axis=1), points.max(axis=1)
    whole = np.prod(high - low, axis=1)
    low_in = np.clip(low, 0, input_px)
    high_in = np.clip(high, 0, input_px)
    share = np.prod(high_in - low_in, axis=1) / np.maximum(whole, 1e-6)
    return np.column_stack([low_in, high_in]), share


def coarsened(picture_bgr: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Change colour, light and sharpness at random, as cameras, lights and codecs do."""
    out = picture_bgr
    if rng.random() < 0.8:
        out = _recoloured(out, rng)
    if rng.random() < 0.05:
        out = cv2.cvtColor(cv2.cvtColor(out, cv2.COLOR_BGR2GRAY), cv2.COLOR_GRAY2BGR)
    if rng.random() < 0.2:
        out = _low_resolution(out, rng)
    kind = rng.random()
    if kind < 0.1:
        out = cv2.GaussianBlur(out, (0, 0), float(rng.uniform(0.4, 1.6)))
    elif kind < 0.17:
        out = _smeared(out, rng)
    elif kind < 0.27:
        soft = cv2.GaussianBlur(out, (0, 0), float(rng.uniform(0.8, 2.0)))
        gain = float(rng.uniform(0.3, 1.2))
        out = cv2.addWeighted(out, 1 + gain, soft, -gain, 0)
    if rng.random() < 0.15:
        coarse = rng.normal(0, float(rng.uniform(2, 12)), (out.shape[0] // 2 + 1, out.shape[1] // 2 + 1))
        noise = cv2.resize(coarse.astype(np.float32), (out.shape[1], out.shape[0]), interpolation=cv2.INTER_LINEAR)
        out = cv2.add(out, np.repeat(noise[:, :, None], 3, axis=2), dtype=cv2.CV_8U)
    if rng.random() < 0.35:
        quality = int(rng.integers(18, 75))
        packed = cv2.imencode(".jpg", out, [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
        out = np.asarray(cv2.imdecode(packed, cv2.IMREAD_COLOR))
    return out


def _recoloured(picture_bgr: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    hsv = cv2.cvtColor(picture_bgr, cv2.COLOR_BGR2HSV)
    levels = np.arange(256)
    hue_shift = int(rng.normal(0, 8)) if rng.random() < 0.8 else int(rng.integers(0, 180))
    saturation = float(rng.uniform(0.4, 1.5))
    hue = ((np.arange(256) + hue_shift) % 180).astype(np.uint8)
    sat = np.clip(levels * saturation, 0, 255).astype(np.uint8)
    gamma, gain = float(np.exp(rng.normal(0, 0.25))), float(rng.uniform(0.7, 1.25))
    val = np.clip(255 * gain * (levels / 255) ** gamma + rng.normal(0, 8), 0, 255).astype(np.uint8)
    out = cv2.cvtColor(
        cv2.merge([cv2.LUT(c, t) for c, t in zip(cv2.split(hsv), (hue, sat, val), strict=True)]), cv2.COLOR_HSV2BGR
    )
    if rng.random() < 0.5:  # white balance
        tint = rng.normal(1, 0.06, 3)
        out = cv2.LUT(out, np.clip(levels[:, None] * tint, 0, 255).astype(np.uint8)[None])
    return out


def _low_resolution(picture_bgr: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    height, width = picture_bgr.shape[:2]
    scale = float(rng.uniform(0.4, 0.9))
    small = cv2.resize(picture_bgr, (int(width * scale), int(height * scale)), interpolation=cv2.INTER_AREA)
    way = int(rng.choice([cv2.INTER_LINEAR, cv2.INTER_CUBIC]))
    return cv2.resize(small, (width, height), interpolation=way)


def _smeared(picture_bgr: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    length = int(rng.integers(3, 8))
    kernel = np.zeros((length, length), np.float32)
    angle = rng.normal(0, 0.25)
    steps = np.linspace(-1, 1, 4 * length) * (length - 1) / 2
    columns = np.round(steps * np.cos(angle) + (length - 1) / 2).astype(int)
    rows = np.round(steps * np.sin(angle) + (length - 1) / 2).astype(int)
    kernel[rows.clip(0, length - 1), columns.clip(0, length - 1)] = 1
    return cv2.filter2D(picture_bgr, -1, kernel / kernel.sum())


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
