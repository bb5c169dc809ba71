"""Everything around the floor: boards and rings, stands, walls, tables, railing, crowd; as plain arrays.

Vertex rows of `ArenaMesh.opaque` and `.glass` are position 3, normal 3, colour 3, glow 1, u, v, texture kind 1
(0 none, 1 advert strip, 2 wall, 3 net, 4 glass). Lengths are feet in the court frame.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from pipeline.court.geometry import board_corners_ft, ring_centre_ft
from pipeline.court.rule_books import RuleBook
from pipeline.sim.looks import ArenaLook, Colour, Venue, club_colour
from pipeline.sim.render.floor import emblem_mask, word_mask

VERTEX_FLOATS = 13
PLAIN, ADVERT, WALL, NET, GLASS = 0.0, 1.0, 2.0, 3.0, 4.0
ADVERT_ROWS = 8
PERSON_TILES = 32
"""Tiles of the crowd texture: 0-15 sitting, 16-23 standing, 24-31 seen from behind."""
NET_LENGTH_FT = 1.45


@dataclass(frozen=True, slots=True, eq=False)
class Hoop:
    """One ring with its board: points whose projection spans the labelled box, and its own triangles."""

    outline_ft: np.ndarray  # (N, 3)
    triangles: np.ndarray  # (M, 3) positions, board's face and ring cylinder, for the identity pass


@dataclass(frozen=True, slots=True, eq=False)
class ArenaMesh:
    """Triangles of the surroundings and the crowd's instances."""

    opaque: np.ndarray  # (N, 13) float32
    casters: int  # how many of the first opaque rows throw shadows on the floor
    near_crowd: int  # how many of the last crowd rows stand between camera and floor
    glass: np.ndarray  # (M, 13) float32, drawn after all else
    hoops: tuple[Hoop, ...]
    crowd: np.ndarray  # (K, 18) float32: base 3, size 3, tile 4, shirt 4, skin 4
    people_ft: np.ndarray  # (P, 4): x, y, facing, kind (0 sits, 1 stands) of full bodies off the floor


def _at(x: float, y: float, z: float) -> np.ndarray:
    """A point or a way in court feet."""
    return np.array([x, y, z], np.float64)


def _dim(colour: Colour, share: float) -> Colour:
    """A colour with less light."""
    return (colour[0] * share, colour[1] * share, colour[2] * share)


class _Builder:
    """Collects triangles."""

    def __init__(self) -> None:
        self.parts: list[np.ndarray] = []

    def quad(
        self,
        corners: np.ndarray,
        colour: Colour,
        *,
        glow: float = 0.0,
        uv: np.ndarray | None = None,
        kind: float = PLAIN,
        normal: np.ndarray | None = None,
    ) -> None:
        points = np.asarray(corners, np.float32)
        if normal is None:
            normal = np.cross(points[1] - points[0], points[3] - points[0])
            normal = normal / max(float(np.linalg.norm(normal)), 1e-9)
        rows = np.zeros((4, VERTEX_FLOATS), np.float32)
        rows[:, :3], rows[:, 3:6], rows[:, 6:9], rows[:, 9], rows[:, 12] = points, normal, colour, glow, kind
        if uv is not None:
            rows[:, 10:12] = uv
        self.parts.append(rows[[0, 1, 2, 0, 2, 3]])

    def box(self, low: np.ndarray, high: np.ndarray, colour: Colour, *, glow: float = 0.0) -> None:
        x0, y0, z0 = np.minimum(low, high)
        x1, y1, z1 = np.maximum(low, high)
        sides = [
            [[x0, y0, z0], [x1, y0, z0], [x1, y0, z1], [x0, y0, z1]],
            [[x1, y1, z0], [x0, y1, z0], [x0, y1, z1], [x1, y1, z1]],
            [[x0, y1, z0], [x0, y0, z0], [x0, y0, z1], [x0, y1, z1]],
            [[x1, y0, z0], [x1, y1, z0], [x1, y1, z1], [x1, y0, z1]],
            [[x0, y0, z1], [x1, y0, z1], [x1, y1, z1], [x0, y1, z1]],
            [[x0, y1, z0], [x1, y1, z0], [x1, y0, z0], [x0, y0, z0]],
        ]
        for side in sides:
            self.quad(np.array(side), colour, glow=glow)

    def tube(self, start: np.ndarray, end: np.ndarray, radius: float, colour: Colour, *, sides: int = 6) -> None:
        """A straight bar."""
        a, b = np.asarray(start, np.float64), np.asarray(end, np.float64)
        axis = (b - a) / max(float(np.linalg.norm(b - a)), 1e-9)
        other = np.array([0.0, 0.0, 1.0]) if abs(axis[2]) < 0.9 else np.array([1.0, 0.0, 0.0])
        u = np.cross(axis, other)
        u /= np.linalg.norm(u)
        v = np.cross(axis, u)
        angle = np.arange(sides + 1) * 2 * np.pi / sides
        spoke = np.cos(angle)[:, None] * u + np.sin(angle)[:, None] * v
        for i in range(sides):
            first, second = spoke[i] * radius, spoke[i + 1] * radius
            self.quad(
                np.array([a + first, a + second, b + second, b + first]), colour, normal=(spoke[i] + spoke[i + 1]) / 2
            )

    def array(self) -> np.ndarray:
        return np.concatenate(self.parts).astype(np.float32) if self.parts else np.zeros((0, VERTEX_FLOATS), np.float32)


def advert_texture(look: ArenaLook) -> np.ndarray:
    """Eight strips of invented adverts, (512, 1024, 3) uint8 RGB."""
    rng = np.random.default_rng([look.seed, 1])
    picture = np.zeros((ADVERT_ROWS * 64, 1024, 3), np.uint8)
    shared = club_colour(rng)
    for row in range(ADVERT_ROWS):
        back = np.array(shared if rng.random() < 0.4 else club_colour(rng))
        if rng.random() < 0.2:
            back = np.array([0.93, 0.93, 0.93])
        ink = np.array([0.97, 0.97, 0.97]) if back.mean() < 0.55 else np.array(club_colour(rng)) * 0.6
        strip = np.tile((back * 255).astype(np.float32), (64, 1024, 1))
        if rng.random() < 0.3:
            other = np.array(club_colour(rng)) * 255
            ramp = np.abs(np.linspace(-1, 1, 1024) ** 2)[None, :, None]
            strip = strip * (1 - ramp) + other * ramp
        repeats = int(rng.integers(1, 4))
        mask = word_mask(rng, int(rng.integers(26, 50)))
        badge = emblem_mask(rng, 48) if rng.random() < 0.5 else None
        for i in range(repeats):
            x = int((i + 0.5) * 1024 / repeats - mask.shape[1] / 2 + rng.uniform(-20, 20))
            for stamp, left in ((mask, x), (badge, x - 60)):
                if stamp is None or left < 0 or left + stamp.shape[1] > 1024:
                    continue
                top = (64 - stamp.shape[0]) // 2
                share = stamp[..., None].astype(np.float32) / 255
                region = strip[top : top + stamp.shape[0], left : left + stamp.shape[1]]
                region[:] = region * (1 - share) + ink * 255 * share
        picture[row * 64 : row * 64 + 64] = np.clip(strip, 0, 255).astype(np.uint8)
    return picture


def wall_texture(look: ArenaLook) -> np.ndarray:
    """The far wall of a gym or the dark back of an arena, (256, 1024, 3) uint8 RGB, top row first."""
    rng = np.random.default_rng([look.seed, 2])
    picture = np.empty((256, 1024, 3), np.uint8)
    picture[:] = np.array(look.wall) * 255
    split = int(256 * (1 - look.wall_split_ft / 30))
    picture[split:] = np.array(look.wall_low) * 255
    if look.venue is not Venue.GYM:
        picture[:] = (picture * 0.25).astype(np.uint8)
        for _ in range(int(rng.integers(0, 14))):
            x, y = int(rng.integers(0, 1000)), int(rng.integers(0, 120))
            tone = (np.array(club_colour(rng)) * 255 * rng.uniform(0.3, 0.9)).tolist()
            cv2.rectangle(picture, (x, y), (x + int(rng.integers(12, 60)), y + int(rng.integers(10, 50))), tone, -1)
        return picture
    if look.wall_bars:
        for _ in range(int(rng.integers(1, 4))):
            x, wide = int(rng.integers(0, 800)), int(rng.integers(90, 260))
            wood = (np.array([0.62, 0.45, 0.3]) * 255 * rng.uniform(0.5, 1.1)).tolist()
            dark = (np.array(look.wall) * 255 * 0.45).tolist()
            cv2.rectangle(picture, (x, 178), (x + wide, 252), dark, -1)
            for y in range(180, 252, 5):
                cv2.line(picture, (x, y), (x + wide, y), wood, 2)
            for post in range(x, x + wide + 1, 24):
                cv2.line(picture, (post, 178), (post, 252), wood, 2)
    for _ in range(int(rng.integers(0, 5))):
        x, wide = int(rng.integers(0, 960)), int(rng.integers(22, 50))
        tone = (
            (np.array(club_colour(rng)) * 255 * 0.9).tolist()
            if rng.random() < 0.4
            else (np.array([0.6, 0.45, 0.3]) * 255).tolist()
        )
        cv2.rectangle(picture, (x, 186), (x + wide, 255), tone, -1)
        cv2.rectangle(picture, (x, 186), (x + wide, 255), (30, 30, 30), 1)
    if look.windows:
        for x in range(int(rng.integers(0, 40)), 1000, int(rng.integers(60, 140))):
            cv2.rectangle(picture, (x, 16), (x + int(rng.integers(30, 56)), 70), (235, 240, 250), -1)
    for _ in range(int(rng.integers(0, 12))):
        x, y = int(rng.integers(0, 980)), int(rng.integers(70, 180))
        tone = (np.array(club_colour(rng)) * 255).tolist()
        wide, high = int(rng.integers(12, 70)), int(rng.integers(10, 34))
        cv2.rectangle(picture, (x, y), (x + wide, y + high), tone, -1)
        mask = word_mask(rng, max(high // 2, 4))[:, : max(wide - 4, 2)]
        region = picture[y + 2 : y + 2 + mask.shape[0], x + 2 : x + 2 + mask.shape[1]]
        region[mask[: region.shape[0], : region.shape[1]] > 120] = 235
    for _ in range(int(rng.integers(2, 8))):
        cv2.line(picture, (int(rng.integers(1024)), 0), (int(rng.integers(1024)), 0), 0, 1)
    for x in range(int(rng.integers(60, 150)), 1024, int(rng.integers(90, 220))):
        cv2.line(picture, (x, 0), (x, 255), (np.array(look.wall) * 200).tolist(), int(rng.integers(1, 7)))
    noise = rng.normal(0, 4, (64, 256)).astype(np.float32)
    shade = cv2.resize(noise, (1024, 256), interpolation=cv2.INTER_CUBIC)
    return np.clip(picture + shade[..., None], 0, 255).astype(np.uint8)


def people_texture() -> np.ndarray:
    """Tiles of sitting, standing and turned people, (512, 512, 4) uint8: shirt, skin, dark, cover; for every look."""
    rng = np.random.default_rng(77)
    sheet = np.zeros((4 * 128, 8 * 64, 4), np.uint8)
    for tile in range(PERSON_TILES):
        big = np.zeros((512, 256, 4), np.uint8)
        shirt, skin, dark = (255, 0, 0, 255), (0, 255, 0, 255), (0, 0, 255, 255)
        standing, behind = 16 <= tile < 24, tile >= 24
        lean = int(rng.integers(-14, 15))
        head = (128 + lean, 86)
        deep = (170, 0, 0, 255)
        if standing:
            cv2.rectangle(big, (92, 300), (164, 512), (0, 20, 150, 255), -1)
            cv2.rectangle(big, (124, 330), (132, 512), (0, 0, 60, 255), -1)
        elif not behind:
            cv2.ellipse(big, (128, 450), (84, 70), 0, 0, 360, (0, 10, 170, 255), -1)
        body_top, body_low = 150, 360 if standing else 440
        half = int(rng.integers(52, 74))
        points = np.array(
            [
                [128 - half, body_low],
                [128 - half - 6, body_top + 40],
                [112 + lean // 2, body_top - 14],
                [146 + lean // 2, body_top - 14],
                [128 + half + 6, body_top + 40],
                [128 + half, body_low],
            ]
        )
        if behind:
            points[[0, -1], 1] = 512
        cv2.fillPoly(big, [points], shirt)
        for side in (-1, 1):
            shoulder = (128 + side * (half - 4), body_top + 36)
            pose = rng.random()
            if pose < 0.15 and not behind:  # arms up
                hand = (128 + side * int(rng.integers(50, 100)), int(rng.integers(20, 90)))
            elif pose < 0.4 and not behind:  # clapping
                hand = (128 + side * 12, int(rng.integers(220, 290)))
            else:
                hand = (128 + side * int(rng.integers(46, 86)), int(rng.integers(330, 420)))
            elbow = ((shoulder[0] + hand[0]) // 2 + side * 26, (shoulder[1] + hand[1]) // 2 + 20)
            bare = rng.random() < 0.4
            cv2.line(big, shoulder, elbow, deep, 34, cv2.LINE_AA)
            cv2.line(big, elbow, hand, (0, 200, 0, 255) if bare else deep, 28, cv2.LINE_AA)
            cv2.circle(big, hand, 17, skin, -1, cv2.LINE_AA)
        cv2.rectangle(big, (head[0] - 15, 110), (head[0] + 15, 150), (0, 190, 0, 255), -1)
        cv2.ellipse(big, head, (36, 46), 0, 0, 360, dark if behind else skin, -1, cv2.LINE_AA)
        if not behind:
            long_hair = rng.random() < 0.35
            cv2.ellipse(big, (head[0], head[1] - 12), (39, 40), 0, 180, 360, dark, -1, cv2.LINE_AA)
            if long_hair:
                for side in (-1, 1):
                    cv2.ellipse(big, (head[0] + side * 34, head[1] + 18), (12, 46), 0, 0, 360, dark, -1, cv2.LINE_AA)
            cv2.ellipse(big, (head[0], head[1] + 26), (20, 12), 0, 0, 360, (0, 205, 0, 255), -1)
        side_shade = (
            np.linspace(1.0, 0.68, 256)[None, :, None]
            if rng.random() < 0.5
            else np.linspace(0.68, 1.0, 256)[None, :, None]
        )
        down = np.linspace(1.06, 0.62, 512)[:, None, None]
        big[..., :3] = np.clip(big[..., :3] * side_shade * down, 0, 255).astype(np.uint8)
        small = cv2.resize(big, (64, 128), interpolation=cv2.INTER_AREA)
        y, x = divmod(tile, 8)
        sheet[y * 128 : y * 128 + 128, x * 64 : x * 64 + 64] = small
    return sheet


SKIN_TONES = np.array(
    [
        [0.93, 0.76, 0.66],
        [0.87, 0.68, 0.55],
        [0.76, 0.56, 0.42],
        [0.58, 0.40, 0.29],
        [0.44, 0.29, 0.20],
        [0.31, 0.20, 0.14],
    ]
)


def _instances(
    rng: np.random.Generator, base: np.ndarray, look: ArenaLook, light: float, *, kind: str, size: float = 1.0
) -> np.ndarray:
    """Rows of the crowd buffer for people whose lowest visible point is at `base` (N, 3)."""
    count = len(base)
    rows = np.zeros((count, 18), np.float32)
    if count == 0:
        return rows
    standing = rng.random(count) < look.crowd_standing if kind == "sit" else np.full(count, kind == "stand")
    tile = np.where(standing, rng.integers(16, 24, count), rng.integers(0, 16, count))
    if kind == "behind":
        tile = rng.integers(24, 32, count)
    height = np.where(standing, rng.uniform(5.3, 6.4, count), rng.uniform(3.3, 4.0, count)) * size
    if kind == "behind":
        height = rng.uniform(2.8, 3.5, count) * size
    rows[:, :3] = base
    rows[:, 3] = height * np.where(standing, 0.40, 0.56)
    rows[:, 4] = height
    rows[:, 5] = rng.random(count)
    rows[:, 6] = (tile % 8) / 8
    rows[:, 7] = (tile // 8) / 4
    rows[:, 8], rows[:, 9] = 1 / 8, 1 / 4
    palette = np.array(
        [club_colour(rng) for _ in range(40)]
        + [(0.85, 0.85, 0.85)] * 10
        + [(0.1, 0.1, 0.11)] * 14
        + [(0.4, 0.4, 0.42)] * 8
    )
    shirts = palette[rng.integers(0, len(palette), count)]
    fans = rng.random(count) < look.crowd_club
    shirts[fans] = np.array(look.accent) * rng.uniform(0.7, 1.2, (fans.sum(), 1))
    grey = shirts.mean(1, keepdims=True)
    rows[:, 10:13] = np.clip(grey + (shirts - grey) * look.crowd_saturation, 0, 1)
    rows[:, 13] = light * rng.uniform(0.7, 1.15, count)
    weights = rng.dirichlet(np.ones(len(SKIN_TONES)) * 2)
    skin = SKIN_TONES[rng.choice(len(SKIN_TONES), count, p=weights)]
    grey = skin.mean(1, keepdims=True)
    rows[:, 14:17] = grey + (skin - grey) * (0.4 + 0.6 * look.crowd_saturation)
    rows[:, 17] = np.where(rng.random(count) < 0.25, rng.uniform(1, 5, count), rng.uniform(-0.6, 0.6, count))
    return rows


def build_arena(look: ArenaLook, book: RuleBook) -> ArenaMesh:
    """Place everything around the floor of one look."""
    rng = np.random.default_rng([look.seed, 3])
    solid, clear = _Builder(), _Builder()
    hoops = [_hoop(solid, clear, look, book, end) for end in ("left", "right")]
    if look.extra_hoops:
        for x in (book.length_ft * 0.28, book.length_ft * 0.72):
            hoops.append(_side_hoop(solid, clear, look, book, x))
    casters = sum(len(part) for part in solid.parts)
    crowd = _stands(solid, look, book, rng)
    near = _near_side(solid, look, book, rng)
    crowd.append(near)
    _boards(solid, look, book, rng)
    _walls(solid, look, book)
    people = _people(solid, look, book, rng)
    crowd_rows = np.concatenate(crowd).astype(np.float32)
    return ArenaMesh(solid.array(), casters, len(near), clear.array(), tuple(hoops), crowd_rows, people)


def _hoop(solid: _Builder, clear: _Builder, look: ArenaLook, book: RuleBook, end: str) -> Hoop:
    corners = board_corners_ft(book, end)  # type: ignore[arg-type]
    ring = ring_centre_ft(book, end)  # type: ignore[arg-type]
    out = -1.0 if end == "left" else 1.0  # towards the baseline
    hoop = _board_and_ring(solid, clear, look, book, corners, ring)
    middle = corners.mean(0)
    back = middle + _at(out * 0.3, 0, 0)
    colour, baseline = look.stanchion_colour, (0.0 if end == "left" else book.length_ft)
    if look.stanchion == "floor":
        base_x = baseline + out * 6.6
        low = np.array([base_x, middle[1] - 1.7, 0.0])
        solid.box(low, low + _at(out * 4.5, 3.4, 3.0), look.pad)
        solid.box(
            np.array([base_x, middle[1] - 0.75, 0]), np.array([base_x + out * 1.4, middle[1] + 0.75, 7.2]), look.pad
        )
        top = np.array([base_x + out * 1.0, middle[1], 9.6])
        solid.tube(np.array([base_x + out * 0.9, middle[1], 3]), top, 0.42, colour)
        for side in (-0.5, 0.5):
            solid.tube(top + _at(0, side, 0.4), back + _at(0, side, 0.6), 0.16, colour)
            solid.tube(top + _at(0, side, -1.6), back + _at(0, side, -1.0), 0.14, colour)
            solid.tube(top + _at(out * 2.5, side, -7.0), top + _at(0, side, 0.2), 0.16, colour)
    elif look.stanchion == "wall":
        for side in (-2.2, 2.2):
            solid.tube(back + _at(0, side, 0.6), back + _at(out * 18, side, 0.9), 0.12, colour)
            solid.tube(back + _at(0, side, -1.2), back + _at(out * 18, side, -1.2), 0.12, colour)
    else:
        for side in (-1.8, 1.8):
            solid.tube(back + _at(0, side, 0.0), back + _at(out * 2, side, 18), 0.14, colour)
            solid.tube(back + _at(0, side, 0.0), back + _at(out * 12, side * 1.6, 18), 0.1, colour)
    if look.shot_clock:
        low = middle + _at(out * 0.4, -0.9, book.board_height_ft / 2 + 0.5)
        solid.box(low, low + _at(out * 0.5, 1.8, 1.3), (0.06, 0.06, 0.07))
        face = low[0] - out * 0.02
        for digit, y in enumerate((-0.62, 0.08)):
            z = low[2] + 0.2
            for bar in range(4):
                if (digit + bar * 2) % 5:
                    solid.box(
                        np.array([face, middle[1] + y + 0.14 * bar, z]),
                        np.array([face - out * 0.02, middle[1] + y + 0.14 * bar + 0.1, z + 0.9]),
                        (1.0, 0.15, 0.08),
                        glow=1.0,
                    )
        for side in (-1, 1):  # also readable from the main camera
            y = middle[1] + side * 0.92
            solid.quad(
                np.array(
                    [
                        [low[0], y, low[2] + 0.3],
                        [low[0] + out * 0.5, y, low[2] + 0.3],
                        [low[0] + out * 0.5, y, low[2] + 1.0],
                        [low[0], y, low[2] + 1.0],
                    ]
                ),
                (0.9, 0.2, 0.1),
                glow=0.8,
            )
    if look.board_sign and look.stanchion == "floor":
        sign = np.array([baseline + out * 4.4, middle[1] - 0.1, 13.4])
        corners_sign = np.array(
            [
                [sign[0] - 2.6, sign[1], sign[2]],
                [sign[0] + 2.6, sign[1], sign[2]],
                [sign[0] + 2.6, sign[1], sign[2] + 1.7],
                [sign[0] - 2.6, sign[1], sign[2] + 1.7],
            ]
        )
        solid.quad(
            corners_sign,
            (1, 1, 1),
            glow=0.75,
            kind=ADVERT,
            uv=np.array([[0.0, 0.99], [0.3, 0.99], [0.3, 0.88], [0.0, 0.88]]),
        )
        solid.tube(np.array([sign[0], sign[1] + 0.2, 9.8]), np.array([sign[0], sign[1] + 0.2, 13.4]), 0.12, colour)
    return hoop


def _board_and_ring(
    solid: _Builder, clear: _Builder, look: ArenaLook, book: RuleBook, corners: np.ndarray, ring: np.ndarray
) -> Hoop:
    """Face, frame, target square, ring and net for any orientation of the board."""
    centre = corners.mean(0)
    across = (corners[1] - corners[0]) / np.linalg.norm(corners[1] - corners[0])
    forward = np.array([ring[0] - centre[0], ring[1] - centre[1], 0.0])
    forward /= np.linalg.norm(forward)
    half_w, half_h = book.board_width_ft / 2, book.board_height_ft / 2
    up = np.array([0.0, 0.0, 1.0])

    def frame(width: float, height: float, centre_z: float, thick: float, colour: Colour, shift: float) -> None:
        middle = centre + up * centre_z + forward * shift
        for sign in (-1, 1):
            for direction, span, offset, reach in ((across, width, up, height), (up, height, across, width)):
                at = middle + offset * sign * reach
                edge = offset * thick
                points = np.array(
                    [
                        at - direction * span - edge,
                        at + direction * span - edge,
                        at + direction * span + edge,
                        at - direction * span + edge,
                    ]
                )
                solid.quad(points, colour, normal=forward, glow=0.25)

    frame(half_w, half_h, 0.0, 0.09, look.board_frame, 0.03)
    frame(half_w, half_h, 0.0, 0.09, (0.25, 0.25, 0.27), -0.06)
    frame(0.98, 0.74, -half_h + 1.24, 0.08, (0.95, 0.95, 0.95) if look.board_fill < 0.5 else (0.85, 0.2, 0.12), 0.04)
    face = np.array(
        [
            centre - across * half_w - up * half_h,
            centre + across * half_w - up * half_h,
            centre + across * half_w + up * half_h,
            centre - across * half_w + up * half_h,
        ]
    )
    alpha = np.zeros((4, 2))
    alpha[:, 0] = look.board_fill
    clear.quad(face, (0.9, 0.93, 0.96), uv=alpha, kind=GLASS, normal=forward, glow=0.3)
    solid.quad(
        np.array(
            [
                centre - across * half_w - up * (half_h + 0.25),
                centre + across * half_w - up * (half_h + 0.25),
                centre + across * half_w - up * half_h,
                centre - across * half_w - up * half_h,
            ]
        ),
        look.pad,
        normal=forward,
    )
    angle = np.arange(17) * 2 * np.pi / 16
    circle = np.column_stack([np.cos(angle), np.sin(angle), np.zeros(17)])
    radius = book.ring_radius_ft + 0.03
    for i in range(16):
        solid.tube(ring + circle[i] * radius, ring + circle[i + 1] * radius, 0.05, (0.95, 0.33, 0.08), sides=4)
    neck = ring - forward * radius
    solid.box(
        neck - across * 0.25 - up * 0.25 - forward * 0.05,
        neck + across * 0.25 + up * 0.05 - forward * 0.6,
        (0.9, 0.3, 0.08),
    )
    triangles = [face[[0, 1, 2]], face[[0, 2, 3]]]
    for i in range(16):
        rim = [ring + circle[i] * radius, ring + circle[i + 1] * radius]
        low = [
            ring + circle[i + 1] * radius * 0.55 - up * NET_LENGTH_FT,
            ring + circle[i] * radius * 0.55 - up * NET_LENGTH_FT,
        ]
        uv = np.array([[i * 0.75, 0], [(i + 1) * 0.75, 0], [(i + 1) * 0.75, 4.0], [i * 0.75, 4.0]])
        clear.quad(np.array(rim + low), (0.93, 0.93, 0.93), uv=uv, kind=NET, normal=circle[i], glow=0.2)
        triangles += [np.array([rim[0], rim[1], low[0]]), np.array([rim[0], low[0], low[1]])]
    bottom = ring + circle * radius * 0.55 - up * NET_LENGTH_FT
    outline = np.vstack([face, ring + circle * (radius + 0.05), bottom])
    return Hoop(outline, np.concatenate(triangles).astype(np.float32))


def _side_hoop(solid: _Builder, clear: _Builder, look: ArenaLook, book: RuleBook, x_ft: float) -> Hoop:
    """A practice ring at the far wall, facing the near side."""
    y = book.width_ft + min(look.wall_far_ft, 12.0) - 4.0
    half, low = book.board_width_ft / 2, book.board_bottom_ft
    corners = np.array(
        [
            [x_ft - half, y, low],
            [x_ft + half, y, low],
            [x_ft + half, y, low + book.board_height_ft],
            [x_ft - half, y, low + book.board_height_ft],
        ]
    )
    ring = np.array([x_ft, y - (book.ring_to_baseline_ft - book.board_to_baseline_ft), book.ring_height_ft])
    for side in (-1.8, 1.8):
        solid.tube(
            np.array([x_ft + side, y + 0.2, low + 1.5]),
            np.array([x_ft + side, y + 8, low + 14]),
            0.12,
            look.stanchion_colour,
        )
    return _board_and_ring(solid, clear, look, book, corners, ring)


def _stands(solid: _Builder, look: ArenaLook, book: RuleBook, rng: np.random.Generator) -> list[np.ndarray]:
    """Stepped rows on the far side and behind both ends, with their crowd."""
    length, width, reach = book.length_ft, book.width_ft, 46.0
    dim = _dim(look.riser, look.crowd_light)
    seat = _dim(look.seat, look.crowd_light)
    found: list[np.ndarray] = []
    spacing = 1.75
    block = rng.uniform(18, 40)
    light_low = look.crowd_light

    def rows(count: int, start: np.ndarray, along: np.ndarray, outwards: np.ndarray, span: float) -> None:
        for row in range(count):
            base = start + outwards * (row * look.row_depth_ft) + np.array([0, 0, row * look.row_rise_ft])
            up = np.array([0.0, 0.0, look.row_rise_ft])
            inwards = -outwards
            solid.quad(
                np.array([base, base + along * span, base + along * span + up, base + up]),
                dim,
                normal=inwards,
                glow=0.85,
            )
            back = base + up
            solid.quad(
                np.array(
                    [
                        back,
                        back + along * span,
                        back + along * span + outwards * look.row_depth_ft,
                        back + outwards * look.row_depth_ft,
                    ]
                ),
                _dim(dim, 0.8),
                glow=0.85,
                normal=np.array([0, 0, 1.0]),
            )
            shade = 1.0 - 0.45 * row / max(count, 1)
            seat_low = back + outwards * 0.9
            solid.quad(
                np.array(
                    [
                        seat_low,
                        seat_low + along * span,
                        seat_low + along * span + _at(0, 0, 2.2),
                        seat_low + _at(0, 0, 2.2),
                    ]
                ),
                _dim(seat, shade),
                normal=inwards,
                glow=0.9,
            )
            place = np.arange(0.9, span, spacing)
            aisle = np.abs((place % block) - block / 2) > 2.0
            place = place[aisle & (rng.random(len(place)) < look.crowd_density)]
            place = place + rng.normal(0, 0.15, len(place))
            spots = back + along * place[:, None] + outwards * 0.7
            found.append(_instances(rng, spots, look, light_low * shade, kind="sit"))

    if look.courtside > 0:
        y = width + (look.board_far_ft + 2.2 if look.boards_far > 0 else 5.5)
        ends = np.concatenate([np.arange(2, width / 2 - 9, 2.0), np.arange(width / 2 + 9, width, 2.0)])
        places = [[x, y, 0.5] for x in np.arange(-12, length + 12, 2.0)]
        places += [[x, v, 0.5] for x in (-8.5, length + 8.5) for v in ends]
        spots = np.array(places)
        spots = spots[rng.random(len(spots)) < look.courtside]
        found.append(
            _instances(
                rng,
                spots + rng.normal(0, [0.2, 0.2, 0.1], spots.shape),
                look,
                min(0.35 + look.crowd_light, 0.85),
                kind="sit",
            )
        )
    if look.rows_far:
        rows(
            look.rows_far,
            np.array([-reach, width + look.first_row_ft, 0.3]),
            np.array([1.0, 0, 0]),
            np.array([0, 1.0, 0]),
            length + 2 * reach,
        )
    if look.rows_end:
        gap = 15.0 + rng.uniform(0, 10)
        for x, out in ((-gap, -1.0), (length + gap, 1.0)):
            rows(look.rows_end, np.array([x, -10.0, 0.3]), np.array([0, 1.0, 0]), np.array([out, 0, 0]), width + 24)
    return found


def _near_side(solid: _Builder, look: ArenaLook, book: RuleBook, rng: np.random.Generator) -> np.ndarray:
    """Heads at the picture's bottom and a railing; both stand between the camera and the floor."""
    found = [np.zeros((0, 18), np.float32)]
    if look.near_heads > 0:
        for row in range(int(rng.integers(1, 4))):
            x = np.arange(-20, book.length_ft + 20, 2.1)
            x = x[rng.random(len(x)) < look.near_heads]
            x = x + rng.normal(0, 0.35, len(x))
            back = look.near_heads_y_ft - row * 3.0 + rng.normal(0, 0.4, len(x))
            spots = np.column_stack([x, back, look.near_heads_z_ft + row * 0.8 - 1.5 + rng.normal(0, 0.25, len(x))])
            found.append(_instances(rng, spots, look, min(look.crowd_light + 0.1, 0.7), kind="behind"))
        wall_y, top = look.near_heads_y_ft + 2.0, look.near_heads_z_ft - 0.6
        if rng.random() < 0.5 and top > 0.4:
            colour = _dim(look.accent, 0.5)
            solid.box(np.array([-25.0, wall_y, 0]), np.array([book.length_ft + 25, wall_y + 0.3, top]), colour)
    if look.railing:
        rail_y, top = -float(rng.uniform(4.5, 14)), float(rng.uniform(2.6, 4.2))
        dark: Colour = (0.12, 0.12, 0.13) if rng.random() < 0.7 else look.accent
        solid.tube(np.array([-30.0, rail_y, top]), np.array([book.length_ft + 30, rail_y, top]), 0.09, dark)
        if rng.random() < 0.4:
            for z in np.arange(0.8, top - 0.4, 0.9):
                solid.tube(np.array([-30.0, rail_y, z]), np.array([book.length_ft + 30, rail_y, z]), 0.05, dark)
        for post_x in np.arange(-30, book.length_ft + 30, float(rng.uniform(4, 9))):
            solid.tube(np.array([post_x, rail_y, 0.0]), np.array([post_x, rail_y, top]), 0.07, dark)
    return np.concatenate(found)


def _boards(solid: _Builder, look: ArenaLook, book: RuleBook, rng: np.random.Generator) -> None:
    """Advertising boards along the far side and behind the baselines, scorer's table."""
    length, width, high = book.length_ft, book.width_ft, look.board_height_ft

    def strip(start: np.ndarray, end: np.ndarray) -> None:
        row = int(rng.integers(ADVERT_ROWS))
        u0 = float(rng.uniform(0, 1))
        u1 = u0 + float(np.linalg.norm(end - start)) / (high * 16)
        v0, v1 = (row + 0.97) / ADVERT_ROWS, (row + 0.03) / ADVERT_ROWS
        up = np.array([0, 0, high])
        glow_tone = (look.board_glow,) * 3
        solid.quad(
            np.array([start, end, end + up, start + up]),
            glow_tone,
            glow=0.85,
            kind=ADVERT,
            uv=np.array([[u0, v0], [u1, v0], [u1, v1], [u0, v1]]),
        )

    y = width + look.board_far_ft
    if look.boards_far > 0:
        x = -14.0
        while x < length + 14:
            piece = float(rng.uniform(12, 32))
            if rng.random() < look.boards_far:
                strip(np.array([x, y, 0.1]), np.array([min(x + piece, length + 16), y, 0.1]))
            x += piece
    if look.boards_end > 0:
        for x, sign in ((-13.0, 1), (length + 13.0, -1)):
            for y0, y1 in ((width - 2.0, width / 2 + 7), (width / 2 - 7, 4.0)):
                if rng.random() < look.boards_end:
                    a, b = np.array([x, y0, 0.1]), np.array([x, y1, 0.1])
                    strip(*((b, a) if sign > 0 else (a, b)))
    if rng.random() < 0.8:  # scorer's table
        middle = length / 2
        ty = width + min(look.board_far_ft, 6.0) + 0.6 if look.bench_far else -5.5
        half = float(rng.uniform(8, 14))
        if look.boards_far == 0 or not look.bench_far:
            solid.box(
                np.array([middle - half, ty, 0]),
                np.array([middle + half, ty + 2.0, 2.5]),
                (0.3, 0.3, 0.33) if rng.random() < 0.5 else look.accent,
            )
    if look.scoreboard:
        x, z = float(rng.uniform(8, length - 8)), float(rng.uniform(14, 26))
        back_y = width + (look.wall_far_ft if look.venue is Venue.GYM else look.first_row_ft + 14) - 0.6
        solid.box(np.array([x - 5, back_y, z]), np.array([x + 5, back_y + 0.5, z + 4]), (0.05, 0.05, 0.06), glow=0.6)
        for digit in range(int(rng.integers(4, 9))):
            dx = x - 4 + digit * 1.0
            solid.quad(
                np.array(
                    [
                        [dx, back_y - 0.05, z + 1],
                        [dx + 0.5, back_y - 0.05, z + 1],
                        [dx + 0.5, back_y - 0.05, z + 2.4],
                        [dx, back_y - 0.05, z + 2.4],
                    ]
                ),
                (1.0, 0.4, 0.1) if digit % 2 else (0.9, 0.85, 0.2),
                glow=1.0,
            )


def _walls(solid: _Builder, look: ArenaLook, book: RuleBook) -> None:
    """Far and end walls with the wall texture, ceiling lights."""
    gym = look.venue is Venue.GYM
    far = book.width_ft + (
        look.wall_far_ft + look.rows_far * look.row_depth_ft * 0.5
        if gym
        else look.first_row_ft + look.rows_far * look.row_depth_ft + 6
    )
    left, right = (-22.0, book.length_ft + 22.0) if gym else (-90.0, book.length_ft + 90)
    if gym and look.rows_far:
        left, right = left - 12, right + 12
    high = 30.0 if gym else 64.0 + look.rows_far * look.row_rise_ft
    full = np.array([[0, 1.0], [1, 1], [1, 0], [0, 0]])
    tone = (0.9, 0.9, 0.9)
    glow = 0.35 if gym else 0.5
    solid.quad(
        np.array([[left, far, 0], [right, far, 0], [right, far, high], [left, far, high]]),
        tone,
        uv=full,
        kind=WALL,
        glow=glow,
    )
    for x in (left, right):
        corners = [[x, -90, 0], [x, far, 0], [x, far, high], [x, -90, high]]
        solid.quad(
            np.array(corners),
            (0.8, 0.8, 0.8),
            uv=full * [0.7, 1],
            kind=WALL,
            glow=glow,
            normal=np.array([1.0 if x < 0 else -1.0, 0, 0]),
        )
    if look.ceiling_lights:
        z = high - 1
        for x in np.arange(left + 10, right - 5, 18.0):
            for y in np.arange(0, far - 4, 16.0):
                solid.quad(
                    np.array([[x, y, z], [x + 5, y, z], [x + 5, y + 1.2, z], [x, y + 1.2, z]]),
                    (1.0, 1.0, 0.97),
                    glow=1.0,
                    normal=np.array([0, 0, -1.0]),
                )
    ceiling = _dim(look.wall, 0.5 if gym else 0.08)
    solid.quad(
        np.array([[left, -90, high], [right, -90, high], [right, far, high], [left, far, high]]),
        ceiling,
        glow=0.4,
        normal=np.array([0, 0, -1.0]),
    )


def _people(solid: _Builder, look: ArenaLook, book: RuleBook, rng: np.random.Generator) -> np.ndarray:
    """Full bodies off the floor: benches, coaches, photographers, people standing about. Rows x, y, facing, kind."""
    found: list[list[float]] = []
    length, width = book.length_ft, book.width_ft
    bench_y = (
        width + (look.board_far_ft + 2.5 if look.boards_far > 0 else float(rng.uniform(5, 9)))
        if look.bench_far
        else -float(rng.uniform(5.5, 8))
    )
    facing = -np.pi / 2 if look.bench_far else np.pi / 2
    for sign in (-1, 1):
        start = length / 2 + sign * rng.uniform(12, 17)
        for seat in range(look.bench_count):
            x = start + sign * seat * 2.1
            found.append([x, bench_y, facing + rng.normal(0, 0.2), 0.0 if rng.random() < 0.9 else 1.0])
            solid.box(
                np.array([x - 0.75, bench_y - 0.8, 0]), np.array([x + 0.75, bench_y + 0.5, 1.35]), _dim(look.seat, 0.6)
            )
        if look.bench_count and rng.random() < 0.8:
            side = -1 if look.bench_far else 1
            found.append(
                [
                    start + sign * rng.uniform(0, 12),
                    bench_y + side * rng.uniform(2.0, 3.0),
                    facing + rng.normal(0, 0.5),
                    1.0,
                ]
            )
    for _ in range(look.photographers):
        end = rng.random() < 0.5
        x = -rng.uniform(5.5, 9) if end else length + rng.uniform(5.5, 9)
        y = rng.choice([rng.uniform(6, 17), rng.uniform(33, 45)])
        sits = rng.random() < 0.8
        found.append([x, y, 0.0 if end else np.pi, 0.0 if sits else 1.0])
        if sits:
            solid.box(np.array([x - 0.5, y - 0.5, 0]), np.array([x + 0.5, y + 0.5, 1.35]), (0.1, 0.1, 0.11))
    for _ in range(look.standing_people):
        spot = rng.integers(3)
        if spot == 0:
            found.append([rng.uniform(0, length), width + rng.uniform(4, 8), -np.pi / 2 + rng.normal(0, 0.6), 1.0])
        elif spot == 1:
            found.append([-rng.uniform(5, 10), rng.uniform(0, width), rng.normal(0, 0.6), 1.0])
        else:
            found.append([length + rng.uniform(5, 10), rng.uniform(0, width), np.pi + rng.normal(0, 0.6), 1.0])
    return np.array(found, np.float64).reshape(-1, 4)
