"""Torsos with known jersey numbers, painted: the number network's training pictures.

A torso is a rounded cloth with arms, neck and shorts before a floor or a crowd, seen as poorly as film shows it:
turned, leaning, behind arms and others, blurred, small, compressed. Thousands are painted in a second. Digits come in
the simulator's strokes, in block shapes, and in the fonts that come with matplotlib, with outlines, words and stripes.
A torso counts as showing a number where every digit is in view by more than half; where less is in view than a third
of one it shows none; what lies between is not used.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np

from pipeline.sim.looks import club_colour, colour_distance
from pipeline.sim.render.people import SKIN_TONES, digit_texture

SIDE_PX = 64
"""Side of the torsos that the network takes."""

CANVAS_PX = 96
"""Side of the canvas on which they are painted."""

GLYPH_PX = 96
"""Height of a digit as it is kept."""

FONTS: tuple[str, ...] = (
    "DejaVuSans-Bold",
    "DejaVuSans",
    "DejaVuSansMono-Bold",
    "DejaVuSerif-Bold",
    "DejaVuSans-BoldOblique",
    "STIXGeneralBol",
    "STIXGeneralBolIta",
    "cmb10",
    "cmss10",
)

SEEN_SHARE, HIDDEN_SHARE = 0.55, 0.35
"""Shares of a digit in view, against its front view, from and up to which it counts as seen and as hidden."""

NO_NUMBER = ""


@dataclass(frozen=True, slots=True, eq=False)
class Torso:
    """One painted torso.

    Attributes
    ----------
    picture : (SIDE_PX, SIDE_PX, 3) uint8
        BGR.
    number : str
        What it shows; empty for no whole number.
    """

    picture: np.ndarray
    number: str


def _block(chamfer: float) -> list[list[list[tuple[float, float]]]]:
    """Digits as straight strokes with cut corners, in a unit cell, y down."""
    c, d = chamfer, chamfer * 0.6
    ring = [(c, 0), (1 - c, 0), (1, d), (1, 1 - d), (1 - c, 1), (c, 1), (0, 1 - d), (0, d), (c, 0)]
    low = [(1, 0.46 + d), (1, 1 - d), (1 - c, 1), (c, 1), (0, 1 - d), (0, 0.8)]
    six = [(1, 0.22), (1, d), (1 - c, 0), (c, 0), (0, d), (0, 1 - d), (c, 1), (1 - c, 1), (1, 1 - d)]
    six += [(1, 0.46 + d), (1 - c, 0.46), (0, 0.46)]
    return [
        [ring],
        [[(0.15, 0.22), (0.5, 0), (0.5, 1)], [(0.15, 1), (0.85, 1)]],
        [[(0, 0.26), (0, d), (c, 0), (1 - c, 0), (1, d), (1, 0.4), (0, 0.86), (0, 1), (1, 1)]],
        [[(0, 0.22), (0, d), (c, 0), (1 - c, 0), (1, d), (1, 0.46 - d), (1 - c, 0.46), (0.35, 0.46)],
         [(1 - c, 0.46), *low]],
        [[(0.74, 1), (0.74, 0), (0, 0.66), (0, 0.74), (1, 0.74)]],
        [[(1, 0), (0, 0), (0, 0.44), (1 - c, 0.44), *low]],
        [six],
        [[(0, 0), (1, 0), (1, 0.14), (0.36, 1)]],
        [ring, [(0, 0.48), (1, 0.48)]],
        [[(1 - x, 1 - y) for x, y in six]],
    ]  # fmt: skip


def _trimmed(mask: np.ndarray) -> np.ndarray:
    """A glyph cut to its ink and brought to `GLYPH_PX` of height."""
    rows, columns = np.flatnonzero(mask.max(axis=1) > 60), np.flatnonzero(mask.max(axis=0) > 60)
    ink = mask[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    width = max(round(ink.shape[1] * GLYPH_PX / ink.shape[0]), 8)
    return cv2.resize(ink, (width, GLYPH_PX), interpolation=cv2.INTER_AREA)


@lru_cache(maxsize=1)
def glyphs() -> tuple[tuple[np.ndarray, ...], ...]:
    """All styles of digits, ten masks each, (GLYPH_PX, w) uint8."""
    from matplotlib import get_data_path
    from PIL import Image, ImageDraw, ImageFont

    styles = []
    for style in range(3):
        sheet = digit_texture(style)
        cells = [sheet[2:62, d * 48 + 2 : d * 48 + 46] for d in range(10)]
        styles += [tuple(cv2.resize(c, (round(44 * GLYPH_PX / 60), GLYPH_PX)) for c in cells)] * 4
    for chamfer in (0.0, 0.18, 0.32):
        for slim, thick in ((0.42, 11), (0.5, 15), (0.6, 20), (0.7, 24)):
            own = []
            for strokes in _block(chamfer):
                mask = np.zeros((GLYPH_PX + 48, GLYPH_PX + 48), np.uint8)
                for stroke in strokes:
                    points = np.array(stroke) * [slim * GLYPH_PX, GLYPH_PX] + 24
                    corners = [np.round(points * 8).astype(np.int32)]
                    cv2.polylines(mask, corners, isClosed=False, color=255, thickness=thick, lineType=16, shift=3)
                own.append(_trimmed(mask))
            styles.append(tuple(own))
    for font in (cv2.FONT_HERSHEY_SIMPLEX, cv2.FONT_HERSHEY_DUPLEX, cv2.FONT_HERSHEY_TRIPLEX):
        for thick in (8, 13):
            own = []
            for digit in range(10):
                mask = np.zeros((150, 130), np.uint8)
                cv2.putText(mask, str(digit), (20, 120), font, 4.0, 255, thick, cv2.LINE_AA)
                own.append(_trimmed(mask))
            styles.append(tuple(own))
    for name in FONTS:
        face = ImageFont.truetype(str(Path(get_data_path()) / "fonts" / "ttf" / f"{name}.ttf"), 120)
        for outline_px in (0, 3):
            own = []
            for digit in range(10):
                image = Image.new("L", (200, 220))
                ImageDraw.Draw(image).text((40, 20), str(digit), fill=255, font=face, stroke_width=outline_px)
                own.append(_trimmed(np.asarray(image)))
            styles.append(tuple(own))
    return tuple(styles)


def _colour(rng: np.random.Generator) -> np.ndarray:
    return np.array(club_colour(rng))


def _cloth(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Jersey, number and trim, sRGB in 0..1: numbers stand out, more or less."""
    white = np.clip(rng.uniform(0.78, 0.97) + rng.normal(0, 0.025, 3), 0, 1)
    jersey = white if rng.random() < 0.42 else _colour(rng)
    least = float(rng.uniform(0.3, 0.7))
    number = jersey
    for _ in range(12):
        number = _colour(rng) if rng.random() < 0.6 else np.full(3, rng.choice([0.04, 0.95, 0.9]))
        if colour_distance(tuple(number), tuple(jersey)) > least:
            break
    else:
        number = np.full(3, 0.95 if jersey.mean() < 0.5 else 0.05)
    trim = number if rng.random() < 0.5 else _colour(rng)
    return jersey, number, trim


def _soft_noise(rng: np.random.Generator, cells: int, channels: int) -> np.ndarray:
    coarse = rng.standard_normal((cells, cells, channels), dtype=np.float32)
    return cv2.resize(coarse, (CANVAS_PX, CANVAS_PX), interpolation=cv2.INTER_CUBIC).reshape(
        CANVAS_PX, CANVAS_PX, channels
    )


def _background(rng: np.random.Generator) -> np.ndarray:
    """Floor with lines, seats and people as blots, or boards with words; (S, S, 3) float32 RGB."""
    kind = rng.random()
    base = np.clip(rng.uniform(0.1, 0.9, 3) * rng.uniform(0.5, 1.1), 0, 1)
    picture = np.broadcast_to(base, (CANVAS_PX, CANVAS_PX, 3)).astype(np.float32).copy()
    if kind < 0.3:
        picture += float(rng.uniform(0.05, 0.2)) * _soft_noise(rng, int(rng.integers(6, 26)), 3)
    else:
        picture += 0.03 * _soft_noise(rng, int(rng.integers(2, 8)), 1)
        for _ in range(int(rng.integers(0, 4))):
            ends = rng.uniform(-20, CANVAS_PX + 20, 4).astype(int)
            colour = tuple(float(v) for v in rng.uniform(0, 1, 3))
            cv2.line(picture, tuple(ends[:2]), tuple(ends[2:]), colour, int(rng.integers(1, 9)), cv2.LINE_AA)
        if rng.random() < 0.3:
            top = int(rng.uniform(-10, CANVAS_PX))
            picture[max(top, 0) : max(top + int(rng.uniform(15, 60)), 0)] = _colour(rng)
        if rng.random() < 0.12:
            _write(picture, rng, _word(rng), _colour(rng))
    return picture


def _word(rng: np.random.Generator) -> str:
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    return "".join(letters[int(k)] for k in rng.integers(0, 26, int(rng.integers(3, 10))))


def _write(canvas: np.ndarray, rng: np.random.Generator, text: str, colour: np.ndarray) -> None:
    scale, thick = float(rng.uniform(0.4, 1.4)), int(rng.integers(1, 4))
    at = (int(rng.uniform(-20, 40)), int(rng.uniform(10, canvas.shape[0] - 5)))
    mask = np.zeros(canvas.shape[:2], np.uint8)
    cv2.putText(mask, text, at, cv2.FONT_HERSHEY_DUPLEX, scale, 255, thick, cv2.LINE_AA)
    canvas[mask > 127] = colour


def _number_mask(rng: np.random.Generator, number: str, high: float, widest: float) -> tuple[np.ndarray, np.ndarray]:
    """Ink of a number (h, w) in 0..1, and which digit owns each column, (w,) 1 or 2."""
    styles = glyphs()
    style = styles[int(rng.integers(len(styles)))]
    gap = float(rng.uniform(0.02, 0.22)) * high
    stretch = float(rng.uniform(0.65, 1.25))
    digits = [style[int(d)] for d in number]
    widths = [max(g.shape[1] * high / GLYPH_PX * stretch, 2.0) for g in digits]
    total = sum(widths) + gap * (len(digits) - 1)
    if total > widest:
        widths = [w * widest / total for w in widths]
        gap *= widest / total
    rows = max(round(high), 4)
    pieces: list[np.ndarray] = []
    owner: list[int] = []
    for k, (glyph, width) in enumerate(zip(digits, widths, strict=True)):
        if k:
            pieces.append(np.zeros((rows, round(gap)), np.float32))
            owner += [0] * round(gap)
        columns = max(round(width), 2)
        pieces.append(cv2.resize(glyph, (columns, rows), interpolation=cv2.INTER_AREA).astype(np.float32) / 255)
        owner += [k + 1] * columns
    return np.concatenate(pieces, axis=1), np.array(owner)


def paint(rng: np.random.Generator, number: str, *, turned: float | None = None) -> Torso | None:
    """Paint a torso that wears a number (or none, when empty).

    Parameters
    ----------
    turned : float, optional
        How far the body is turned from the camera, radians; drawn when left out.

    Returns
    -------
    Torso or None
        None where it is a matter of taste whether the number can be read.
    """
    size = CANVAS_PX
    jersey, ink, trim = _cloth(rng)
    skin = np.clip(SKIN_TONES[int(rng.integers(len(SKIN_TONES)))] * rng.uniform(0.9, 1.1), 0, 1)
    radius = size * float(rng.uniform(0.15, 0.3))
    yaw = float(np.clip(rng.normal(0, 0.45), -1.6, 1.6)) if turned is None else turned
    lean = float(rng.normal(0, 0.16)) if rng.random() < 0.75 else float(rng.normal(0, 0.4))
    middle = size / 2 + float(np.clip(rng.normal(0, 0.07), -0.22, 0.22)) * size
    top = size * float(rng.uniform(-0.05, 0.16))
    tall = size * float(rng.uniform(0.72, 1.1))

    # the cloth, unrolled: texture coordinates have the canvas's scale, its middle is the number's middle
    wide = int(4 * radius) // 2 * 2
    texture = np.broadcast_to(jersey, (size, wide, 3)).astype(np.float32).copy()
    owner = np.zeros((size, wide), np.uint8)
    if rng.random() < 0.25:
        side = int(radius * rng.uniform(0.25, 0.6))
        for x in (wide / 2 - 1.57 * radius, wide / 2 + 1.57 * radius):
            texture[:, max(int(x) - side, 0) : max(int(x) + side, 0)] = trim
    if rng.random() < 0.05:
        period = int(rng.integers(6, 20))
        texture[:, (np.arange(wide) // period) % 2 == 0] = trim
    high = size * float(rng.uniform(0.13, 0.34))
    above = size * float(rng.uniform(0.1, 0.36))
    if number:
        mask, columns = _number_mask(rng, number, high, 1.7 * radius)
        rows = mask.shape[0]
        x0, y0 = (wide - mask.shape[1]) // 2, int(above)
        mask = mask[: size - y0]
        patch = texture[y0 : y0 + len(mask), x0 : x0 + mask.shape[1]]
        if rng.random() < 0.45:
            border = max(round(rows * float(rng.uniform(0.03, 0.1))), 1)
            grown = cv2.dilate(
                cv2.copyMakeBorder(mask, border, border, border, border, cv2.BORDER_CONSTANT),
                np.ones((2 * border + 1,) * 2, np.uint8),
            )
            ya, xa = max(y0 - border, 0), max(x0 - border, 0)
            room = texture[ya : ya + grown.shape[0], xa : xa + grown.shape[1]]
            grown = grown[: room.shape[0], : room.shape[1], None]
            outline = trim if colour_distance(tuple(trim), tuple(ink)) > 0.25 else 1 - np.round(ink)
            room[:] = room * (1 - grown) + outline * grown
        patch[:] = patch * (1 - mask[..., None]) + ink * mask[..., None]
        owner[y0 : y0 + len(mask), x0 : x0 + mask.shape[1]] = np.where(mask > 0.5, columns, 0)
    for _ in range(int(rng.integers(0, 3)) if number else int(rng.integers(0, 4))):
        _letter(texture, rng, ink if rng.random() < 0.7 else trim, radius, owner, (above, above + high))

    # onto the body
    yy, xx = np.mgrid[0:size, 0:size].astype(np.float32)
    cos, sin = np.float32(np.cos(lean)), np.float32(np.sin(lean))
    x, y = xx - np.float32(middle), yy - np.float32(size * 0.45)
    across, down = x * cos + y * sin, y * cos - x * sin + np.float32(size * 0.45)
    share = np.clip((down - top) / tall, 0, 1)
    breadth = radius * (np.clip(0.62 + 1.6 * share, 0, 1) - float(rng.uniform(0, 0.18)) * share)
    breadth = breadth.astype(np.float32)
    u = across / breadth
    phi = np.arcsin(np.clip(u, -1, 1)).astype(np.float32)
    bow = float(rng.normal(0, 0.03)) * size
    map_x = (radius * (phi - np.float32(yaw)) + wide / 2).astype(np.float32)
    map_y = (down - top + bow * (1 - np.cos(phi))).astype(np.float32)
    cloth = cv2.remap(texture, map_x, map_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    owned = cv2.remap(owner, map_x, map_y, cv2.INTER_NEAREST, borderMode=cv2.BORDER_CONSTANT)
    alpha = np.clip((1 - np.abs(u)) * breadth, 0, 1) * np.clip(down - top, 0, 1) * np.clip(top + tall - down, 0, 1)
    alpha = alpha.astype(np.float32)

    picture = _background(rng)
    if rng.random() < 0.35:
        _other_body(picture, rng)
    head = (int(middle + sin * (size * 0.45 - top)), int(top - radius * 0.5))
    cv2.ellipse(picture, head, (int(radius * 0.42), int(radius * 0.55)), 0, 0, 360, tuple(map(float, skin)), -1)
    cv2.line(picture, head, (int(middle), int(top + 6)), tuple(map(float, skin)), max(int(radius * 0.4), 2))
    sleeve = skin if rng.random() < 0.8 else _colour(rng)
    for sign in (-1, 1):
        _arm(picture, rng, (middle + sign * radius * 0.85, top + radius * 0.35), radius, sleeve)
    hips = top + tall - 2
    shorts = jersey if rng.random() < 0.6 else _colour(rng)
    cv2.rectangle(
        picture,
        (int(middle - radius * 0.95), int(hips)),
        (int(middle + radius * 0.95), size + 9),
        tuple(map(float, shorts)),
        -1,
    )
    light = float(rng.uniform(-1.2, 1.2))
    shade = float(rng.uniform(0.0, 0.5))
    lit = (
        1
        - shade * (1 - np.cos(phi - light))
        + float(rng.uniform(0, 0.12)) * _soft_noise(rng, int(rng.integers(4, 14)), 1)[..., 0]
    )
    if rng.random() < 0.2:
        lit *= np.where(across * np.cos(light) + down * np.sin(light) > size * 0.4, 1, rng.uniform(0.6, 0.95))
    picture += (cloth * lit.astype(np.float32)[..., None] - picture) * alpha[..., None]

    covered = rng.random() < 0.4
    before = picture.copy() if covered else picture
    if covered:
        _occlude(picture, rng, middle, radius, skin)
    visible = owned * (alpha > 0.5)
    if covered:
        visible = visible * (picture == before).all(axis=2)
    if number:
        margin = int(size * 0.01)
        inner = visible[margin : size - margin, margin : size - margin]
        shares = []
        for k in range(len(number)):
            whole = int((owner == k + 1).sum())
            shares.append(int((inner == k + 1).sum()) / max(whole, 1))
        if min(shares) < SEEN_SHARE and not max(shares) <= HIDDEN_SHARE and not min(shares) <= HIDDEN_SHARE:
            return None
        if min(shares) <= HIDDEN_SHARE:
            number = NO_NUMBER
    return Torso(film(rng, picture), number)


def _letter(
    texture: np.ndarray,
    rng: np.random.Generator,
    colour: np.ndarray,
    radius: float,
    owner: np.ndarray,
    keep_off: tuple[float, float],
) -> None:
    """A word, a row of bars or a badge somewhere on the cloth, not over the number."""
    size, wide = texture.shape[:2]
    kind = rng.random()
    high = int(size * rng.uniform(0.035, 0.13))
    places = [int(keep_off[0] - high - rng.uniform(1, 8)), int(keep_off[1] + rng.uniform(2, 14))]
    y = places[int(rng.random() < 0.35)] if owner.any() else int(rng.uniform(0.08, 0.7) * size)
    if y < 0 or y + high >= size:
        return
    length = int(radius * rng.uniform(0.6, 2.0))
    x = wide // 2 - length // 2 + int(rng.normal(0, 0.12) * radius)
    room = texture[y : y + high, max(x, 0) : x + length]
    if room.shape[1] < 4:
        return
    if kind < 0.35:
        bars = np.repeat(rng.random(room.shape[1] // 3 + 1) < 0.55, 3)[: room.shape[1]]
        room[:, bars] = colour
    elif kind < 0.85:
        mask: np.ndarray = np.zeros((40, 400), np.uint8)
        text = _word(rng)
        font = (cv2.FONT_HERSHEY_DUPLEX, cv2.FONT_HERSHEY_TRIPLEX, cv2.FONT_HERSHEY_SIMPLEX)[int(rng.integers(3))]
        cv2.putText(mask, text, (4, 32), font, 1.0, 255, int(rng.integers(2, 5)), cv2.LINE_AA)
        ink = np.flatnonzero(mask.max(axis=0))
        mask = cv2.resize(
            mask[4:38, ink[0] : ink[-1] + 1], (room.shape[1], room.shape[0]), interpolation=cv2.INTER_AREA
        )
        alpha = mask[..., None].astype(np.float32) / 255
        room[:] = room * (1 - alpha) + colour * alpha
    else:
        at = (int(wide / 2 + rng.normal(0, 0.5) * radius), y + high // 2)
        cv2.circle(texture, at, max(int(high * rng.uniform(0.2, 0.6)), 1), tuple(map(float, colour)), -1, cv2.LINE_AA)


def _arm(picture: np.ndarray, rng: np.random.Generator, shoulder: tuple[float, float], radius: float,
         colour: np.ndarray) -> None:  # fmt: skip
    """Upper arm and forearm from a shoulder, in any pose."""
    angle = float(rng.uniform(-0.6, np.pi + 0.6))
    tone = tuple(float(v) for v in colour * rng.uniform(0.75, 1.0))
    elbow = (shoulder[0] + np.cos(angle) * radius * 1.3, shoulder[1] + np.sin(angle) * radius * 1.3)
    bend = angle + float(rng.normal(0, 1.0))
    hand = (elbow[0] + np.cos(bend) * radius * 1.2, elbow[1] + np.sin(bend) * radius * 1.2)
    thick = max(int(radius * rng.uniform(0.3, 0.45)), 2)
    for a, b in ((shoulder, elbow), (elbow, hand)):
        cv2.line(picture, (int(a[0]), int(a[1])), (int(b[0]), int(b[1])), tone, thick, cv2.LINE_AA)


def _other_body(picture: np.ndarray, rng: np.random.Generator) -> None:
    """Somebody behind: a patch of cloth, now and then with strokes on it."""
    size = CANVAS_PX
    x, w = int(rng.uniform(-30, size - 10)), int(rng.uniform(20, 60))
    y = int(rng.uniform(-40, size * 0.7))
    cv2.rectangle(picture, (x, y), (x + w, y + int(rng.uniform(50, 140))), tuple(float(v) for v in _cloth(rng)[0]), -1)
    if rng.random() < 0.5:
        tone = SKIN_TONES[int(rng.integers(len(SKIN_TONES)))]
        cv2.circle(picture, (x + w // 2, y - 8), int(w * 0.25), tuple(float(v) for v in tone), -1)


def _occlude(picture: np.ndarray, rng: np.random.Generator, middle: float, radius: float, skin: np.ndarray) -> None:
    """An arm, another body or a ball before the torso."""
    size, kind = CANVAS_PX, rng.random()
    if kind < 0.55:
        tone = skin if rng.random() < 0.5 else SKIN_TONES[int(rng.integers(len(SKIN_TONES)))]
        start = (middle + float(rng.choice([-1, 1])) * radius * float(rng.uniform(0.7, 1.6)), rng.uniform(0, size))
        _arm(picture, rng, (float(start[0]), float(start[1])), radius, np.asarray(tone))
    elif kind < 0.85:
        side = float(rng.choice([-1, 1]))
        edge = middle + side * radius * float(rng.uniform(-0.6, 1.1))
        x0, x1 = (edge, edge + 60) if side > 0 else (edge - 60, edge)
        jersey, ink, _ = _cloth(rng)
        top = float(rng.uniform(-30, size * 0.6))
        cv2.rectangle(picture, (int(x0), int(top)), (int(x1), size + 5), tuple(map(float, jersey)), -1)
        if rng.random() < 0.4:
            a, b = (int(v) for v in rng.uniform(x0, x1, 2))
            cv2.line(picture, (a, int(top + 20)), (b, int(top + 60)), tuple(map(float, ink)), 4, cv2.LINE_AA)
    else:
        ball = (0.8 * rng.uniform(0.8, 1.1), 0.42, 0.18)
        at = (int(middle + rng.normal(0, 1) * radius), int(rng.uniform(0.2, 1.0) * size))
        cv2.circle(picture, at, int(radius * 0.45), ball, -1, cv2.LINE_AA)


def film(rng: np.random.Generator, picture: np.ndarray) -> np.ndarray:
    """What film leaves of a clean picture (S, S, 3) RGB in 0..1: (SIDE_PX, SIDE_PX, 3) uint8 BGR."""
    if rng.random() < 0.3:
        length = int(rng.integers(3, 12))
        kernel = np.zeros((length, length), np.float32)
        angle = float(rng.normal(0, 0.4))
        half = (length - 1) / 2
        for k in np.linspace(-half, half, 2 * length):
            kernel[round(half + k * np.sin(angle)), round(half + k * np.cos(angle))] = 1
        picture = cv2.filter2D(picture, -1, kernel / kernel.sum())
    source = round(float(np.exp(rng.uniform(np.log(24), np.log(110)))))
    how = cv2.INTER_AREA if source < CANVAS_PX else cv2.INTER_LINEAR
    small = cv2.resize(picture, (source, source), interpolation=how)
    tint = (1 + rng.normal(0, 0.06, 3)).astype(np.float32)
    contrast, gain = float(rng.uniform(0.65, 1.35)), float(rng.uniform(0.6, 1.25))
    small = np.clip((small * gain - 0.5) * contrast + 0.5, 0, 1) * tint
    grey = (small @ np.array([0.2126, 0.7152, 0.0722], np.float32))[..., None]
    small = np.clip(grey + (small - grey) * float(rng.uniform(0.4, 1.3)), 0, 1)
    blur = float(rng.uniform(0, 1.1)) if rng.random() < 0.8 else float(rng.uniform(1.0, 1.8))
    if blur > 0.25:
        small = cv2.GaussianBlur(small, (0, 0), blur)
    if rng.random() < 0.6:
        sharp = float(rng.uniform(0, 1.3))
        small = small + sharp * (small - cv2.GaussianBlur(small, (0, 0), float(rng.uniform(0.7, 1.8))))
    noise = float(min(rng.gamma(1.4, 1.9), 11.0)) / 255
    small = small + noise * rng.standard_normal(small.shape, dtype=np.float32)
    level = np.clip(small[..., ::-1] * 255, 0, 255).astype(np.uint8)
    if rng.random() < 0.85:
        pad = int(rng.integers(0, 8))
        padded = cv2.copyMakeBorder(level, pad, 0, pad, 0, cv2.BORDER_REPLICATE)
        _, code = cv2.imencode(".jpg", padded, [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(18, 92))])
        read = cv2.imdecode(code, cv2.IMREAD_COLOR)
        assert read is not None
        level = read[pad:, pad:]
    how = cv2.INTER_AREA if source > SIDE_PX else cv2.INTER_CUBIC
    return cv2.resize(level, (SIDE_PX, SIDE_PX), interpolation=how)


def draw_number(rng: np.random.Generator) -> str:
    """A number as players wear them: low ones more often, every digit in every place."""
    kind = rng.random()
    if kind < 0.28:
        return str(rng.integers(10))
    if kind < 0.3:
        return "00"
    if kind < 0.65:
        return str(rng.integers(10, 56))
    return str(rng.integers(10, 100))


def draw_torso(rng: np.random.Generator) -> Torso:
    """Any torso: two in three wear a number that faces the camera more or less."""
    while True:
        kind = rng.random()
        if kind < 0.74:
            torso = paint(rng, draw_number(rng))
        elif kind < 0.82:
            torso = paint(rng, draw_number(rng), turned=float(rng.choice([-1, 1]) * rng.uniform(0.9, 2.0)))
        elif kind < 0.95:
            torso = paint(rng, NO_NUMBER)
        else:
            torso = Torso(film(rng, _background(rng)), NO_NUMBER)
        if torso is not None:
            return torso


def draw_torsos(seed: int, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Many torsos from one seed: pictures (count, S, S, 3) uint8 BGR, and labels (count, 3) int64.

    Labels are seen (0 or 1), tens (0 none, 1 to 10 for 0 to 9) and ones (0 to 9); the last two are -1 for no number.
    """
    rng = np.random.default_rng([0x7045, seed])
    cv2.setNumThreads(1)
    pictures = np.empty((count, SIDE_PX, SIDE_PX, 3), np.uint8)
    labels = np.empty((count, 3), np.int64)
    for k in range(count):
        torso = draw_torso(rng)
        pictures[k] = torso.picture
        labels[k] = label_of(torso.number)
    return pictures, labels


def label_of(number: str) -> tuple[int, int, int]:
    """A number as the network's labels: seen, tens, ones."""
    if not number:
        return (0, -1, -1)
    return (1, int(number[0]) + 1 if len(number) == 2 else 0, int(number[-1]))
