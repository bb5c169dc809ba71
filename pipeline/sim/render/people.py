"""How each person on and beside the floor is coloured, and the shader that paints parts on a body.

The body's own reference coordinates (feet, facing +x, y to the left, on one mean body) decide where trim, numbers,
socks, sleeves, headbands and beards lie, so that no edge depends on the mesh.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from pipeline.sim.looks import Colour, Look, club_colour
from pipeline.sim.render.arena import SKIN_TONES
from pipeline.sim.render.shaders import LIGHT

SKIN, JERSEY, SHORTS, TROUSERS, HAIR, SHOES = 0.0, 1.0, 2.0, 3.0, 4.0, 5.0
"""Part ids of `pipeline.sim.bodies.parts.PARTS`."""

BODY_VERTEX = """
#version 330
uniform mat4 view_projection;
uniform float mirror_z;
in vec3 in_position;
in vec3 in_normal;
in vec3 in_reference;
in vec3 in_part;             // part, leg, arm
out vec3 world;
out vec3 normal;
out vec3 reference;
out vec2 limb;
flat out int part;
void main() {
    world = in_position;
    normal = in_normal;
    reference = in_reference;
    limb = in_part.yz;
    part = int(in_part.x + 0.5);
    gl_Position = view_projection * vec4(in_position.xy, in_position.z * mirror_z, 1.0);
}
"""

BODY_FRAGMENT = (
    """
#version 330
uniform sampler2D digits;
uniform vec3 skin;
uniform vec3 jersey;
uniform vec3 shorts;
uniform vec3 trim;
uniform vec3 number_ink;
uniform vec3 socks;
uniform vec3 shoes;
uniform vec3 sole;
uniform vec3 hair;
uniform vec3 sleeve;
uniform vec4 options;        // side stripe, sock top (leg), stripes (official), beard
uniform vec4 extras;         // arm sleeve: 0 none 1 left 2 right 3 both; leg sleeve; headband; tattoo
uniform vec2 number;         // tens (-1 none), ones (-1 none)
"""
    + LIGHT
    + """
in vec3 world;
in vec3 normal;
in vec3 reference;
in vec2 limb;
flat in int part;
out vec4 colour;

float digit(float which, vec2 at) {
    if (which < -0.5 || at.x < 0.0 || at.x > 1.0 || at.y < 0.0 || at.y > 1.0) return 0.0;
    return texture(digits, vec2((which + at.x) / 10.0, at.y)).r;
}
float hash(vec3 p) { return fract(sin(dot(floor(p), vec3(12.9898, 78.233, 37.719))) * 43758.5453); }

void main() {
    vec3 n = normalize(normal);
    vec3 r = reference;
    vec3 base = skin;
    float shine = 0.0;
    if (part == 0) {
        shine = 0.12;
        if (limb.x > options.y && r.z < 2.4) { base = socks; shine = 0.0; }
        else if (extras.y > 0.5 && limb.x > 0.75 && limb.x < 1.5 && ((extras.y < 1.5) == (r.y > 0.0))) {
            base = sleeve; shine = 0.0;
        }
        bool left = (extras.x > 0.5 && extras.x < 1.5) || extras.x > 2.5;
        bool sleeved = r.y > 0.0 ? left : extras.x > 1.5;
        if (sleeved && limb.y > 0.35 && limb.y < 1.85) { base = sleeve; shine = 0.0; }
        if (extras.w > 0.5 && limb.y > 0.2 && limb.y < 1.8 && hash(r * 9.0) > 0.72) base *= 0.72;
        if (r.z > 5.75 && limb.y < 0.0) {
            if (options.w > 0.5 && r.z < 6.0 && r.x > 0.12) base = mix(base, hair, 0.75);
            if (r.x > 0.26 && abs(abs(r.y) - 0.11) < 0.055 && r.z > 6.13 && r.z < 6.2) base *= 0.35;
            if (extras.z > 0.5 && r.z > 6.28 && r.z < 6.42) { base = extras.z > 1.5 ? trim : vec3(0.9); shine = 0.0; }
        }
    } else if (part == 1) {
        base = jersey;
        if (options.z > 0.5) base = mix(jersey, trim, step(0.5, fract(r.y * 3.2 + 0.25)));
        float side = 1.0 - smoothstep(options.x * 0.6, options.x * 0.6 + 0.05, abs(r.x - 0.1));
        if (options.x > 0.0 && abs(r.y) > 0.42) base = mix(base, trim, side);
        if (options.z < 0.5 && limb.y > 0.04 && limb.y < 0.3) base = mix(base, trim, 0.9);
        if (r.z > 5.48 && abs(r.y) < 0.36 && r.x > -0.15 && options.z < 0.5) base = mix(base, trim, 0.8);
        bool front = r.x > 0.1;
        float mirror_y = front ? r.y : -r.y;  // facing +x, y to the left: read from outside
        float high = front ? 0.55 : 0.75;
        float low = front ? 4.35 : 4.25;
        float wide = high * 0.62;
        vec2 at = vec2(mirror_y, 1.0 - (r.z - low) / high);
        float ink = 0.0;
        if (number.x < -0.5) ink = digit(number.y, vec2(at.x / wide + 0.5, at.y));
        else ink = max(digit(number.x, vec2(at.x / wide + 1.0, at.y)), digit(number.y, vec2(at.x / wide, at.y)));
        bool named = abs(r.y) < 0.3 && r.z > low + high + 0.1 && r.z < low + high + 0.22;
        if (number.y > -0.5 && named) ink = max(ink, step(0.4, hash(vec3(r.y * 22.0, number))));
        base = mix(base, number_ink, ink);
    } else if (part == 2) {
        base = shorts;
        if (limb.x > 0.74) base = mix(base, trim, 0.9);
        float stripe = 1.0 - smoothstep(options.x * 0.7, options.x * 0.7 + 0.05, abs(r.x - 0.08));
        if (options.x > 0.0 && abs(r.y) > 0.5) base = mix(base, trim, stripe);
    } else if (part == 3) base = shorts;
    else if (part == 4) {
        base = hair * (0.85 + 0.3 * hash(r * 30.0));
        if (extras.z > 0.5 && r.z > 6.28 && r.z < 6.42) base = extras.z > 1.5 ? trim : vec3(0.9);
    } else {
        base = r.z < 0.09 ? sole : shoes;
        shine = 0.08;
    }
    float visible = lit(world + n * 0.12 + light_dir * 0.1);
    float cavity = mix(0.72, 1.0, clamp(world.z / 2.5, 0.0, 1.0));
    vec3 result = shade(base, n, world, visible) * cavity;
    result += vec3(shine) * pow(max(dot(n, light_dir), 0.0), 6.0) * visible * key;
    colour = vec4(result, 1.0);
}
"""
)

DIGIT_FONTS = (cv2.FONT_HERSHEY_DUPLEX, cv2.FONT_HERSHEY_SIMPLEX, cv2.FONT_HERSHEY_COMPLEX)


def digit_texture(style: int) -> np.ndarray:
    """Digits 0-9 side by side, (64, 480) uint8."""
    font = DIGIT_FONTS[style % len(DIGIT_FONTS)]
    sheet = np.zeros((64, 480), np.uint8)
    for digit in range(10):
        (width, height), _ = cv2.getTextSize(str(digit), font, 1.9, 7)
        cell = np.zeros((height + 8, width + 8), np.uint8)
        cv2.putText(cell, str(digit), (4, height + 4), font, 1.9, 255, 7, cv2.LINE_AA)
        sheet[2:62, digit * 48 + 4 : digit * 48 + 44] = cv2.resize(cell, (40, 60), interpolation=cv2.INTER_AREA)
    return sheet


@dataclass(frozen=True, slots=True)
class Paint:
    """Uniforms of one person's body shader."""

    skin: Colour
    jersey: Colour
    shorts: Colour
    trim: Colour
    number_ink: Colour
    socks: Colour
    shoes: Colour
    sole: Colour
    hair: Colour
    sleeve: Colour
    options: tuple[float, float, float, float]
    extras: tuple[float, float, float, float]
    number: tuple[float, float]


HAIR_TONES: tuple[Colour, ...] = (
    (0.05, 0.04, 0.04),
    (0.08, 0.06, 0.05),
    (0.16, 0.10, 0.06),
    (0.35, 0.24, 0.13),
    (0.62, 0.48, 0.28),
    (0.45, 0.43, 0.42),
)


def _person(rng: np.random.Generator) -> tuple[Colour, Colour]:
    """Skin and hair; dark skin goes with dark hair."""
    tone = int(rng.choice(len(SKIN_TONES), p=[0.13, 0.19, 0.17, 0.18, 0.19, 0.14]))
    skin = np.clip(SKIN_TONES[tone] * rng.uniform(0.92, 1.08), 0, 1)
    hair = HAIR_TONES[int(rng.integers(2))] if tone >= 3 or rng.random() < 0.4 else HAIR_TONES[int(rng.integers(6))]
    if rng.random() < 0.03:
        hair = (0.75, 0.65, 0.4)
    return (float(skin[0]), float(skin[1]), float(skin[2])), hair


def _digits(number: str) -> tuple[float, float]:
    if not number.isdigit():
        return (-1.0, -1.0)
    return (float(number[-2]) if len(number) > 1 else -1.0, float(number[-1]))


def player_paint(look: Look, actor: int, team: int, number: str) -> Paint:
    """Colours of one player: kit from the look, person from the look's seed and the actor."""
    rng = np.random.default_rng([look.seed, 11, actor])
    kit = look.kits[team]
    skin, hair = _person(rng)
    sleeve = kit.sleeves if kit.sleeves is not None else kit.jersey
    arm = (
        float(rng.choice([0, 1, 2, 3], p=[0.74, 0.11, 0.11, 0.04]))
        if kit.sleeves is not None or rng.random() < 0.3
        else 0.0
    )
    return Paint(
        skin=skin,
        jersey=kit.jersey,
        shorts=kit.shorts,
        trim=kit.trim,
        number_ink=kit.number,
        socks=kit.socks,
        shoes=kit.shoes[int(rng.integers(len(kit.shoes)))],
        sole=(0.9, 0.9, 0.9) if rng.random() < 0.6 else (0.1, 0.1, 0.1),
        hair=hair,
        sleeve=sleeve,
        options=(kit.side_stripe, float(rng.choice([1.45, 1.62, 1.8])), 0.0, float(rng.random() < 0.35)),
        extras=(
            arm,
            float(rng.choice([0, 1, 2], p=[0.86, 0.07, 0.07])),
            float(rng.choice([0, 1, 2], p=[0.84, 0.08, 0.08])),
            float(rng.random() < 0.3),
        ),
        number=_digits(number),
    )


def official_paint(look: Look, actor: int) -> Paint:
    """Colours of one official."""
    rng = np.random.default_rng([look.seed, 12, actor])
    skin, hair = _person(rng)
    shirt = look.officials
    dark: Colour = (0.05, 0.05, 0.055)
    return Paint(
        skin=skin,
        jersey=shirt.shirt,
        shorts=shirt.trousers,
        trim=shirt.shirt_stripe or shirt.shirt,
        number_ink=dark,
        socks=dark,
        shoes=dark,
        sole=dark,
        hair=hair,
        sleeve=dark,
        options=(0.0, 1.5, 1.0 if shirt.shirt_stripe else 0.0, float(rng.random() < 0.2)),
        extras=(0.0, 0.0, 0.0, 0.0),
        number=(-1.0, float(rng.integers(10))) if rng.random() < 0.3 and not shirt.shirt_stripe else (-1.0, -1.0),
    )


def bystander_paint(look: Look, index: int, team: int) -> Paint:
    """Colours of a coach, substitute in a warm-up top, photographer or steward."""
    rng = np.random.default_rng([look.seed, 13, index])
    skin, hair = _person(rng)
    suit: list[Colour] = [(0.06, 0.06, 0.08), (0.12, 0.13, 0.2), (0.3, 0.3, 0.32), (0.85, 0.85, 0.86)]
    top = (
        look.kits[team].jersey
        if team >= 0 and rng.random() < 0.5
        else (suit[int(rng.integers(4))] if rng.random() < 0.6 else club_colour(rng))
    )
    if rng.random() < 0.15:  # steward's vest
        top = (0.95, 0.45, 0.1) if rng.random() < 0.5 else (0.75, 0.9, 0.15)
    bottom = suit[int(rng.integers(3))] if rng.random() < 0.8 else top
    return Paint(
        skin,
        top,
        bottom,
        top,
        top,
        bottom,
        suit[int(rng.integers(4))],
        (0.85, 0.85, 0.85),
        hair,
        top,
        (0.0, 1.5, 0.0, 0.0),
        (0.0,) * 4,
        (-1.0, -1.0),
    )
