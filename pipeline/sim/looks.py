"""How one simulated film looks: floor, kits, arena, light, lens and picture chain, all drawn from one seed.

`make_look(seed)` is a pure function: the same seed gives the same look. Colours are sRGB triples in 0..1. Nothing here
imitates a real arena, club or broadcaster; ranges follow general observation of televised and gym basketball.
"""

from __future__ import annotations

import colorsys
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from pipeline.court.rule_books import RULE_BOOKS

Colour = tuple[float, float, float]
RULE_BOOK_ORDER = ("fiba", "nba", "ncaa", "nfhs")
"""Seed modulo 4 picks the rule book, so that a run of seeds holds each equally."""

LETTERS = "ABCDEFGHJKLMNPRSTUVWXZ"


class Venue(Enum):
    """What kind of building the game is in."""

    ARENA = "arena"
    HALL = "hall"
    GYM = "gym"


@dataclass(frozen=True, slots=True)
class FloorLook:
    """Material, paint and art of the floor. Lengths in feet; a colour of None leaves the bare floor."""

    material: str  # planks, panels, parquet, plain
    wood: Colour
    plank_width_ft: float
    plank_length_ft: float
    plank_contrast: float
    grain: float
    line: Colour
    lane_line: Colour
    circle_line: Colour
    line_alpha: float
    paint: Colour | None
    three_point_area: Colour | None
    centre: Colour | None
    half_court: Colour | None
    apron: Colour | None
    apron_end_ft: float
    apron_side_ft: float
    outer: Colour
    centre_radius_ft: float
    lane_band_ft: float
    lane_band: Colour
    inner_half_circle: str  # solid, dashed, none
    ticks: str  # fiba, nba, ncaa, none
    lane_art: float  # diameter in feet, 0 for none
    lane_art_colour: Colour
    centre_art: float
    side_words: int
    baseline_words: int
    other_sports: int
    second_book: str | None  # three-point lines of another rule book painted as well
    side_marks: str  # nba, fiba, none: short marks at the sidelines
    ghost_art: int  # large faint shapes over the floor
    other_sport_colours: tuple[Colour, ...]
    gloss: float
    reflection: float
    wear: float
    art_seed: int


@dataclass(frozen=True, slots=True)
class KitLook:
    """One team's kit. `number_style` indexes a font of the digit atlas."""

    jersey: Colour
    shorts: Colour
    trim: Colour
    number: Colour
    shoes: tuple[Colour, ...]
    socks: Colour
    side_stripe: float
    sleeves: Colour | None
    code: str


@dataclass(frozen=True, slots=True)
class OfficialLook:
    """Shirt and trousers of the officials."""

    shirt: Colour
    shirt_stripe: Colour | None
    trousers: Colour


@dataclass(frozen=True, slots=True)
class ArenaLook:
    """Everything around the floor."""

    venue: Venue
    board_far_ft: float
    board_height_ft: float
    boards_far: float  # share of the far side with boards, 0 none
    boards_end: float
    board_glow: float
    rows_far: int
    rows_end: int
    row_rise_ft: float
    row_depth_ft: float
    first_row_ft: float
    crowd_density: float
    crowd_light: float
    crowd_saturation: float
    crowd_club: float
    crowd_standing: float
    seat: Colour
    riser: Colour
    near_heads: float
    near_heads_y_ft: float
    near_heads_z_ft: float
    courtside: float  # share of floor-level seats taken along the far side and the baselines
    railing: bool
    bench_far: bool
    bench_count: int
    photographers: int
    standing_people: int
    wall: Colour
    wall_low: Colour
    wall_split_ft: float
    wall_bars: bool
    windows: bool
    ceiling_lights: bool
    wall_far_ft: float
    stanchion: str  # floor, wall, hung
    stanchion_colour: Colour
    pad: Colour
    board_frame: Colour
    board_fill: float
    shot_clock: bool
    board_sign: bool
    extra_hoops: bool
    scoreboard: bool
    accent: Colour
    accent_2: Colour
    seed: int


@dataclass(frozen=True, slots=True)
class LightLook:
    """Light on the floor and its people."""

    direction: tuple[float, float, float]
    key: float
    ambient: float
    tint: Colour
    shadow: float
    falloff: float
    lamp_spacing_ft: float
    lamp_height_ft: float
    lamp_glare: float
    lamp_soft: float


@dataclass(frozen=True, slots=True)
class PictureLook:
    """Lens, sensor and delivery chain."""

    lens_k1: float
    vignette: float
    saturation: float
    contrast: float
    gamma: float
    black: float
    tint: Colour
    sharpening: float
    halo_px: float
    noise: float
    noise_px: float
    defocus_px: float
    source_width_px: int  # picture is taken down to this width and up again
    jpeg_quality: int  # 0 leaves it out
    interlace: float
    aberration: float
    gain: float  # the camera's own exposure for this hall


@dataclass(frozen=True, slots=True)
class BugLook:
    """The score graphic; None of it follows a real broadcaster."""

    layout: int
    x: float
    y: float
    scale: float
    back: Colour
    text: Colour
    accent: Colour
    alpha: float
    ticker: bool
    corner: bool


@dataclass(frozen=True, slots=True)
class Look:
    """Everything about the appearance of one film; made by `make_look`."""

    seed: int
    rule_book: str
    floor: FloorLook
    kits: tuple[KitLook, KitLook]
    officials: OfficialLook
    arena: ArenaLook
    light: LightLook
    picture: PictureLook
    bug: BugLook


def _hsv(hue: float, saturation: float, value: float) -> Colour:
    red, green, blue = colorsys.hsv_to_rgb(hue % 1.0, min(max(saturation, 0), 1), min(max(value, 0), 1))
    return (red, green, blue)


def luminance(colour: Colour) -> float:
    """Rec. 709 luma of an sRGB triple."""
    return 0.2126 * colour[0] + 0.7152 * colour[1] + 0.0722 * colour[2]


def colour_distance(first: Colour, second: Colour) -> float:
    """Euclidean distance in sRGB, 0..1.73."""
    return float(np.linalg.norm(np.subtract(first, second)))


def club_colour(rng: np.random.Generator) -> Colour:
    """A colour as clubs choose them: saturated, or navy, maroon, black, grey, gold."""
    kind = rng.random()
    if kind < 0.14:
        value = rng.uniform(0.03, 0.14)
        return (value, value, value * rng.uniform(1.0, 1.3))
    if kind < 0.28:
        return _hsv(rng.uniform(0.58, 0.68), rng.uniform(0.55, 0.95), rng.uniform(0.16, 0.35))
    if kind < 0.42:
        return _hsv(rng.uniform(-0.05, 0.02), rng.uniform(0.7, 0.95), rng.uniform(0.45, 0.85))
    if kind < 0.52:
        return _hsv(rng.uniform(0.55, 0.66), rng.uniform(0.6, 0.95), rng.uniform(0.5, 0.85))
    if kind < 0.58:
        grey = rng.uniform(0.35, 0.62)
        return (grey, grey, grey)
    return _hsv(rng.random(), rng.uniform(0.45, 0.95), rng.uniform(0.3, 0.9))


def _white(rng: np.random.Generator) -> Colour:
    base = rng.uniform(0.86, 0.96)
    warm = rng.uniform(-0.03, 0.03)
    return (min(base + warm, 1), base, min(base - warm, 1))


def _pick_unlike(rng: np.random.Generator, others: list[Colour], least: float) -> Colour:
    best, best_gap = club_colour(rng), -1.0
    for _ in range(12):
        colour = club_colour(rng)
        gap = min(colour_distance(colour, other) for other in others)
        if gap >= least:
            return colour
        if gap > best_gap:
            best, best_gap = colour, gap
    return best


def _floor(rng: np.random.Generator, book: str, venue: Venue, club: Colour, club_2: Colour) -> FloorLook:
    gym = venue is Venue.GYM
    material = str(
        rng.choice(
            ["planks", "panels", "parquet", "plain"], p=[0.55, 0.15, 0.1, 0.2] if gym else [0.6, 0.28, 0.1, 0.02]
        )
    )
    if material == "plain":
        wood = _hsv(rng.random(), rng.uniform(0.1, 0.6), rng.uniform(0.4, 0.8))
    else:
        wood = _hsv(rng.uniform(0.06, 0.125), rng.uniform(0.12, 0.6), rng.uniform(0.55, 0.95))
        if rng.random() < 0.08:
            wood = _hsv(rng.uniform(0.04, 0.12), rng.uniform(0.02, 0.2), rng.uniform(0.3, 0.75))
    dark_floor = luminance(wood) < 0.5
    line_kinds: list[Colour] = [
        _white(rng),
        (0.05, 0.05, 0.06),
        club,
        (0.75, 0.1, 0.1),
        (0.1, 0.2, 0.65),
        (0.9, 0.75, 0.15),
    ]
    weights = [0.68, 0.14, 0.1, 0.03, 0.03, 0.02] if book != "nfhs" else [0.5, 0.24, 0.14, 0.05, 0.05, 0.02]
    line = line_kinds[int(rng.choice(6, p=weights))]
    if dark_floor and luminance(line) < 0.45:
        line = _white(rng)
    style = str(rng.choice(["bare", "paint", "three", "two_tone", "inverse"], p=[0.27, 0.37, 0.14, 0.16, 0.06]))
    tone = _hsv(rng.uniform(0.05, 0.11), rng.uniform(0.2, 0.65), rng.uniform(0.3, 0.85))
    stain = rng.random() < 0.35
    paint = three = half = None
    if style == "paint":
        paint = tone if stain else club
    elif style == "three":
        three = tone if stain or rng.random() < 0.5 else club_2
    elif style == "two_tone":
        paint, three = club, tone if stain or rng.random() < 0.6 else club_2
    elif style == "inverse":
        half = tone
        paint = club if rng.random() < 0.5 else None
    apron = None if rng.random() < 0.22 else (club if rng.random() < 0.7 else club_2)
    if apron is not None and rng.random() < 0.1:
        apron = tone
    centre = None if rng.random() < 0.6 else (club if rng.random() < 0.6 else club_2)
    line_on = [colour for colour in (paint, apron, three, centre) if colour is not None]
    if any(colour_distance(colour, line) < 0.3 for colour in line_on) and rng.random() < 0.8:
        line = _white(rng) if all(colour_distance(c, (0.9, 0.9, 0.9)) > 0.3 for c in line_on) else (0.05, 0.05, 0.06)
    lane_line = line if rng.random() < 0.85 else line_kinds[int(rng.choice(3))]
    ticks = {"fiba": "fiba", "nba": "nba", "ncaa": "ncaa", "nfhs": "ncaa"}[book]
    bigger = rng.random() < 0.3
    return FloorLook(
        material=material,
        wood=wood,
        plank_width_ft=float(rng.uniform(0.17, 0.5)),
        plank_length_ft=float(rng.uniform(2.0, 8.0)),
        plank_contrast=float(rng.uniform(0.01, 0.09)),
        grain=float(rng.uniform(0.005, 0.05)),
        line=line,
        lane_line=lane_line,
        circle_line=line if rng.random() < 0.85 else club,
        line_alpha=float(rng.uniform(0.55, 1.0)),
        paint=paint,
        three_point_area=three,
        centre=centre,
        half_court=half,
        apron=apron,
        apron_end_ft=float(rng.uniform(3, 12)) if rng.random() < 0.75 else 20.0,
        apron_side_ft=float(rng.uniform(2, 9)) if rng.random() < 0.75 else 15.0,
        outer=wood if rng.random() < 0.5 else _hsv(rng.random(), rng.uniform(0, 0.4), rng.uniform(0.08, 0.5)),
        centre_radius_ft=float(rng.uniform(6.5, 10.0)) if bigger else 0.0,
        lane_band_ft=float(rng.uniform(0.4, 1.2)) if rng.random() < 0.12 else 0.0,
        lane_band=club,
        inner_half_circle=str(rng.choice(["solid", "dashed", "none"], p=_inner_half(book))),
        ticks=ticks if rng.random() < 0.85 else "none",
        lane_art=float(rng.uniform(6, 13)) if rng.random() < (0.4 if not gym else 0.2) else 0.0,
        lane_art_colour=club if paint is None else _pick_unlike(rng, [paint], 0.5),
        centre_art=float(rng.uniform(8, 26)) if rng.random() < 0.65 else 0.0,
        side_words=int(rng.integers(0, 5)),
        baseline_words=int(rng.integers(0, 3)),
        other_sports=int(rng.integers(1, 4)) if gym and rng.random() < 0.65 else 0,
        second_book=str(rng.choice([b for b in RULE_BOOK_ORDER if b != book])) if rng.random() < 0.16 else None,
        side_marks=str(rng.choice(["nba", "fiba", "none"], p=[0.35, 0.3, 0.35])),
        ghost_art=int(rng.integers(1, 4)) if rng.random() < 0.2 else 0,
        other_sport_colours=tuple(_hsv(rng.random(), rng.uniform(0.5, 1), rng.uniform(0.3, 0.9)) for _ in range(3)),
        gloss=float(rng.uniform(0.0, 1.0)),
        reflection=float(rng.uniform(0.02, 0.28)),
        wear=float(rng.uniform(0, 0.03)),
        art_seed=int(rng.integers(1 << 31)),
    )


def _inner_half(book: str) -> list[float]:
    """How often the half of the free-throw circle inside the lane is solid, dashed, or missing."""
    return {"fiba": [0.03, 0.05, 0.92], "nba": [0.05, 0.92, 0.03]}.get(book, [0.15, 0.5, 0.35])


def _shoes(rng: np.random.Generator, jersey: Colour) -> tuple[Colour, ...]:
    base: list[Colour] = [
        _white(rng),
        (0.06, 0.06, 0.07),
        jersey,
        _hsv(rng.random(), 0.9, 0.95),
        _hsv(rng.random(), 0.6, 0.9),
    ]
    return tuple(base[int(rng.integers(len(base)))] for _ in range(6))


def _code(rng: np.random.Generator) -> str:
    return "".join(LETTERS[int(rng.integers(len(LETTERS)))] for _ in range(3))


def _kit(rng: np.random.Generator, jersey: Colour, trim: Colour) -> KitLook:
    shorts = jersey if rng.random() < 0.78 else (trim if rng.random() < 0.6 else club_colour(rng))
    number = (
        trim
        if colour_distance(trim, jersey) > 0.45
        else ((0.95, 0.95, 0.95) if luminance(jersey) < 0.55 else (0.05, 0.05, 0.08))
    )
    return KitLook(
        jersey=jersey,
        shorts=shorts,
        trim=trim,
        number=number,
        shoes=_shoes(rng, jersey),
        socks=(_white(rng) if rng.random() < 0.5 else (0.06, 0.06, 0.07)) if rng.random() < 0.8 else jersey,
        side_stripe=float(rng.uniform(0.0, 0.35)) if rng.random() < 0.6 else 0.0,
        sleeves=None if rng.random() < 0.6 else ((0.05, 0.05, 0.06) if rng.random() < 0.5 else _white(rng)),
        code=_code(rng),
    )


def _kits(rng: np.random.Generator, club: Colour, club_2: Colour) -> tuple[KitLook, KitLook]:
    light: Colour = _white(rng) if rng.random() < 0.8 else _hsv(rng.random(), rng.uniform(0.1, 0.35), 0.92)
    if rng.random() < 0.72:
        dark = club if rng.random() < 0.5 else club_colour(rng)
        if luminance(dark) > 0.6:
            dark = _pick_unlike(rng, [light], 0.7)
        pair = (
            _kit(rng, light, club if luminance(club) < 0.6 else dark),
            _kit(rng, dark, _pick_unlike(rng, [dark], 0.5)),
        )
    else:
        first = club
        second = _pick_unlike(rng, [first], 0.6)
        pair = (_kit(rng, first, _pick_unlike(rng, [first], 0.5)), _kit(rng, second, club_2))
    return pair if rng.random() < 0.5 else (pair[1], pair[0])


def _officials(rng: np.random.Generator) -> OfficialLook:
    kind = rng.random()
    black: Colour = (0.05, 0.05, 0.06)
    trousers: Colour = black if rng.random() < 0.85 else (0.12, 0.12, 0.18)
    if kind < 0.22:
        return OfficialLook((0.92, 0.92, 0.92), black, trousers)
    if kind < 0.42:
        grey = float(rng.uniform(0.35, 0.62))
        return OfficialLook((grey, grey, grey), None, trousers)
    if kind < 0.54:
        return OfficialLook(black, None, trousers)
    if kind < 0.8:
        return OfficialLook(
            _hsv(rng.uniform(0.0, 0.09), rng.uniform(0.75, 0.95), rng.uniform(0.7, 0.95)), None, trousers
        )
    if kind < 0.9:
        return OfficialLook(_hsv(rng.uniform(0.53, 0.62), rng.uniform(0.2, 0.5), rng.uniform(0.6, 0.9)), None, trousers)
    return OfficialLook(_hsv(rng.random(), rng.uniform(0.3, 0.9), rng.uniform(0.4, 0.9)), None, trousers)


def _arena(rng: np.random.Generator, venue: Venue, club: Colour, club_2: Colour) -> ArenaLook:
    gym = venue is Venue.GYM
    dark = venue is Venue.ARENA and rng.random() < 0.5
    pale = _hsv(rng.random(), rng.uniform(0.0, 0.25), rng.uniform(0.3, 0.85))
    return ArenaLook(
        venue=venue,
        board_far_ft=float(rng.uniform(3.0, 10.0)),
        board_height_ft=float(rng.uniform(2.2, 3.6)),
        boards_far=0.0 if gym and rng.random() < 0.75 else float(rng.uniform(0.4, 1.0)),
        boards_end=0.0 if gym or rng.random() < 0.35 else float(rng.uniform(0.3, 1.0)),
        board_glow=float(rng.uniform(0.6, 1.15)),
        rows_far=int(rng.integers(0, 7)) if gym else int(rng.integers(14, 40)),
        rows_end=0 if gym and rng.random() < 0.7 else (int(rng.integers(2, 6)) if gym else int(rng.integers(8, 26))),
        row_rise_ft=float(rng.uniform(0.9, 1.9)),
        row_depth_ft=float(rng.uniform(2.3, 3.2)),
        first_row_ft=float(rng.uniform(6, 16)) if gym else float(rng.uniform(8, 18)),
        crowd_density=float(rng.uniform(0.05, 0.6)) if gym else float(rng.beta(4, 1.2)),
        crowd_light=float(rng.uniform(0.08, 0.4)) if dark else float(rng.uniform(0.4, 0.95)),
        crowd_saturation=float(rng.uniform(0.15, 0.75)),
        crowd_club=float(rng.uniform(0, 0.8)) if rng.random() < 0.5 else 0.05,
        crowd_standing=float(rng.uniform(0, 0.7)) if rng.random() < 0.3 else float(rng.uniform(0, 0.08)),
        seat=club if rng.random() < 0.5 else _hsv(rng.random(), rng.uniform(0, 0.8), rng.uniform(0.08, 0.6)),
        riser=(0.25, 0.25, 0.27) if rng.random() < 0.7 else _hsv(rng.uniform(0.05, 0.12), 0.4, 0.5),
        near_heads=float(rng.uniform(0.0, 0.5))
        if gym
        else (float(rng.uniform(0.3, 1.0)) if rng.random() < 0.75 else 0.0),
        near_heads_y_ft=float(rng.uniform(-20, -5)),
        courtside=float(rng.uniform(0.5, 1.0)) if not gym and rng.random() < 0.45 else 0.0,
        near_heads_z_ft=float(rng.uniform(0.5, 3.0)),
        railing=bool(rng.random() < (0.5 if gym else 0.08)),
        bench_far=bool(rng.random() < 0.72),
        bench_count=int(rng.integers(0, 10)) if gym else int(rng.integers(4, 9)),
        photographers=0 if gym else int(rng.integers(0, 7)),
        standing_people=int(rng.integers(0, 7)),
        wall=pale,
        wall_low=pale if rng.random() < 0.4 else (club_2 if rng.random() < 0.5 else _hsv(rng.random(), 0.3, 0.4)),
        wall_split_ft=float(rng.uniform(5, 12)),
        wall_bars=bool(rng.random() < 0.4),
        windows=bool(rng.random() < 0.35),
        ceiling_lights=bool(rng.random() < 0.7),
        wall_far_ft=float(rng.uniform(8, 30)),
        stanchion=str(rng.choice(["floor", "wall", "hung"], p=[0.55, 0.25, 0.2] if gym else [0.92, 0.02, 0.06])),
        stanchion_colour=[club, (0.9, 0.9, 0.92), (0.1, 0.1, 0.12), club_2][int(rng.integers(4))],
        pad=[club, (0.08, 0.08, 0.09), club_2, (0.1, 0.2, 0.6)][int(rng.integers(4))],
        board_frame=(0.95, 0.95, 0.95) if rng.random() < 0.75 else (0.85, 0.2, 0.12),
        board_fill=float(rng.uniform(0.04, 0.22)) if rng.random() < 0.85 else float(rng.uniform(0.75, 1.0)),
        shot_clock=bool(rng.random() < (0.5 if gym else 0.9)),
        board_sign=bool(rng.random() < (0.1 if gym else 0.5)),
        extra_hoops=bool(gym and rng.random() < 0.4),
        scoreboard=bool(rng.random() < 0.5),
        accent=club,
        accent_2=club_2,
        seed=int(rng.integers(1 << 31)),
    )


def _light(rng: np.random.Generator, venue: Venue) -> LightLook:
    gym = venue is Venue.GYM
    angle, lean = rng.uniform(0, 2 * np.pi), rng.uniform(0.1, 0.7)
    direction = np.array([np.cos(angle) * lean, np.sin(angle) * lean, 1.0])
    direction /= np.linalg.norm(direction)
    key = float(rng.uniform(0.25, 0.75))
    level = float(rng.uniform(0.75, 1.05)) if gym else float(rng.uniform(0.9, 1.12))
    warm = rng.normal(0, 0.045)
    return LightLook(
        direction=(float(direction[0]), float(direction[1]), float(direction[2])),
        key=key * level,
        ambient=(1.0 - key) * level,
        tint=(1 + warm, 1 + float(rng.normal(0, 0.015)), 1 - warm),
        shadow=float(rng.uniform(0.3, 0.95)),
        falloff=float(rng.uniform(0, 0.3)),
        lamp_spacing_ft=float(rng.uniform(24, 70)),
        lamp_height_ft=float(rng.uniform(22, 60)),
        lamp_glare=float(rng.uniform(0, 0.4)) if rng.random() < 0.65 else 0.0,
        lamp_soft=float(rng.uniform(0.15, 0.5)),
    )


def _picture(rng: np.random.Generator, venue: Venue, floor: FloorLook, light: LightLook) -> PictureLook:
    gamma = float(rng.uniform(0.82, 1.2))
    bright = luminance(floor.half_court or floor.wood) * (light.key + light.ambient)
    bright *= (1 - 0.8 * floor.reflection) * (1 - 0.35 * light.falloff)
    wanted = float(rng.uniform(0.52, 0.84)) ** (1 / gamma)  # how bright the camera shows the bare floor
    gain = float(np.clip(wanted / max(bright, 0.05), 0.8, 2.6))
    gym = venue is Venue.GYM
    warm = rng.normal(0, 0.05)
    small = rng.random() < (0.5 if gym else 0.3)
    return PictureLook(
        lens_k1=float(rng.uniform(0.0, 0.24)) if not gym else float(rng.normal(0.0, 0.06)),
        vignette=float(rng.uniform(0, 0.45)) if rng.random() < 0.7 else 0.0,
        saturation=float(rng.uniform(0.65, 1.25)),
        contrast=float(rng.uniform(0.8, 1.3)),
        gamma=gamma,
        black=float(rng.uniform(0, 0.05)),
        tint=(1 + warm, 1 + float(rng.normal(0, 0.02)), 1 - warm),
        sharpening=float(rng.uniform(0, 1.1)),
        halo_px=float(rng.uniform(0.7, 1.8)),
        noise=float(min(rng.gamma(1.4, 1.9), 11.0)),
        noise_px=float(rng.uniform(0.6, 1.6)),
        defocus_px=float(rng.uniform(0, 0.7)) if rng.random() < 0.8 else float(rng.uniform(0.7, 1.6)),
        source_width_px=int(rng.choice([480, 640, 640, 854, 960])) if small else 0,
        jpeg_quality=int(rng.integers(18, 80)) if rng.random() < 0.7 else 0,
        interlace=float(rng.uniform(0.3, 1.0)) if rng.random() < 0.06 else 0.0,
        aberration=float(rng.uniform(0, 0.0009)) if rng.random() < 0.4 else 0.0,
        gain=gain,
    )


def _bug(rng: np.random.Generator, club: Colour) -> BugLook:
    x, y = [(0.05, 0.86), (0.35, 0.9), (0.05, 0.05), (0.65, 0.88), (0.3, 0.05), (0.7, 0.05)][
        int(rng.choice(6, p=[0.4, 0.22, 0.14, 0.12, 0.06, 0.06]))
    ]
    dark = rng.random() < 0.75
    return BugLook(
        layout=int(rng.integers(4)),
        x=float(np.clip(x + rng.normal(0, 0.02), 0.01, 0.75)),
        y=float(np.clip(y + rng.normal(0, 0.015), 0.01, 0.93)),
        scale=float(rng.uniform(0.75, 1.35)),
        back=_hsv(rng.random(), rng.uniform(0, 0.7), rng.uniform(0.03, 0.3)) if dark else _white(rng),
        text=(0.97, 0.97, 0.97) if dark else (0.05, 0.05, 0.08),
        accent=club,
        alpha=float(rng.uniform(0.75, 1.0)),
        ticker=bool(rng.random() < 0.06),
        corner=bool(rng.random() < 0.2),
    )


def make_look(seed: int, *, rule_book: str | None = None, venue: Venue | None = None) -> Look:
    """Draw a look.

    Parameters
    ----------
    seed : int
        Non-negative. Without `rule_book`, ``RULE_BOOK_ORDER[seed % 4]`` is taken.
    rule_book : str, optional
        Key of `court.rule_books.RULE_BOOKS`.
    venue : Venue, optional
        Otherwise 60 % arena, 15 % hall, 25 % gym.

    Returns
    -------
    Look
    """
    rng = np.random.default_rng([0x10C5, seed])
    book = rule_book if rule_book is not None else RULE_BOOK_ORDER[seed % len(RULE_BOOK_ORDER)]
    if book not in RULE_BOOKS:
        raise KeyError(f"rule_book is '{book}', expected one of {sorted(RULE_BOOKS)}.")
    drawn = (Venue.ARENA, Venue.HALL, Venue.GYM)[int(rng.choice(3, p=[0.58, 0.14, 0.28]))]
    place = venue if venue is not None else drawn
    club = club_colour(rng)
    club_2 = _pick_unlike(rng, [club], 0.5)
    floor = _floor(rng, book, place, club, club_2)
    light = _light(rng, place)
    return Look(
        seed=seed,
        rule_book=book,
        floor=floor,
        kits=_kits(rng, club, club_2),
        officials=_officials(rng),
        arena=_arena(rng, place, club, club_2),
        light=light,
        picture=_picture(rng, place, floor, light),
        bug=_bug(rng, club),
    )


def clear_picture(look: Look) -> Look:
    """The same look through a clean delivery chain (for measuring and for film that a codec degrades anyway)."""
    return replace(
        look,
        picture=replace(
            look.picture, jpeg_quality=0, source_width_px=0, interlace=0.0, noise=min(look.picture.noise, 2.0)
        ),
    )
