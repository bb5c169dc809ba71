"""The painted floor as one texture: wood, areas, art, lines of the rule book, lines of other sports.

The texture covers the court and a margin; row 0 is the near edge (y = -MARGIN_Y_FT), column 0 the left one.
"""

from __future__ import annotations

import cv2
import numpy as np

from pipeline.court.geometry import areas, markings
from pipeline.court.rule_books import RULE_BOOKS, RuleBook
from pipeline.sim.looks import LETTERS, Colour, FloorLook

MARGIN_X_FT = 24.0
MARGIN_Y_FT = 18.0
SHIFT = 4
"""Fractional bits of the drawing coordinates."""


def floor_size_ft(book: RuleBook) -> tuple[float, float]:
    """Length and width that the texture covers."""
    return book.length_ft + 2 * MARGIN_X_FT, book.width_ft + 2 * MARGIN_Y_FT


class _Canvas:
    """Draw in court feet on a colour picture and a paint-cover picture."""

    def __init__(self, book: RuleBook, px_per_ft: float, wood: Colour) -> None:
        length, width = floor_size_ft(book)
        self.px_per_ft = px_per_ft
        shape = (round(width * px_per_ft), round(length * px_per_ft))
        self.colour = np.empty((*shape, 3), np.uint8)
        self.colour[:] = _bytes(wood)
        self.cover = np.zeros(shape, np.uint8)

    def px(self, xy_ft: np.ndarray) -> np.ndarray:
        """Court feet (N, 2) to fixed-point drawing coordinates."""
        scaled = (np.asarray(xy_ft, np.float64) + np.array([MARGIN_X_FT, MARGIN_Y_FT])) * self.px_per_ft - 0.5
        return np.round(scaled * (1 << SHIFT)).astype(np.int32)

    def polygon(self, xy_ft: np.ndarray, colour: Colour, cover: float = 1.0) -> None:
        points = [self.px(xy_ft)]
        cv2.fillPoly(self.colour, points, _bytes(colour), cv2.LINE_AA, SHIFT)
        cv2.fillPoly(self.cover, points, int(cover * 255), cv2.LINE_AA, SHIFT)

    def ribbon(self, xy_ft: np.ndarray, width_ft: float, colour: Colour, *, alpha: float = 1.0) -> None:
        """A polyline of true width, mitred."""
        quads = ribbon_quads(xy_ft, width_ft)
        mask = None
        points = [self.px(quad) for quad in quads]
        if alpha >= 0.99:
            for quad in points:
                cv2.fillConvexPoly(self.colour, quad, _bytes(colour), cv2.LINE_AA, SHIFT)
                cv2.fillConvexPoly(self.cover, quad, 200, cv2.LINE_AA, SHIFT)
            return
        every = np.concatenate(points)
        low = np.maximum((every.min(0) >> SHIFT) - 2, 0)
        high = (every.max(0) >> SHIFT) + 3
        mask = np.zeros((high[1] - low[1], high[0] - low[0]), np.uint8)
        for quad in points:
            cv2.fillConvexPoly(mask, quad - (low << SHIFT).astype(np.int32), 255, cv2.LINE_AA, SHIFT)
        self.stamp(mask, int(low[0]), int(low[1]), colour, alpha)

    def stamp(self, mask: np.ndarray, x_px: int, y_px: int, colour: Colour, alpha: float) -> None:
        """Blend a colour through a mask whose top-left pixel lies at (x_px, y_px)."""
        height, width = self.cover.shape
        x0, y0 = max(x_px, 0), max(y_px, 0)
        x1, y1 = min(x_px + mask.shape[1], width), min(y_px + mask.shape[0], height)
        if x1 <= x0 or y1 <= y0:
            return
        part = mask[y0 - y_px : y1 - y_px, x0 - x_px : x1 - x_px]
        ys, xs = np.nonzero(part)
        if len(ys) == 0:
            return
        share = (part[ys, xs].astype(np.float32) * (alpha / 255.0))[:, None]
        region = self.colour[y0:y1, x0:x1]
        old = region[ys, xs].astype(np.float32)
        region[ys, xs] = (old + (np.array(_bytes(colour), np.float32) - old) * share).astype(np.uint8)
        cover = self.cover[y0:y1, x0:x1]
        cover[ys, xs] = np.maximum(cover[ys, xs], (share[:, 0] * 200).astype(np.uint8))


def _bytes(colour: Colour) -> tuple[int, int, int]:
    r, g, b = (round(min(max(value, 0.0), 1.0) * 255) for value in colour)
    return (r, g, b)


def ribbon_quads(xy_ft: np.ndarray, width_ft: float | np.ndarray) -> np.ndarray:
    """Quads (N - 1, 4, 2) along a polyline (N, 2), joined on the bisectors."""
    points = np.asarray(xy_ft, np.float64)
    step = np.diff(points, axis=0)
    step /= np.maximum(np.linalg.norm(step, axis=1, keepdims=True), 1e-9)
    normal = np.column_stack([-step[:, 1], step[:, 0]])
    joint = np.vstack([normal[:1], normal[:-1] + normal[1:], normal[-1:]])
    if np.allclose(points[0], points[-1]) and len(points) > 2:
        joint[0] = joint[-1] = normal[0] + normal[-1]
    joint /= np.maximum(np.linalg.norm(joint, axis=1, keepdims=True), 1e-9)
    along = np.vstack([normal[:1], normal])
    half = np.broadcast_to(np.asarray(width_ft, np.float64) / 2, (len(points),))[:, None]
    offset = joint * half / np.maximum(np.sum(joint * along, axis=1, keepdims=True), 0.5)
    left, right = points + offset, points - offset
    return np.stack([left[:-1], left[1:], right[1:], right[:-1]], axis=1)


def circle_points(
    centre_ft: tuple[float, float], radius_ft: float, start: float = 0.0, end: float = 2 * np.pi
) -> np.ndarray:
    """Points on a circle, about 0.4 ft apart, both ends included."""
    count = max(int(abs(end - start) * radius_ft / 0.4), 12)
    angle = np.linspace(start, end, count + 1)
    return np.column_stack([centre_ft[0] + radius_ft * np.cos(angle), centre_ft[1] + radius_ft * np.sin(angle)])


def _grain(look: FloorLook, shape: tuple[int, int], px_per_ft: float, rng: np.random.Generator) -> np.ndarray:
    """Relative brightness of the bare wood, uint8 around 200."""
    height, width = shape
    if look.material == "plain":
        rough = rng.normal(200, 60 * look.grain, (height // 8, width // 8)).astype(np.float32)
        return np.clip(cv2.resize(rough, (width, height), interpolation=cv2.INTER_CUBIC), 0, 255).astype(np.uint8)
    row_px = max(look.plank_width_ft * px_per_ft, 2.0)
    rows = int(np.ceil(height / row_px))
    if look.material == "parquet":
        cell = max(look.plank_width_ft * 3.0, 1.0)
        columns, rows = int(np.ceil(width / (cell * px_per_ft))), int(np.ceil(height / (cell * px_per_ft)))
        base = rng.normal(0, look.plank_contrast * 0.7, (rows, columns))
        checker = (np.add.outer(np.arange(rows), np.arange(columns)) % 2 - 0.5) * look.plank_contrast * 1.2
        small = (200 * (1 + base + checker)).astype(np.float32)
        planks = cv2.resize(small, (width, height), interpolation=cv2.INTER_NEAREST)
    else:
        columns = width
        length_px = look.plank_length_ft * px_per_ft
        values = rng.normal(0, look.plank_contrast, (rows, int(width / length_px) + 3))
        offset = rng.uniform(0, length_px, rows)
        index = ((np.arange(columns)[None] + offset[:, None]) / length_px).astype(np.int32)
        lines = np.take_along_axis(values, index, axis=1)
        if look.material == "panels":
            panel = 4.0 * px_per_ft
            across = rng.normal(
                0, look.plank_contrast * 0.5, (int(rows * row_px / (panel * 2)) + 2, int(width / panel) + 2)
            )
            column_id = (np.arange(columns) / panel).astype(np.int32)
            row_id = (np.arange(rows) * row_px / (panel * 2)).astype(np.int32)
            lines = lines + across[row_id][:, column_id]
        planks = cv2.resize(
            (200 * (1 + lines)).astype(np.float32),
            (width, height),
            interpolation=cv2.INTER_AREA if row_px < 1 else cv2.INTER_NEAREST,
        )
    streak = rng.normal(0, 1, (height // 2, width // 24)).astype(np.float32)
    planks = planks + cv2.resize(streak, (width, height), interpolation=cv2.INTER_LINEAR) * (200 * look.grain)
    broad = cv2.resize(rng.normal(0, 1, (9, 15)).astype(np.float32), (width, height), interpolation=cv2.INTER_CUBIC)
    planks = planks + broad * (200 * look.wear)
    return np.clip(planks, 0, 255).astype(np.uint8)


def word_mask(rng: np.random.Generator, height_px: int) -> np.ndarray:
    """An invented word or sign as an alpha mask, reading normally, about `height_px` high."""
    kind = rng.random()
    if kind < 0.2:
        return emblem_mask(rng, height_px)
    letters = "".join(LETTERS[int(rng.integers(len(LETTERS)))] for _ in range(int(rng.integers(3, 11))))
    font = [cv2.FONT_HERSHEY_DUPLEX, cv2.FONT_HERSHEY_SIMPLEX, cv2.FONT_HERSHEY_TRIPLEX, cv2.FONT_HERSHEY_COMPLEX][
        int(rng.integers(4))
    ]
    letters = letters if rng.random() < 0.6 else letters.title()
    thick = int(rng.integers(2, 7))
    (width, height), base = cv2.getTextSize(letters, font, 2.0, thick)
    mask = np.zeros((height + base + 8, width + 8), np.uint8)
    cv2.putText(mask, letters, (4, height + 4), font, 2.0, 255, thick, cv2.LINE_AA)
    stretch = rng.uniform(0.8, 1.5)
    width_px = max(int(mask.shape[1] * height_px / mask.shape[0] * stretch), 2)
    return cv2.resize(mask, (width_px, max(height_px, 2)), interpolation=cv2.INTER_AREA)


def emblem_mask(rng: np.random.Generator, size_px: int) -> np.ndarray:
    """An abstract badge: rings, bars, wedges, a polygon."""
    size = 128
    mask = np.zeros((size, size), np.uint8)
    centre = (size // 2, size // 2)
    for _ in range(int(rng.integers(2, 6))):
        value = 255 if rng.random() < 0.65 else 0
        shape = int(rng.integers(5))
        radius = int(rng.integers(14, 62))
        if shape == 0:
            cv2.circle(mask, centre, radius, value, int(rng.integers(3, 16)) if rng.random() < 0.6 else -1, cv2.LINE_AA)
        elif shape == 1:
            count = int(rng.integers(3, 9))
            angle = rng.uniform(0, 7) + np.arange(count) * 2 * np.pi / count
            pull = np.where(np.arange(count) % 2 == 0, 1.0, rng.uniform(0.35, 1.0))
            points = 64 + radius * np.column_stack([np.cos(angle), np.sin(angle)]) * pull[:, None]
            cv2.fillPoly(mask, [points.astype(np.int32)], value, cv2.LINE_AA)
        elif shape == 2:
            cv2.ellipse(
                mask,
                centre,
                (radius, int(radius * rng.uniform(0.3, 1))),
                float(rng.uniform(0, 180)),
                float(rng.uniform(0, 180)),
                float(rng.uniform(200, 360)),
                value,
                int(rng.integers(4, 14)),
                cv2.LINE_AA,
            )
        elif shape == 3:
            first, second = rng.integers(8, 120, (2, 2))
            cv2.line(mask, first.tolist(), second.tolist(), value, int(rng.integers(4, 22)), cv2.LINE_AA)
        else:
            letter = LETTERS[int(rng.integers(len(LETTERS)))]
            cv2.putText(
                mask,
                letter,
                (int(rng.integers(20, 50)), 96),
                cv2.FONT_HERSHEY_DUPLEX,
                float(rng.uniform(1.5, 3.4)),
                value,
                int(rng.integers(4, 12)),
                cv2.LINE_AA,
            )
    return cv2.resize(mask, (max(size_px, 2), max(size_px, 2)), interpolation=cv2.INTER_AREA)


def _place(
    canvas: _Canvas, mask: np.ndarray, centre_ft: tuple[float, float], quarter_turns: int, colour: Colour, alpha: float
) -> None:
    """Lay a mask on the floor; 0 turns reads normally from the near side."""
    turned = np.ascontiguousarray(np.rot90(mask, quarter_turns)[::-1])
    x = (centre_ft[0] + MARGIN_X_FT) * canvas.px_per_ft - turned.shape[1] / 2
    y = (centre_ft[1] + MARGIN_Y_FT) * canvas.px_per_ft - turned.shape[0] / 2
    canvas.stamp(turned, round(x), round(y), colour, alpha)


def _art(canvas: _Canvas, look: FloorLook, book: RuleBook, rng: np.random.Generator) -> None:
    scale = canvas.px_per_ft
    middle = (book.length_ft / 2, book.width_ft / 2)
    mark = look.apron or look.lane_band
    ink: list[Colour] = [mark, look.lane_band, (0.1, 0.1, 0.12), (0.93, 0.93, 0.93), look.lane_art_colour]
    if look.centre_art > 0:
        alpha = float(rng.uniform(0.35, 1.0))
        if rng.random() < 0.45:
            canvas.polygon(circle_points(middle, look.centre_art / 2 * 0.9), ink[int(rng.integers(5))], 0.8)
        for _ in range(int(rng.integers(1, 4))):
            _place(
                canvas,
                emblem_mask(rng, int(look.centre_art * scale * rng.uniform(0.5, 1))),
                middle,
                int(rng.integers(4)),
                ink[int(rng.integers(5))],
                alpha,
            )
        if rng.random() < 0.4:
            _place(
                canvas, word_mask(rng, int(look.centre_art * 0.25 * scale)), middle, 0, ink[int(rng.integers(5))], alpha
            )
    if look.lane_art > 0:
        colour, second = look.lane_art_colour, ink[int(rng.integers(5))]
        wide = rng.uniform(0.75, 1.6)
        masks = word_mask(rng, int(look.lane_art * 0.3 * scale))
        from_baseline = book.lane_length_ft + float(rng.uniform(-1, 5))
        for x in (from_baseline, book.length_ft - from_baseline):
            ellipse = (
                circle_points((0.0, 0.0), look.lane_art / 2) * [wide, 1.0]
                if wide < 1.2
                else circle_points((0.0, 0.0), look.lane_art / 2)
            )
            canvas.polygon(ellipse + np.array([x, middle[1]]), colour, 0.9)
            _place(canvas, masks, (x, middle[1]), 0, second, 0.95)
    for _ in range(look.side_words):
        x = rng.uniform(6, book.length_ft - 6)
        near = rng.random() < 0.5
        y = rng.uniform(1.5, 7) if near else book.width_ft - rng.uniform(1.5, 7)
        if rng.random() < 0.35:
            y = -rng.uniform(1.5, 5) if near else book.width_ft + rng.uniform(1.5, 5)
        _place(
            canvas,
            word_mask(rng, int(rng.uniform(1.5, 5) * scale)),
            (x, y),
            0 if rng.random() < 0.8 else 2,
            ink[int(rng.integers(5))],
            float(rng.uniform(0.3, 1.0)),
        )
    for _ in range(look.baseline_words):
        mask = word_mask(rng, int(rng.uniform(2, 4.5) * scale))
        contrast: Colour = (0.94, 0.94, 0.94) if rng.random() < 0.7 else ink[int(rng.integers(5))]
        y = rng.uniform(8, book.width_ft - 8)
        inset = rng.uniform(2, 5)
        _place(canvas, mask, (-inset, y), int(rng.choice([1, 3])), contrast, 0.95)
        _place(canvas, mask, (book.length_ft + inset, y), int(rng.choice([1, 3])), contrast, 0.95)
    if rng.random() < 0.25:  # advertising mats beside the lane, drawn on the baseline
        for x in (1.6, book.length_ft - 1.6):
            y = middle[1] + rng.choice([-1, 1]) * (book.lane_width_ft / 2 + rng.uniform(3, 6))
            canvas.polygon(
                np.array([[x - 1.3, y - 4], [x + 1.3, y - 4], [x + 1.3, y + 4], [x - 1.3, y + 4]]),
                ink[int(rng.integers(5))],
                0.9,
            )
            _place(canvas, word_mask(rng, int(1.6 * scale)), (x, y), 1, (0.95, 0.95, 0.95), 0.9)


def _ghosts(canvas: _Canvas, look: FloorLook, book: RuleBook, rng: np.random.Generator) -> None:
    """Large faint shapes over wood and paint, as stains in a second tone."""
    for _ in range(look.ghost_art):
        share = float(rng.uniform(0.6, 0.9))
        tone = (look.wood[0] * share, look.wood[1] * share, look.wood[2] * share)
        mask = emblem_mask(rng, int(rng.uniform(18, 48) * canvas.px_per_ft))
        place = (float(rng.uniform(5, book.length_ft - 5)), float(rng.uniform(5, book.width_ft - 5)))
        _place(canvas, mask, place, int(rng.integers(4)), tone, float(rng.uniform(0.25, 0.7)))


def _side_marks(canvas: _Canvas, look: FloorLook, book: RuleBook) -> None:
    """Short marks at the sidelines: 28 ft from the baselines reaching in (NBA), or outside for benches (FIBA)."""
    if look.side_marks == "none":
        return
    inward = 3.0 if look.side_marks == "nba" else -6.0
    distance = 28.0 if look.side_marks == "nba" else book.length_ft / 2 - 16.4
    for x in (distance, book.length_ft - distance):
        for y, sign in ((0.0, 1.0), (book.width_ft, -1.0)):
            mark = np.array([[x, y], [x, y + sign * inward]])
            canvas.ribbon(mark, book.line_width_ft, look.line, alpha=look.line_alpha)


def _second_lines(canvas: _Canvas, look: FloorLook, book: RuleBook, rng: np.random.Generator) -> None:
    """Three-point lines of another level of play, on the same baselines, in another colour."""
    if look.second_book is None:
        return
    other = RULE_BOOKS[look.second_book]
    colour = look.other_sport_colours[0] if rng.random() < 0.6 else look.lane_band
    for mark in markings(other):
        if mark.kind != "three_point":
            continue
        shift_x = book.length_ft - other.length_ft if mark.name.endswith("right") else 0.0
        moved = mark.points_ft + np.array([shift_x, (book.width_ft - other.width_ft) / 2])
        canvas.ribbon(moved, mark.width_ft, colour, alpha=look.line_alpha)


def _other_sports(canvas: _Canvas, look: FloorLook, book: RuleBook, rng: np.random.Generator) -> None:
    """Volleyball, handball and badminton lines, thin and in other colours."""
    mid_x, mid_y = book.length_ft / 2, book.width_ft / 2
    for number in range(look.other_sports):
        colour, alpha = look.other_sport_colours[number % 3], float(rng.uniform(0.4, 1.0))
        kind, width = int(rng.integers(3)), float(rng.uniform(0.12, 0.18))
        lines: list[np.ndarray] = []
        if kind == 0:  # volleyball, 18 m x 9 m, attack lines 3 m from the net
            hx, hy = 29.5, 14.8
            lines = [np.array([[-hx, -hy], [hx, -hy], [hx, hy], [-hx, hy], [-hx, -hy]])]
            lines += [np.array([[x, -hy], [x, hy]]) for x in (-9.84, 0.0, 9.84)]
        elif kind == 1:  # handball goal area, 6 m arcs
            for sign in (-1, 1):
                arc = circle_points((0.0, 0.0), 19.7, -np.pi / 2, np.pi / 2)
                lines.append(np.column_stack([sign * (book.length_ft / 2 + 6 - arc[:, 0]), arc[:, 1]]))
            hx, hy = book.length_ft / 2 + 6, book.width_ft / 2 + 5
            lines.append(np.array([[-hx, -hy], [hx, -hy], [hx, hy], [-hx, hy], [-hx, -hy]]))
        else:  # three badminton courts across
            for x in (-28.0, 0.0, 28.0):
                hx, hy = 10.0, 22.0
                lines.append(np.array([[-hx, -hy], [hx, -hy], [hx, hy], [-hx, hy], [-hx, -hy]]) + np.array([x, 0]))
                lines += [np.array([[x - hx, y], [x + hx, y]]) for y in (-6.5, 6.5)]
        for line in lines:
            canvas.ribbon(line + np.array([mid_x, mid_y]), width, colour, alpha=alpha)


def floor_texture(look: FloorLook, book: RuleBook, px_per_ft: float = 18.0) -> np.ndarray:
    """Paint the floor.

    Parameters
    ----------
    look : FloorLook
    book : RuleBook
    px_per_ft : float
        Resolution; 18 suits pictures of 1280 pixels.

    Returns
    -------
    ndarray of shape (H, W, 3) uint8
        RGB; row 0 is the near edge. Covers `floor_size_ft(book)`.
    """
    rng = np.random.default_rng(look.art_seed)
    canvas = _Canvas(book, px_per_ft, look.wood)
    length, width, line = book.length_ft, book.width_ft, book.line_width_ft
    zone = areas(book)
    beyond = np.array([[-60.0, -60.0], [length + 60, -60], [length + 60, width + 60], [-60, width + 60]])
    canvas.polygon(beyond, look.outer, 0.0 if look.outer == look.wood else 1.0)
    ex, ey = look.apron_end_ft, look.apron_side_ft
    ring = np.array([[-ex, -ey], [length + ex, -ey], [length + ex, width + ey], [-ex, width + ey]])
    canvas.polygon(ring, look.apron or look.wood, 0.9 if look.apron else 0.0)
    canvas.polygon(zone["court"], look.half_court or look.wood, 0.6 if look.half_court else 0.0)
    for end in ("left", "right"):
        if look.half_court:
            canvas.polygon(zone[f"three_point_{end}"], look.wood, 0.0)
        if look.three_point_area:
            canvas.polygon(zone[f"three_point_{end}"], look.three_point_area, 0.65)
        if look.paint:
            canvas.polygon(zone[f"paint_{end}"], look.paint, 0.85)
            if rng.random() < 0.15:
                canvas.polygon(zone[f"free_throw_circle_{end}"], look.paint, 0.85)
    radius = look.centre_radius_ft or book.circle_radius_ft
    middle = (length / 2, width / 2)
    if look.centre:
        canvas.polygon(circle_points(middle, radius), look.centre, 0.85)
    _ghosts(canvas, look, book, rng)
    _other_sports(canvas, look, book, rng)
    _second_lines(canvas, look, book, rng)
    _side_marks(canvas, look, book)
    _art(canvas, look, book, rng)
    _lines(canvas, look, book, radius, line)
    grain = _grain(look, canvas.cover.shape, px_per_ft, rng)
    smooth = cv2.addWeighted(grain, 0.35, np.full_like(grain, 200), 0.65, 0)
    cover = canvas.cover.astype(np.uint16)
    mixed = ((grain.astype(np.uint16) * (255 - cover) + smooth.astype(np.uint16) * cover) // 255).astype(np.uint8)
    return cv2.multiply(canvas.colour, cv2.merge([mixed, mixed, mixed]), scale=1 / 200.0)


def _lines(canvas: _Canvas, look: FloorLook, book: RuleBook, radius: float, line: float) -> None:
    if look.lane_band_ft > 0:
        for end in ("left", "right"):
            lane = areas(book)[f"paint_{end}"]
            inset = lane.mean(0) + (lane - lane.mean(0)) * (1 - look.lane_band_ft / (book.lane_width_ft))
            canvas.ribbon(np.vstack([inset, inset[:1]]), look.lane_band_ft, look.lane_band)
    for mark in markings(book):
        points, colour = mark.points_ft, look.line
        if mark.closed:
            points = np.vstack([points, points[:1]])
        if mark.kind in ("lane", "lane_mark", "free_throw_line", "free_throw_circle"):
            colour = look.lane_line
        if mark.kind == "lane_mark" and look.ticks == "none":
            continue
        if mark.kind == "centre_circle":
            colour = look.circle_line
            points = circle_points((book.length_ft / 2, book.width_ft / 2), radius - line / 2)
        canvas.ribbon(points, mark.width_ft, colour, alpha=look.line_alpha)
        if mark.kind == "free_throw_circle" and look.inner_half_circle != "none":
            _inner_half(canvas, look, points, line)


def _inner_half(canvas: _Canvas, look: FloorLook, outer: np.ndarray, line: float) -> None:
    """The half of the free-throw circle inside the lane, mirrored from the outer half."""
    axis = (outer[0] + outer[-1]) / 2
    inner = outer.copy()
    inner[:, 0] = 2 * axis[0] - outer[:, 0]
    if look.inner_half_circle == "solid":
        canvas.ribbon(inner, line, look.lane_line, alpha=look.line_alpha)
        return
    step = np.linalg.norm(np.diff(inner, axis=0), axis=1).mean()
    dash = max(int(1.25 / step), 2)
    for start in range(dash // 2, len(inner) - 2, 2 * dash):
        canvas.ribbon(inner[start : start + dash + 1], line, look.lane_line, alpha=look.line_alpha)


def centre_radius_ft(look: FloorLook, book: RuleBook) -> float:
    """Outer edge of the painted centre circle, which need not be the rule book's."""
    return look.centre_radius_ft or book.circle_radius_ft
