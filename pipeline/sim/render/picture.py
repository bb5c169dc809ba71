"""The delivery chain after the lens: blur, tone, grain, sharpening, graphics, compression. NumPy and OpenCV on BGR."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from pipeline.sim.looks import BugLook, Colour, Look, PictureLook
from pipeline.sim.scene import ScoreBug, Transition

NOISE_SIZE = 768


class Grain:
    """A bank of noise, made once; a frame takes a random window of it."""

    def __init__(self, look: PictureLook, seed: int) -> None:
        rng = np.random.default_rng([seed, 21])
        noise: np.ndarray = rng.standard_normal((NOISE_SIZE, NOISE_SIZE * 2, 3), dtype=np.float32)
        if look.noise_px > 0.65:
            noise = cv2.GaussianBlur(noise, (0, 0), look.noise_px * 0.6)
            noise = noise / noise.std()
        grey = noise.mean(2, keepdims=True)
        noise = grey * 1.2 + (noise - grey) * 0.6
        self.noise = np.round(noise * look.noise).astype(np.int16)
        self.strength = look.noise

    def add(self, picture: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        """The picture with grain; larger pictures repeat the bank."""
        if self.strength < 0.4:
            return picture
        height, width = picture.shape[:2]
        noise = self.noise
        while noise.shape[0] < height + 8 or noise.shape[1] < width + 8:
            noise = np.tile(noise, (2, 2, 1))
        y, x = int(rng.integers(noise.shape[0] - height)), int(rng.integers(noise.shape[1] - width))
        return cv2.add(picture, noise[y : y + height, x : x + width], dtype=cv2.CV_8U)


def tone_table(look: PictureLook, exposure: float = 1.0) -> np.ndarray:
    """Look-up table of contrast, gamma and black level, (256,) uint8."""
    x = np.arange(256) / 255.0 * exposure
    y = np.clip(x, 0, 4) ** look.gamma
    y = 0.5 + (y - 0.5) * look.contrast
    y = np.where(y > 0.9, 0.9 + 0.1 * np.tanh((y - 0.9) / 0.1), y)
    return np.round(np.clip(look.black + y * (1 - look.black), 0, 1) * 255).astype(np.uint8)


def saturation_matrix(amount: float) -> np.ndarray:
    """Colour matrix for BGR pixels, (3, 3)."""
    luma = np.array([0.114, 0.587, 0.299])
    return np.tile(luma * (1 - amount), (3, 1)) + np.eye(3) * amount


def smear(picture: np.ndarray, shift_px: np.ndarray) -> np.ndarray:
    """Blur along the way that the whole picture moved during the exposure."""
    length = float(np.hypot(*shift_px))
    if length < 0.8:
        return picture
    size = int(np.ceil(length)) // 2 * 2 + 3
    kernel = np.zeros((size, size), np.float32)
    middle = (size - 1) / 2
    half = np.asarray(shift_px) / 2
    for t in np.linspace(-1, 1, 2 * size + 1):
        x, y = middle + half * t
        x0, y0 = int(np.floor(x)), int(np.floor(y))
        fx, fy = x - x0, y - y0
        for dx, dy, share in (
            (0, 0, (1 - fx) * (1 - fy)),
            (1, 0, fx * (1 - fy)),
            (0, 1, (1 - fx) * fy),
            (1, 1, fx * fy),
        ):
            if 0 <= x0 + dx < size and 0 <= y0 + dy < size:
                kernel[y0 + dy, x0 + dx] += share
    return cv2.filter2D(picture, -1, kernel / kernel.sum(), borderType=cv2.BORDER_REPLICATE)


def develop(
    picture: np.ndarray, look: Look, grain: Grain, rng: np.random.Generator, *, shift_px: np.ndarray, exposure: float
) -> np.ndarray:
    """From the lens's picture to the camera's: smear, defocus, tone, grain, sharpening; a new (H, W, 3) uint8."""
    chain = look.picture
    scale = picture.shape[1] / 1280
    out = smear(picture, shift_px)
    if chain.defocus_px * scale > 0.25:
        out = cv2.GaussianBlur(out, (0, 0), chain.defocus_px * scale)
    out = cv2.transform(out, saturation_matrix(chain.saturation))
    out = cv2.LUT(out, tone_table(chain, exposure))
    out = grain.add(out, rng)
    if chain.sharpening > 0.05:
        soft = cv2.GaussianBlur(out, (0, 0), max(chain.halo_px * scale, 0.5))
        out = cv2.addWeighted(out, 1 + chain.sharpening, soft, -chain.sharpening, 0)
    return out


def deliver(picture: np.ndarray, look: Look, rng: np.random.Generator) -> np.ndarray:
    """Low resolution, interlacing and compression as the look has them."""
    chain = look.picture
    height, width = picture.shape[:2]
    out: np.ndarray = picture
    if chain.interlace > 0:
        shift = max(round(chain.interlace * 3 * width / 1280 * float(rng.choice([-1, 1]))), -3)
        out = out.copy()
        out[1::2] = np.roll(out[1::2], shift, axis=1)
    small = 0 < chain.source_width_px < width
    if small:
        size = (chain.source_width_px, round(chain.source_width_px * height / width))
        out = cv2.resize(out, size, interpolation=cv2.INTER_AREA)
    if chain.jpeg_quality > 0:
        done, data = cv2.imencode(".jpg", out, [cv2.IMWRITE_JPEG_QUALITY, chain.jpeg_quality])
        if done:
            out = np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR))
    if small:
        out = cv2.resize(
            out, (width, height), interpolation=cv2.INTER_CUBIC if chain.jpeg_quality % 2 else cv2.INTER_LINEAR
        )
    return out


def _bgr(colour: Colour) -> tuple[int, int, int]:
    r, g, b = (round(min(max(value, 0.0), 1.0) * 255) for value in colour)
    return (b, g, r)


def clock_text(clock_s: float) -> str:
    """Game clock as it is shown: minutes and seconds, tenths in the last minute."""
    if clock_s < 60:
        return f"{int(clock_s * 10) / 10:.1f}"
    whole = int(clock_s)
    return f"{whole // 60}:{whole % 60:02d}"


PERIODS = ("1ST", "2ND", "3RD", "4TH", "OT")


@dataclass(frozen=True, slots=True)
class BugPlan:
    """Cells of the score graphic: x, y, width, height in units, words, fill and ink; where they lie in the picture."""

    cells: tuple[tuple[float, float, float, float, str, tuple[int, int, int], tuple[int, int, int]], ...]
    left_px: float
    top_px: float
    unit_px: float
    box_px: tuple[int, int, int, int]


def plan_bug(size_px: tuple[int, int], look: Look, bug: ScoreBug) -> BugPlan:
    """Lay the score graphic out in a picture of a given size."""
    style: BugLook = look.bug
    width, height = size_px
    unit = height / 720 * style.scale
    home, away = bug.home_code or look.kits[0].code, bug.away_code or look.kits[1].code
    text, back, accent = _bgr(style.text), _bgr(style.back), _bgr(style.accent)
    clock = clock_text(bug.clock_s)
    shot = "" if bug.shot_clock_s is None else str(int(np.ceil(bug.shot_clock_s)))
    period = PERIODS[min(max(bug.period, 1), 5) - 1]
    teams = ((home, str(bug.home), look.kits[0].jersey), (away, str(bug.away), look.kits[1].jersey))
    cells: list[tuple[float, float, float, float, str, tuple[int, int, int], tuple[int, int, int]]] = []
    if style.layout == 0:  # one strip
        x = 0.0
        for code, score, jersey in teams:
            cells += [
                (x, 0, 10, 40, "", _bgr(jersey), text),
                (x + 10, 0, 74, 40, code, back, text),
                (x + 84, 0, 52, 40, score, accent, (255, 255, 255)),
            ]
            x += 138
        cells += [
            (x, 0, 52, 40, period, back, text),
            (x + 52, 0, 80, 40, clock, back, text),
            (x + 132, 0, 44, 40, shot, accent, (255, 255, 255)),
        ]
    elif style.layout == 1:  # two rows and a clock beside
        for row, (code, score, jersey) in enumerate(teams):
            y = row * 34
            cells += [
                (0, y, 8, 32, "", _bgr(jersey), text),
                (8, y, 150, 32, code, back, text),
                (158, y, 50, 32, score, back, text),
            ]
        cells += [
            (212, 0, 92, 32, clock, back, text),
            (212, 34, 46, 32, period, back, text),
            (258, 34, 46, 32, shot, accent, (255, 255, 255)),
        ]
    elif style.layout == 2:  # clock above
        cells += [
            (0, 0, 60, 28, period, back, text),
            (60, 0, 84, 28, clock, back, text),
            (144, 0, 46, 28, shot, accent, (255, 255, 255)),
        ]
        for row, (code, score, jersey) in enumerate(teams):
            y = 30 + row * 32
            cells += [
                (0, y, 10, 31, "", _bgr(jersey), text),
                (10, y, 120, 31, code, back, text),
                (130, y, 60, 31, score, back, text),
            ]
    else:  # wide bar with badges in the middle
        cells += [
            (0, 0, 90, 44, home, _bgr(look.kits[0].jersey), _ink(look.kits[0].jersey)),
            (90, 0, 60, 44, str(bug.home), back, text),
            (150, 0, 110, 44, clock, accent, (255, 255, 255)),
            (260, 0, 60, 44, str(bug.away), back, text),
            (320, 0, 90, 44, away, _bgr(look.kits[1].jersey), _ink(look.kits[1].jersey)),
            (150, 44, 60, 24, period, back, text),
            (210, 44, 50, 24, shot, back, text),
        ]
    left, top = style.x * width, style.y * height
    span_x, span_y = max(c[0] + c[2] for c in cells) * unit, max(c[1] + c[3] for c in cells) * unit
    left, top = min(left, width - span_x - 4), min(top, height - span_y - 4)
    x0, y0 = max(int(left) - 2, 0), max(int(top) - 2, 0)
    x1, y1 = min(int(left + span_x) + 3, width), min(int(top + span_y) + 3, height)
    return BugPlan(tuple(cells), left, top, unit, (x0, y0, x1, y1))


def draw_bug(picture: np.ndarray, look: Look, bug: ScoreBug) -> None:
    """Draw the score graphic in place, with the ticker and corner sign where the look has them."""
    style: BugLook = look.bug
    height, width = picture.shape[:2]
    plan = plan_bug((width, height), look, bug)
    left, top, unit = plan.left_px, plan.top_px, plan.unit_px
    x0, y0, x1, y1 = plan.box_px
    text, back, accent = _bgr(style.text), _bgr(style.back), _bgr(style.accent)
    under = picture[y0:y1, x0:x1].copy()
    for cx, cy, cw, ch, words, fill, ink in plan.cells:
        a = (int(left + cx * unit), int(top + cy * unit))
        b = (int(left + (cx + cw) * unit), int(top + (cy + ch) * unit))
        cv2.rectangle(picture, a, b, fill, -1)
        if words:
            font, thick = cv2.FONT_HERSHEY_DUPLEX, max(int(unit * 1.4), 1)
            size = ch / 40 * unit * 0.95
            (tw, th), _ = cv2.getTextSize(words, font, size, thick)
            size *= min(1.0, (b[0] - a[0]) * 0.86 / max(tw, 1))
            (tw, th), _ = cv2.getTextSize(words, font, size, thick)
            cv2.putText(
                picture, words, ((a[0] + b[0] - tw) // 2, (a[1] + b[1] + th) // 2), font, size, ink, thick, cv2.LINE_AA
            )
    if style.alpha < 0.98:
        picture[y0:y1, x0:x1] = cv2.addWeighted(picture[y0:y1, x0:x1], style.alpha, under, 1 - style.alpha, 0)
    if style.ticker:
        bar = int(height * 0.045)
        cv2.rectangle(picture, (0, height - bar), (width, height), back, -1)
        words = "   ".join(f"{look.kits[k % 2].code} {40 + 7 * k}" for k in range(9))
        cv2.putText(
            picture,
            words,
            (int(width * 0.06), height - bar // 3),
            cv2.FONT_HERSHEY_DUPLEX,
            height / 1440,
            text,
            1,
            cv2.LINE_AA,
        )
    if style.corner:
        corner = (int(width * 0.93), int(height * 0.07))
        cv2.circle(picture, corner, int(height * 0.022), accent, -1, cv2.LINE_AA)
        cv2.circle(picture, corner, int(height * 0.014), (235, 235, 235), max(int(height * 0.004), 1), cv2.LINE_AA)


def _ink(back: Colour) -> tuple[int, int, int]:
    return (255, 255, 255) if sum(back) / 3 < 0.55 else (20, 20, 20)


def draw_transition(picture: np.ndarray, look: Look, transition: Transition) -> None:
    """Cover the picture in place with the passing graphic; it covers everything around progress 0.5."""
    height, width = picture.shape[:2]
    first, second = _bgr(look.arena.accent), _bgr(look.arena.accent_2)
    p = min(max(transition.progress, 0.0), 1.0)
    if transition.kind == "fade":
        dark = 1 - abs(2 * p - 1)
        picture[:] = (picture * (1 - dark)).astype(np.uint8)
        return
    if transition.kind == "dissolve":
        share = 1 - abs(2 * p - 1)
        flat = np.empty_like(picture)
        flat[:] = first
        picture[:] = cv2.addWeighted(picture, 1 - share, flat, share, 0)
        return
    slant = height * 0.35
    lead, trail = (p * 2) * (width + 2 * slant) - slant, (p * 2 - 1) * (width + 2 * slant) - slant
    band = np.array([[trail - slant, height], [trail, 0], [lead + slant, 0], [lead, height]])
    cv2.fillPoly(picture, [band.astype(np.int32)], first, cv2.LINE_AA)
    stripe = np.array([[lead - slant * 0.6, height], [lead + slant * 0.4, 0], [lead + slant, 0], [lead, height]])
    cv2.fillPoly(picture, [stripe.astype(np.int32)], second, cv2.LINE_AA)
    if transition.kind == "stinger":
        middle = (int((lead + trail) / 2), height // 2)
        cv2.circle(picture, middle, int(height * 0.2), second, -1, cv2.LINE_AA)
        cv2.circle(picture, middle, int(height * 0.13), first, max(height // 40, 1), cv2.LINE_AA)
