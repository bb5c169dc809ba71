"""GLSL of the renderer. Positions are court feet; the picture's first row is the framebuffer's first row."""

LIGHT = """
uniform vec3 light_dir;      // towards the light
uniform float key;
uniform float ambient;
uniform vec3 tint;
uniform float shadow_strength;
uniform mat4 shadow_matrix;
uniform sampler2DShadow shadow_map;
uniform float falloff;
uniform vec3 court_middle;   // x, y, half length

float lit(vec3 world) {
    vec4 p = shadow_matrix * vec4(world, 1.0);
    vec3 q = p.xyz / p.w * 0.5 + 0.5;
    if (any(lessThan(q, vec3(0.001))) || any(greaterThan(q, vec3(0.999)))) return 1.0;
    float sum = 0.0;
    float r = 1.3 / float(textureSize(shadow_map, 0).x);
    sum += texture(shadow_map, vec3(q.xy + vec2(-r, -r), q.z - 0.002));
    sum += texture(shadow_map, vec3(q.xy + vec2(r, -r), q.z - 0.002));
    sum += texture(shadow_map, vec3(q.xy + vec2(-r, r), q.z - 0.002));
    sum += texture(shadow_map, vec3(q.xy + vec2(r, r), q.z - 0.002));
    return mix(1.0, sum * 0.25, shadow_strength);
}
float pool(vec3 world) {
    vec2 d = (world.xy - court_middle.xy) / court_middle.z;
    return mix(1.0, exp(-0.9 * dot(d, d)), falloff);
}
vec3 shade(vec3 albedo, vec3 n, vec3 world, float visible) {
    // Halls are lit from many sides: wrapped direct light, a bright sky, and light thrown back by the floor.
    float sky = 0.84 + 0.16 * n.z;
    float direct = max((dot(n, light_dir) + 0.35) / 1.35, 0.0) * visible;
    return albedo * tint * (ambient * sky + key * (direct * 0.9 + 0.16)) * pool(world);
}
"""

FLOOR_VERTEX = """
#version 330
uniform mat4 view_projection;
in vec2 in_place;
out vec3 world;
void main() {
    world = vec3(in_place, 0.0);
    gl_Position = view_projection * vec4(world, 1.0);
}
"""

FLOOR_FRAGMENT = (
    """
#version 330
uniform sampler2D floor_map;
uniform sampler2D mirror;
uniform vec2 mirror_scale;
uniform vec4 floor_extent;   // x0, y0, length, width
uniform vec3 eye;
uniform float reflection;
uniform float gloss;
uniform vec4 lamps;          // spacing, height, glare, softness
"""
    + LIGHT
    + """
in vec3 world;
out vec4 colour;
void main() {
    vec2 uv = (world.xy - floor_extent.xy) / floor_extent.zw;
    vec3 albedo = texture(floor_map, uv).rgb;
    vec3 result = shade(albedo, vec3(0.0, 0.0, 1.0), world, lit(world));
    vec3 out_dir = normalize(eye - world);
    float fresnel = reflection * (0.5 + 1.4 * pow(1.0 - out_dir.z, 3.0));
    vec2 at = gl_FragCoord.xy * mirror_scale;
    float far = 1.5 + 1.2 * (1.0 - gloss);
    vec3 seen = textureLod(mirror, at, far).rgb * 0.4 + textureLod(mirror, at + vec2(0.0, 0.006), far).rgb * 0.3
        + textureLod(mirror, at + vec2(0.0, -0.006), far).rgb * 0.3;
    result = mix(result, seen, clamp(fresnel, 0.0, 0.6));
    if (lamps.z > 0.001) {
        vec3 d = reflect(-out_dir, vec3(0.0, 0.0, 1.0));
        vec2 hit = world.xy + d.xy / max(d.z, 0.05) * lamps.y;
        vec2 cell = (fract(hit / vec2(lamps.x, lamps.x * 0.6)) - 0.5) / lamps.w;
        float glow = exp(-cell.x * cell.x * 3.0 - cell.y * cell.y * 6.0);
        result += tint * glow * lamps.z * (0.25 + 1.0 * pow(1.0 - out_dir.z, 2.0));
    }
    colour = vec4(result, 1.0);
}
"""
)

BLOB_VERTEX = """
#version 330
uniform mat4 view_projection;
in vec2 in_corner;
in vec4 in_blob;             // x, y, radius, darkness
out vec2 corner;
out float darkness;
void main() {
    corner = in_corner;
    darkness = in_blob.w;
    gl_Position = view_projection * vec4(in_blob.xy + in_corner * in_blob.z, 0.0, 1.0);
}
"""

BLOB_FRAGMENT = """
#version 330
in vec2 corner;
in float darkness;
out vec4 colour;
void main() {
    float r2 = dot(corner, corner);
    if (r2 > 1.0) discard;
    float soft = (1.0 - r2);
    colour = vec4(0.0, 0.0, 0.0, darkness * soft * soft);
}
"""

PROP_VERTEX = """
#version 330
uniform mat4 view_projection;
uniform float mirror_z;      // 1, or -1 to draw the reflection
in vec3 in_position;
in vec3 in_normal;
in vec4 in_colour;           // rgb, glow
in vec3 in_uv;               // u, v, 0 none / 1 advert / 2 wall / 3 net / 4 glass / 5 seats
out vec3 world;
out vec3 normal;
out vec4 tone;
out vec3 uv;
void main() {
    world = in_position;
    normal = in_normal;
    tone = in_colour;
    uv = in_uv;
    gl_Position = view_projection * vec4(in_position.xy, in_position.z * mirror_z, 1.0);
}
"""

PROP_FRAGMENT = (
    """
#version 330
uniform sampler2D adverts;
uniform sampler2D wall;
uniform float advert_shift;
"""
    + LIGHT
    + """
in vec3 world;
in vec3 normal;
in vec4 tone;
in vec3 uv;
out vec4 colour;
void main() {
    vec3 albedo = tone.rgb;
    float alpha = 1.0;
    if (uv.z > 0.5 && uv.z < 1.5) albedo *= texture(adverts, uv.xy + vec2(advert_shift, 0.0)).rgb;
    else if (uv.z > 1.5 && uv.z < 2.5) albedo *= texture(wall, uv.xy).rgb;
    else if (uv.z > 2.5 && uv.z < 3.5) {
        vec2 g = abs(fract(vec2(uv.x + uv.y, uv.x - uv.y)) - 0.5);
        float edge = max(fwidth(uv.x) + fwidth(uv.y), 0.02);
        alpha = clamp(1.0 - (min(0.5 - g.x, 0.5 - g.y) - 0.07) / edge, 0.0, 1.0);
        alpha = mix(alpha, 0.35, clamp(edge - 0.3, 0.0, 1.0)) * 0.9;
        if (alpha < 0.02) discard;
    } else if (uv.z > 3.5 && uv.z < 4.5) alpha = uv.x;
    vec3 light = shade(albedo, normalize(normal), world, 1.0);
    colour = vec4(mix(light, albedo, tone.a), alpha);
}
"""
)

CROWD_VERTEX = """
#version 330
uniform mat4 view_projection;
uniform float mirror_z;
uniform vec3 right;
uniform float time_s;
uniform float liveliness;
in vec2 in_corner;           // -0.5..0.5, 0..1
in vec3 in_base;
in vec3 in_size;             // width, height, phase
in vec4 in_tile;             // u0, v0, du, dv
in vec4 in_shirt;            // rgb, light
in vec4 in_skin;             // rgb, hair darkness
out vec2 uv;
out vec4 shirt;
out vec4 skin;
void main() {
    uv = in_tile.xy + vec2(in_corner.x + 0.5, 1.0 - in_corner.y) * in_tile.zw;
    shirt = in_shirt;
    skin = in_skin;
    float sway = sin(time_s * (1.0 + 2.0 * fract(in_size.z * 7.0)) + in_size.z * 40.0) * liveliness;
    vec3 p = in_base + right * (in_corner.x * in_size.x + sway * 0.12 * in_corner.y);
    p.z += in_corner.y * in_size.y + max(sway, 0.0) * 0.15 * liveliness;
    gl_Position = view_projection * vec4(p.xy, p.z * mirror_z, 1.0);
}
"""

CROWD_FRAGMENT = """
#version 330
uniform sampler2D people;
in vec2 uv;
in vec4 shirt;
in vec4 skin;
out vec4 colour;
void main() {
    vec4 t = texture(people, uv, 0.2);
    if (t.a < 0.5) discard;
    vec3 c = shirt.rgb * t.r + skin.rgb * t.g + vec3(0.10, 0.085, 0.075) * (1.0 + skin.a) * t.b;
    colour = vec4(c / max(t.r + t.g + t.b, 0.05) * shirt.a * (0.35 + 0.65 * clamp(t.r + t.g + t.b, 0.0, 1.0)), 1.0);
}
"""

CROWD_FLAT_FRAGMENT = """
#version 330
uniform sampler2D people;
in vec2 uv;
in vec4 shirt;
in vec4 skin;
out vec4 colour;
void main() {
    if (texture(people, uv).a < 0.5) discard;
    colour = vec4(0.0, 0.0, 0.0, shirt.a + skin.a);  // only red and green carry identities
}
"""

BALL_VERTEX = """
#version 330
uniform mat4 view_projection;
uniform float mirror_z;
uniform vec3 centre;
uniform vec3 smear;          // half the way moved during the exposure
uniform float radius;
in vec3 in_unit;
out vec3 normal;
out vec3 world;
void main() {
    normal = in_unit;
    float side = dot(in_unit, smear) > 0.0 ? 1.0 : -1.0;
    float stretch = dot(smear, smear) > 1e-6 ? abs(dot(in_unit, normalize(smear))) : 0.0;
    world = centre + in_unit * radius + smear * side * stretch;
    gl_Position = view_projection * vec4(world.xy, world.z * mirror_z, 1.0);
}
"""

BALL_FRAGMENT = (
    """
#version 330
uniform vec3 leather;
uniform vec3 leather_2;
uniform mat3 spin;
uniform float alpha;
"""
    + LIGHT
    + """
in vec3 normal;
in vec3 world;
out vec4 colour;
void main() {
    vec3 n = normalize(normal);
    vec3 s = spin * n;
    float seam = min(min(abs(s.x), abs(s.y)), abs(abs(s.z) - 0.55 + 0.35 * s.x * s.x));
    vec3 base = mix(vec3(0.07), s.y > 0.0 ? leather : leather_2, smoothstep(0.02, 0.07, seam));
    colour = vec4(shade(base, n, world, lit(world + n * 0.3)), alpha);
}
"""
)

DEPTH_VERTEX = """
#version 330
uniform mat4 view_projection;
in vec3 in_position;
void main() { gl_Position = view_projection * vec4(in_position, 1.0); }
"""

DEPTH_FRAGMENT = """
#version 330
void main() {}
"""

FLAT_FRAGMENT = """
#version 330
uniform vec4 identity;
out vec4 colour;
void main() { colour = identity; }
"""

SILHOUETTE_FRAGMENT = """
#version 330
uniform vec4 channel_0;
uniform vec4 channel_1;
uniform vec4 channel_2;
uniform vec4 channel_3;
uniform vec4 channel_4;
uniform vec4 channel_5;
layout(location = 0) out vec4 out_0;
layout(location = 1) out vec4 out_1;
layout(location = 2) out vec4 out_2;
layout(location = 3) out vec4 out_3;
layout(location = 4) out vec4 out_4;
layout(location = 5) out vec4 out_5;
void main() {
    out_0 = channel_0; out_1 = channel_1; out_2 = channel_2; out_3 = channel_3; out_4 = channel_4; out_5 = channel_5;
}
"""

POST_VERTEX = """
#version 330
in vec2 in_corner;
void main() { gl_Position = vec4(in_corner, 0.0, 1.0); }
"""

POST_FRAGMENT = """
#version 330
uniform sampler2D scene;
uniform vec2 size;           // picture, pixels
uniform vec2 centre;         // principal point
uniform float lens_width;
uniform float k1;
uniform vec4 window;         // ideal pixels (edges): x0, y0, width, height
uniform float vignette;
uniform float gain;
uniform vec3 tint;
uniform float aberration;
uniform float bias;
out vec4 colour;
vec2 at(vec2 seen, float scale) {
    vec2 d = (seen - centre) * scale;
    float wanted = length(d) / lens_width;
    float r = wanted;
    for (int i = 0; i < 6; i++) r -= (r * (1.0 + k1 * r * r) - wanted) / max(1.0 + 3.0 * k1 * r * r, 0.05);
    vec2 ideal = centre + d * (wanted > 1e-9 ? r / wanted : 1.0);
    return (ideal + 0.5 - window.xy) / window.zw;
}
void main() {
    vec2 seen = gl_FragCoord.xy - 0.5;
    vec3 c = texture(scene, at(seen, 1.0), bias).rgb;
    if (aberration > 0.0) {
        c.r = texture(scene, at(seen, 1.0 + aberration), bias).r;
        c.b = texture(scene, at(seen, 1.0 - aberration), bias).b;
    }
    vec2 d = (seen - centre) / size.x;
    c *= gain * tint * (1.0 - vignette * dot(d, d) * 2.2);
    colour = vec4(c.b, c.g, c.r, 1.0);
}
"""
