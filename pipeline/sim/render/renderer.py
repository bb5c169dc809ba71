"""The renderer: one OpenGL context per process, one `FilmRenderer` per look and picture size."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any

import moderngl
import numpy as np

from pipeline.court.camera import Camera, straight_lens
from pipeline.court.rule_books import rule_book
from pipeline.errors import MissingExtraError
from pipeline.sim.bodies import Body, Wardrobe, load_bodies
from pipeline.sim.looks import Look, Venue
from pipeline.sim.render import shaders
from pipeline.sim.render.arena import ArenaMesh, advert_texture, build_arena, people_texture, wall_texture
from pipeline.sim.render.floor import MARGIN_X_FT, MARGIN_Y_FT, floor_size_ft, floor_texture
from pipeline.sim.render.graphics import full_graphic
from pipeline.sim.render.labels import FrameLabels, LabelledBox, area_map, extent
from pipeline.sim.render.matrices import Window, ideal_window, shadow_matrix, view_projection
from pipeline.sim.render.people import (
    BODY_FRAGMENT,
    BODY_VERTEX,
    Paint,
    bystander_paint,
    digit_texture,
    official_paint,
    player_paint,
)
from pipeline.sim.render.picture import Grain, deliver, develop, draw_bug, draw_transition, plan_bug
from pipeline.sim.render.posing import Posed, bystander_state, posed_all
from pipeline.sim.scene import ActorState, SceneFrame

BALL_RADIUS_FT = 0.39
SILHOUETTE_TARGETS = 6
"""Colour attachments of the silhouette pass; each has four channels, one thing each."""


@dataclass(frozen=True, slots=True)
class PictureQuality:
    """What a picture costs: supersampling, multisampling, shadow map and floor resolution."""

    supersample: float = 1.25
    samples: int = 0
    shadow_px: int = 1536
    reflection: float = 0.33
    floor_px_per_ft: float = 18.0


@dataclass(frozen=True, slots=True, eq=False)
class _Person:
    """One body ready to draw."""

    slot: int
    paint: Paint
    wardrobe: Wardrobe
    shape: Posed
    actor: int
    name: str  # class name, "" for people that are not labelled


class Graphics:
    """The process's context and everything that does not depend on a look. Get it from `graphics()`."""

    def __init__(self, device_index: int | None) -> None:
        try:
            options: dict[str, Any] = {"backend": "egl"}
            if device_index is not None:
                options["device_index"] = device_index
            self.ctx: Any = moderngl.create_context(standalone=True, **options)
        except Exception as error:
            raise MissingExtraError(
                f"No OpenGL context through EGL ({error}); install an EGL driver (Debian: libegl1, libgl1-mesa-dri)."
            ) from error
        ctx = self.ctx
        ctx.gc_mode = "auto"
        self.floor = ctx.program(shaders.FLOOR_VERTEX, shaders.FLOOR_FRAGMENT)
        self.blob = ctx.program(shaders.BLOB_VERTEX, shaders.BLOB_FRAGMENT)
        self.prop = ctx.program(shaders.PROP_VERTEX, shaders.PROP_FRAGMENT)
        self.crowd = ctx.program(shaders.CROWD_VERTEX, shaders.CROWD_FRAGMENT)
        self.crowd_flat = ctx.program(shaders.CROWD_VERTEX, shaders.CROWD_FLAT_FRAGMENT)
        self.body = ctx.program(BODY_VERTEX, BODY_FRAGMENT)
        self.ball = ctx.program(shaders.BALL_VERTEX, shaders.BALL_FRAGMENT)
        self.depth = ctx.program(shaders.DEPTH_VERTEX, shaders.DEPTH_FRAGMENT)
        self.flat = ctx.program(shaders.DEPTH_VERTEX, shaders.FLAT_FRAGMENT)
        self.silhouette = ctx.program(shaders.DEPTH_VERTEX, shaders.SILHOUETTE_FRAGMENT)
        self.post = ctx.program(shaders.POST_VERTEX, shaders.POST_FRAGMENT)
        self.people_map = _texture(ctx, people_texture())
        self.digits = tuple(_texture(ctx, digit_texture(style)[..., None], mipmaps="no") for style in range(3))
        self.sphere = _sphere()
        self.ball_vbo = ctx.buffer(self.sphere.tobytes())
        self.ball_vao = ctx.vertex_array(self.ball, [(self.ball_vbo, "3f", "in_unit")])
        corners = np.array([[-1, -1], [3, -1], [-1, 3]], np.float32)
        self.post_vao = ctx.vertex_array(self.post, [(ctx.buffer(corners.tobytes()), "2f", "in_corner")])
        self.wardrobes: dict[int, tuple[Any, Any, Any]] = {}

    def wardrobe(self, clothes: Wardrobe) -> tuple[Any, Any, Any]:
        """Static buffers of an outfit: reference coordinates, part with limb coordinates, triangles."""
        key = id(clothes)
        if key not in self.wardrobes:
            part = np.column_stack([clothes.part, clothes.leg_along, clothes.arm_along]).astype(np.float32)
            self.wardrobes[key] = (
                self.ctx.buffer(np.ascontiguousarray(clothes.rest_uvw, np.float32).tobytes()),
                self.ctx.buffer(part.tobytes()),
                self.ctx.buffer(np.ascontiguousarray(clothes.faces, np.int32).tobytes()),
            )
        return self.wardrobes[key]


@lru_cache(maxsize=1)
def graphics(device_index: int | None = None) -> Graphics:
    """The process's graphics context, made on first use.

    Raises
    ------
    MissingExtraError
        There is no EGL driver.
    """
    return Graphics(device_index)


def _texture(ctx: Any, pixels: np.ndarray, *, mipmaps: str = "yes") -> Any:
    texture = ctx.texture(
        (pixels.shape[1], pixels.shape[0]), pixels.shape[2], np.ascontiguousarray(pixels).tobytes(), alignment=1
    )
    if mipmaps == "yes":
        texture.build_mipmaps()
        texture.filter = (moderngl.LINEAR_MIPMAP_LINEAR, moderngl.LINEAR)
        software = "llvmpipe" in ctx.info["GL_RENDERER"]
        texture.anisotropy = 1.0 if software else min(8.0, ctx.max_anisotropy)  # slow in software
    return texture


def _sphere() -> np.ndarray:
    """Unit sphere as loose triangles, (N, 3) float32."""
    rings, sectors = 10, 16
    theta = np.linspace(0, np.pi, rings + 1)
    phi = np.linspace(0, 2 * np.pi, sectors + 1)
    grid = np.stack(
        [
            np.outer(np.sin(theta), np.cos(phi)),
            np.outer(np.sin(theta), np.sin(phi)),
            np.outer(np.cos(theta), np.ones_like(phi)),
        ],
        axis=-1,
    )
    a, b, c, d = grid[:-1, :-1], grid[1:, :-1], grid[1:, 1:], grid[:-1, 1:]
    return np.stack([a, b, c, a, c, d], axis=2).reshape(-1, 3).astype(np.float32)


def _set(program: Any, **values: Any) -> None:
    """Set the uniforms that the compiler kept."""
    for name, value in values.items():
        if name in program:
            program[name] = value


def _set_matrix(program: Any, name: str, matrix: np.ndarray) -> None:
    if name in program:
        program[name].write(np.ascontiguousarray(matrix.T, np.float32).tobytes())


@dataclass(slots=True)
class _Slot:
    """A body's dynamic buffer and its vertex arrays."""

    vbo: Any
    body: Any
    depth: Any
    flat: Any
    silhouette: Any
    wardrobe: Wardrobe = field(repr=False)


class FilmRenderer:
    """Draw frames of one film.

    Parameters
    ----------
    look : Look
    size_px : tuple of int
        Picture width and height; every frame's camera must have it.
    quality : PictureQuality, optional
    device_index : int, optional
        EGL device, for machines with several; only the process's first renderer chooses.
    """

    def __init__(
        self,
        look: Look,
        size_px: tuple[int, int],
        quality: PictureQuality | None = None,
        *,
        device_index: int | None = None,
    ) -> None:
        self.look = look
        self.size_px = size_px
        self.quality = quality or PictureQuality()
        self.book = rule_book(look.rule_book)
        self.gl = graphics(device_index)
        self.grain = Grain(look.picture, look.seed)
        self.arena: ArenaMesh = build_arena(look.arena, self.book)
        self._slots: list[_Slot] = []
        self._last: tuple[SceneFrame | None, list[_Person]] = (None, [])
        rng = np.random.default_rng([look.seed, 31])
        bodies = load_bodies()
        sort = "woman" if rng.random() < 0.25 else "man"
        players = [body for body in bodies if body.outfit == "player" and body.name.startswith(sort)]
        officials = [body for body in bodies if body.outfit == "official"]
        self._players: list[Body] = [players[i] for i in rng.permutation(len(players))]
        self._officials: list[Body] = [officials[i] for i in rng.permutation(len(officials))]
        self._digits = self.gl.digits[int(rng.integers(3))]
        hue = rng.uniform(0.85, 1.1)
        self.leather = (
            (0.80 * hue, 0.38 * hue, 0.16),
            (0.80 * hue, 0.38 * hue, 0.16) if rng.random() < 0.6 else (0.88, 0.66, 0.4),
        )
        self._make_textures()
        self._make_targets()
        self._make_arena()
        self._bystanders = self._make_bystanders()

    # -- set-up ---------------------------------------------------------------------------------------------------

    def _make_textures(self) -> None:
        ctx = self.gl.ctx
        self.floor_map = _texture(ctx, floor_texture(self.look.floor, self.book, self.quality.floor_px_per_ft))
        self.floor_map.repeat_x = self.floor_map.repeat_y = False
        self.adverts = _texture(ctx, advert_texture(self.look.arena))
        self.adverts.repeat_y = False
        self.wall = _texture(ctx, wall_texture(self.look.arena))

    def _make_targets(self) -> None:
        ctx, quality = self.gl.ctx, self.quality
        width, height = self.size_px
        w, h = round(width * quality.supersample), round(height * quality.supersample)
        self._scene_size = (w, h)
        self._scene_texture = ctx.texture((w, h), 4)
        self._resolved = ctx.framebuffer([self._scene_texture], ctx.depth_renderbuffer((w, h)))
        self._scene = (
            ctx.framebuffer(
                [ctx.renderbuffer((w, h), 4, samples=quality.samples)],
                ctx.depth_renderbuffer((w, h), samples=quality.samples),
            )
            if quality.samples
            else self._resolved
        )
        mw, mh = max(int(width * quality.reflection), 16), max(int(height * quality.reflection), 16)
        self._mirror_size = (mw, mh)
        self._mirror_texture = ctx.texture((mw, mh), 4)
        self._mirror = ctx.framebuffer([self._mirror_texture], ctx.depth_renderbuffer((mw, mh)))
        self._mirror_texture.repeat_x = self._mirror_texture.repeat_y = False
        self._shadow_texture = ctx.depth_texture((quality.shadow_px, quality.shadow_px))
        self._shadow_texture.compare_func = "<="
        self._shadow_texture.repeat_x = self._shadow_texture.repeat_y = False
        self._shadow = ctx.framebuffer(depth_attachment=self._shadow_texture)
        self._out = ctx.framebuffer([ctx.texture((width, height), 3)])
        self._id_size = (width // 2, height // 2)
        self._ids = ctx.framebuffer([ctx.texture(self._id_size, 4)], ctx.depth_renderbuffer(self._id_size))
        self._silhouettes = ctx.framebuffer([ctx.texture(self._id_size, 4) for _ in range(SILHOUETTE_TARGETS)])

    def _make_arena(self) -> None:
        ctx, gl, arena = self.gl.ctx, self.gl, self.arena
        book = self.book
        far = np.array(
            [
                [-200, -120],
                [book.length_ft + 200, -120],
                [book.length_ft + 200, 200],
                [-200, -120],
                [book.length_ft + 200, 200],
                [-200, 200],
            ],
            np.float32,
        )
        self._floor_vao = ctx.vertex_array(gl.floor, [(ctx.buffer(far.tobytes()), "2f", "in_place")])
        layout = ("3f 3f 4f 3f", "in_position", "in_normal", "in_colour", "in_uv")
        solid, glass = ctx.buffer(arena.opaque.tobytes()), ctx.buffer(arena.glass.tobytes())
        self._prop_vao = ctx.vertex_array(gl.prop, [(solid, *layout)])
        self._glass_vao = ctx.vertex_array(gl.prop, [(glass, *layout)])
        self._prop_depth_vao = ctx.vertex_array(gl.depth, [(solid, "3f 40x", "in_position")])
        self._prop_flat_vao = ctx.vertex_array(gl.flat, [(solid, "3f 40x", "in_position")])
        self._hoop_buffers = [ctx.buffer(hoop.triangles.tobytes()) for hoop in arena.hoops]
        self._hoop_flat = [ctx.vertex_array(gl.flat, [(b, "3f", "in_position")]) for b in self._hoop_buffers]
        self._hoop_silhouette = [
            ctx.vertex_array(gl.silhouette, [(b, "3f", "in_position")]) for b in self._hoop_buffers
        ]
        corner = np.array([[-0.5, 0], [0.5, 0], [0.5, 1], [-0.5, 0], [0.5, 1], [-0.5, 1]], np.float32)
        corner_buffer = ctx.buffer(corner.tobytes())
        self._crowd_vao = self._near_vao = None
        names = ("in_base", "in_size", "in_tile", "in_shirt", "in_skin")
        if len(arena.crowd):
            rows = ctx.buffer(arena.crowd.tobytes())
            self._crowd_vao = ctx.vertex_array(
                gl.crowd, [(corner_buffer, "2f", "in_corner"), (rows, "3f 3f 4f 4f 4f/i", *names)]
            )
        if arena.near_crowd:
            near = ctx.buffer(arena.crowd[-arena.near_crowd :].tobytes())
            # The flat program needs no colours; it still reads them so that both share one layout.
            self._near_vao = ctx.vertex_array(
                gl.crowd_flat, [(corner_buffer, "2f", "in_corner"), (near, "3f 3f 4f 4f 4f/i", *names)]
            )
        blob_corner = np.array([[-1, -1], [1, -1], [1, 1], [-1, -1], [1, 1], [-1, 1]], np.float32)
        self._blob_rows = ctx.buffer(reserve=200 * 16)
        self._blob_vao = ctx.vertex_array(
            gl.blob, [(ctx.buffer(blob_corner.tobytes()), "2f", "in_corner"), (self._blob_rows, "4f/i", "in_blob")]
        )
        light = self.look.light
        self._shadow_view = shadow_matrix(
            light.direction, np.array([-14.0, -10.0, 0.0]), np.array([book.length_ft + 14, book.width_ft + 10, 8.0])
        )

    def _new_slot(self, wardrobe: Wardrobe) -> _Slot:
        ctx, gl = self.gl.ctx, self.gl
        reference, part, faces = gl.wardrobe(wardrobe)
        vbo = ctx.buffer(reserve=len(wardrobe.part) * 24, dynamic=True)
        body = ctx.vertex_array(
            gl.body,
            [(vbo, "3f 3f", "in_position", "in_normal"), (reference, "3f", "in_reference"), (part, "3f", "in_part")],
            index_buffer=faces,
        )
        plain = [(vbo, "3f 12x", "in_position")]
        return _Slot(
            vbo,
            body,
            ctx.vertex_array(gl.depth, plain, index_buffer=faces),
            ctx.vertex_array(gl.flat, plain, index_buffer=faces),
            ctx.vertex_array(gl.silhouette, plain, index_buffer=faces),
            wardrobe,
        )

    def _upload(self, slot_index: int, body: Body, shape: Posed) -> int:
        """Fill the first free slot of the outfit at or after an index; returns its index."""
        while slot_index < len(self._slots) and self._slots[slot_index].wardrobe is not body.wardrobe:
            slot_index += 1
        if slot_index >= len(self._slots):
            self._slots.append(self._new_slot(body.wardrobe))
            slot_index = len(self._slots) - 1
        rows = np.concatenate([shape.vertices_ft, shape.normals], axis=1, dtype=np.float32)
        self._slots[slot_index].vbo.write(np.ascontiguousarray(rows).tobytes())
        return slot_index

    def _make_bystanders(self) -> list[_Person]:
        found: list[_Person] = []
        for index, row in enumerate(self.arena.people_ft):
            team = int(row[0] > self.book.length_ft / 2) if abs(row[1]) > self.book.width_ft or row[1] < 0 else -1
            substitute = row[3] < 0.5 and team >= 0
            body = (
                self._players[index % len(self._players)]
                if substitute and index % 3
                else self._officials[index % len(self._officials)]
            )
            paint = (
                player_paint(self.look, 100 + index, team, "")
                if substitute and index % 3 == 1
                else bystander_paint(self.look, index, team)
            )
            shape = posed_all([body], [bystander_state(index, row)])[0]
            slot = self._upload(len(self._slots), body, shape)
            found.append(_Person(slot, paint, body.wardrobe, shape, -1, ""))
        return found

    def body_of(self, actor: ActorState) -> Body:
        """The body that plays an actor in this film."""
        pool = self._players if actor.role in ("player", "bench") else self._officials
        return pool[actor.actor % len(pool)]

    # -- per frame ------------------------------------------------------------------------------------------------

    def _paint(self, actor: ActorState) -> Paint:
        if actor.role == "official":
            return official_paint(self.look, actor.actor)
        if actor.role == "player" or actor.role == "bench":
            return player_paint(self.look, actor.actor, max(actor.team, 0), actor.number)
        return bystander_paint(self.look, actor.actor, actor.team)

    def _people(self, frame: SceneFrame) -> list[_Person]:
        """Pose and upload the frame's actors (once per frame)."""
        if self._last[0] is frame:
            return self._last[1]
        found: list[_Person] = []
        slot = len(self._bystanders)
        taken: set[int] = set()
        bodies = [self.body_of(actor) for actor in frame.actors]
        shapes = posed_all(bodies, frame.actors, frame.ball)
        for actor, body, shape in zip(frame.actors, bodies, shapes, strict=True):
            index = slot
            while index in taken:
                index += 1
            index = self._free_slot(index, body, taken)
            self._upload(index, body, shape)
            taken.add(index)
            name = actor.role if actor.role in ("player", "official") else ""
            paint = self._paint(actor)
            if body.hair == "shaved":
                paint = replace(paint, hair=(paint.skin[0] * 0.85, paint.skin[1] * 0.85, paint.skin[2] * 0.85))
            found.append(_Person(index, paint, body.wardrobe, shape, actor.actor, name))
        self._last = (frame, found)
        return found

    def _free_slot(self, start: int, body: Body, taken: set[int]) -> int:
        index = start
        while index < len(self._slots) and (index in taken or self._slots[index].wardrobe is not body.wardrobe):
            index += 1
        return index

    def ball_place_ft(self, frame: SceneFrame) -> np.ndarray | None:
        """Where the ball is drawn: its own place, or between its holder's hands; None without a ball."""
        if frame.ball is None:
            return None
        if np.isfinite(frame.ball.xyz_ft).all():
            return frame.ball.xyz_ft
        for person in self._people(frame):
            if person.actor == frame.ball.held_by:
                return person.shape.ball_ft
        return None

    def _light(self, program: Any) -> None:
        light, book = self.look.light, self.book
        _set(
            program,
            light_dir=light.direction,
            key=light.key,
            ambient=light.ambient,
            tint=light.tint,
            shadow_strength=light.shadow,
            falloff=light.falloff,
            court_middle=(book.length_ft / 2, book.width_ft / 2, book.length_ft / 2),
            shadow_map=3,
        )
        _set_matrix(program, "shadow_matrix", self._shadow_view)

    def _draw_bodies(self, people: list[_Person], view: np.ndarray, mirror_z: float) -> None:
        program = self.gl.body
        _set_matrix(program, "view_projection", view)
        _set(program, mirror_z=mirror_z, digits=2)
        self._digits.use(2)
        for person in people:
            paint = person.paint
            for name in (
                "skin",
                "jersey",
                "shorts",
                "trim",
                "number_ink",
                "socks",
                "shoes",
                "sole",
                "hair",
                "sleeve",
                "options",
                "extras",
                "number",
            ):
                _set(program, **{name: getattr(paint, name)})
            self._slots[person.slot].body.render()

    def _draw_ball(self, place: np.ndarray, smear: np.ndarray, t_s: float, view: np.ndarray, mirror_z: float) -> None:
        program = self.gl.ball
        _set_matrix(program, "view_projection", view)
        turn = t_s * 9.0
        c, s = np.cos(turn), np.sin(turn)
        spin = np.array([[c, 0, s], [0.3 * s, 0.95, -0.3 * c], [-s, 0.31, c]])
        length = 2 * float(np.linalg.norm(smear))
        _set(
            program,
            mirror_z=mirror_z,
            centre=tuple(place),
            smear=tuple(smear),
            radius=BALL_RADIUS_FT,
            leather=self.leather[0],
            leather_2=self.leather[1],
            alpha=float((2 * BALL_RADIUS_FT / (2 * BALL_RADIUS_FT + length)) ** 0.7),
        )
        _set_matrix(program, "spin", spin)
        self.gl.ball_vao.render()

    def _draw_surroundings(self, camera: Camera, t_s: float, view: np.ndarray, mirror_z: float) -> None:
        gl = self.gl
        self.adverts.use(0)
        self.wall.use(1)
        _set_matrix(gl.prop, "view_projection", view)
        # Boards show a still advert for six seconds, then jump to another part of the strip.
        _set(gl.prop, mirror_z=mirror_z, adverts=0, wall=1, advert_shift=float(int(t_s / 6.0) * 0.37 % 1.0))
        self._prop_vao.render()
        if self._crowd_vao is not None:
            self.gl.people_map.use(4)
            _set_matrix(gl.crowd, "view_projection", view)
            _set(
                gl.crowd,
                mirror_z=mirror_z,
                right=tuple(_flat_right(camera)),
                time_s=float(t_s % 1000),
                liveliness=0.8,
                people=4,
            )
            self._crowd_vao.render(instances=len(self.arena.crowd))

    def _shadow_pass(self, people: list[_Person], ball: np.ndarray | None) -> None:
        ctx = self.gl.ctx
        self._shadow.use()
        self._shadow.clear(depth=1.0)
        ctx.enable_only(moderngl.DEPTH_TEST)
        _set_matrix(self.gl.depth, "view_projection", self._shadow_view)
        for person in people:
            self._slots[person.slot].depth.render()
        self._prop_depth_vao.render(vertices=self.arena.casters)
        if ball is not None:
            rows = (self.gl.sphere * BALL_RADIUS_FT + ball).astype(np.float32)
            vao = ctx.vertex_array(self.gl.depth, [(ctx.buffer(rows.tobytes()), "3f", "in_position")])
            vao.render()

    def _blobs(self, people: list[_Person], ball: np.ndarray | None, view: np.ndarray) -> None:
        rows: list[tuple[float, float, float, float]] = []
        for person in people:
            for foot in person.shape.feet_ft:
                lift = max(float(foot[2]) - 0.2, 0.0)
                rows.append((float(foot[0]), float(foot[1]), 0.75 + 0.5 * lift, 0.75 / (1 + 2.5 * lift)))
            rows.append((float(person.shape.feet_ft[:, 0].mean()), float(person.shape.feet_ft[:, 1].mean()), 2.4, 0.3))
        if ball is not None:
            rows.append((float(ball[0]), float(ball[1]), 0.5 + 0.12 * float(ball[2]), 0.6 / (1 + float(ball[2]))))
        rows = rows[:200]
        self._blob_rows.write(np.array(rows, np.float32).tobytes())
        _set_matrix(self.gl.blob, "view_projection", view)
        self._blob_vao.render(instances=len(rows))

    def _draw_scene(self, frame: SceneFrame, camera: Camera, window: Window) -> None:
        ctx, gl, look = self.gl.ctx, self.gl, self.look
        everyone = self._bystanders + self._people(frame)
        ball = self.ball_place_ft(frame)
        smear = np.zeros(3)
        if frame.ball is not None and frame.ball.held_by is None:
            smear = frame.ball.velocity_ft_s * frame.shutter_s / 2
        view = view_projection(camera, window)
        self._shadow_pass(everyone, ball)
        for program in (gl.floor, gl.prop, gl.body, gl.ball):
            self._light(program)
        share = 0.25 if look.arena.venue is Venue.GYM else 0.04
        dark = [value * share for value in look.arena.wall]
        self._mirror.use()
        self._mirror.clear(dark[0], dark[1], dark[2], 1.0)
        self._shadow_texture.use(3)
        ctx.enable_only(moderngl.DEPTH_TEST)
        self._draw_surroundings(camera, frame.t_s, view, -1.0)
        self._draw_bodies(everyone, view, -1.0)
        self._mirror_texture.build_mipmaps()
        self._mirror_texture.filter = (moderngl.LINEAR_MIPMAP_LINEAR, moderngl.LINEAR)
        self._scene.use()
        self._scene.clear(dark[0], dark[1], dark[2], 1.0)
        floor, light = look.floor, look.light
        length, width = floor_size_ft(self.book)
        self.floor_map.use(0)
        self._mirror_texture.use(1)
        self._shadow_texture.use(3)
        _set_matrix(gl.floor, "view_projection", view)
        _set(
            gl.floor,
            floor_map=0,
            mirror=1,
            mirror_scale=(1.0 / self._scene_size[0], 1.0 / self._scene_size[1]),
            floor_extent=(-MARGIN_X_FT, -MARGIN_Y_FT, length, width),
            eye=tuple(camera.centre_ft),
            reflection=floor.reflection,
            gloss=floor.gloss,
            lamps=(light.lamp_spacing_ft, light.lamp_height_ft, light.lamp_glare * floor.gloss, light.lamp_soft),
        )
        self._floor_vao.render()
        ctx.enable_only(moderngl.BLEND)
        ctx.blend_func = moderngl.SRC_ALPHA, moderngl.ONE_MINUS_SRC_ALPHA
        self._blobs(everyone, ball, view)
        ctx.enable_only(moderngl.DEPTH_TEST)
        self._draw_surroundings(camera, frame.t_s, view, 1.0)
        self._shadow_texture.use(3)
        self._draw_bodies(everyone, view, 1.0)
        ctx.enable_only(moderngl.DEPTH_TEST | moderngl.BLEND)
        if ball is not None:
            self._draw_ball(ball, smear, frame.t_s, view, 1.0)
        _set(gl.prop, mirror_z=1.0)
        self._scene.depth_mask = False
        self._glass_vao.render()
        self._scene.depth_mask = True
        if self._scene is not self._resolved:
            ctx.copy_framebuffer(self._resolved, self._scene)

    def _through_lens(self, camera: Camera, window: Window) -> np.ndarray:
        picture, ctx = self.look.picture, self.gl.ctx
        if self.quality.supersample > 1.3:
            self._scene_texture.build_mipmaps()
            self._scene_texture.filter = (moderngl.LINEAR_MIPMAP_LINEAR, moderngl.LINEAR)
        self._scene_texture.repeat_x = self._scene_texture.repeat_y = False
        self._out.use()
        ctx.enable_only(moderngl.NOTHING)
        self._scene_texture.use(0)
        _set(
            self.gl.post,
            scene=0,
            size=tuple(float(v) for v in self.size_px),
            centre=tuple(camera.lens.centre_px),
            lens_width=camera.lens.width_px,
            k1=camera.lens.k1,
            window=(window.x_px, window.y_px, window.width_px, window.height_px),
            vignette=picture.vignette,
            gain=picture.gain,
            tint=picture.tint,
            aberration=picture.aberration,
            bias=-0.4,
        )
        self.gl.post_vao.render(vertices=3)
        width, height = self.size_px
        return np.frombuffer(self._out.read(components=3, alignment=1), np.uint8).reshape(height, width, 3)

    def camera_of(self, frame: SceneFrame) -> Camera:
        """The camera that a frame is drawn with: its own, or one that looks into the stands."""
        if frame.view != "crowd":
            return frame.camera
        rng = np.random.default_rng([self.look.seed, 41, frame.shot])
        book = self.book
        centre = np.array(
            [rng.uniform(15, book.length_ft - 15), rng.uniform(20, book.width_ft - 4), rng.uniform(6, 12)]
        )
        width = self.size_px[0]
        return Camera(
            centre,
            float(rng.uniform(-20, 20)) + 1.2 * float(np.sin(frame.t_s * 0.4)),
            float(rng.uniform(4, 11)),
            0.0,
            width * float(rng.uniform(0.9, 2.2)),
            straight_lens(self.size_px),
            self.size_px,
        )

    def draw(self, frame: SceneFrame) -> np.ndarray:
        """Draw one frame.

        Returns
        -------
        ndarray of shape (H, W, 3) uint8
            BGR, through lens, camera and delivery chain.
        """
        if frame.camera.size_px != self.size_px:
            raise ValueError(f"The frame's camera is for {frame.camera.size_px}, the renderer for {self.size_px}.")
        rng = np.random.default_rng([self.look.seed, 51, frame.index])
        if frame.view == "graphic":
            picture = full_graphic(self.look, self.size_px, frame.shot)
        else:
            camera = self.camera_of(frame)
            window = ideal_window(camera)
            self._draw_scene(frame, camera, window)
            seen = self._through_lens(camera, window)
            shift = _shift_px(frame, camera)
            picture = develop(seen, self.look, self.grain, rng, shift_px=shift, exposure=frame.exposure)
        if frame.score_bug is not None and frame.view != "graphic":
            draw_bug(picture, self.look, frame.score_bug)
        if frame.transition is not None:
            draw_transition(picture, self.look, frame.transition)
        return deliver(picture, self.look, rng)

    # -- labels ---------------------------------------------------------------------------------------------------

    def labels(self, frame: SceneFrame) -> FrameLabels:
        """Boxes and area map of one frame; for views that are not of the court both are empty."""
        width, height = self.size_px
        if frame.view in ("crowd", "graphic"):
            return FrameLabels((), np.zeros((height, width), np.uint8))
        blank = frame.view == "close_up"
        map_px = np.zeros((height, width), np.uint8) if blank else area_map(frame.camera, self.book, self.look.floor)
        covered = plan_bug(self.size_px, self.look, frame.score_bug).box_px if frame.score_bug else None
        return FrameLabels(self.boxes(frame), map_px, covered)

    def boxes(self, frame: SceneFrame) -> tuple[LabelledBox, ...]:
        """Every player, official, ring and the ball that is at least partly in the picture, hidden ones too."""
        camera = frame.camera
        things: list[
            tuple[
                str,
                int,
                tuple[float, ...],
                tuple[float, ...],
                tuple[float, float],
                Callable[[], None],
                Callable[[], None],
            ]
        ] = []
        for person, actor in zip(self._people(frame), frame.actors, strict=True):
            if not person.name:
                continue
            found = extent(camera.project(person.shape.vertices_ft), self.size_px)
            if found is not None:
                feet = camera.project_floor(actor.position_ft[None])[0]
                slot = self._slots[person.slot]
                things.append(
                    (
                        person.name,
                        person.actor,
                        found[0],
                        found[1],
                        (float(feet[0]), float(feet[1])),
                        slot.flat.render,
                        slot.silhouette.render,
                    )
                )
        ball = self.ball_place_ft(frame)
        if ball is not None:
            points = self.gl.sphere * BALL_RADIUS_FT + ball
            if frame.ball is not None and frame.ball.held_by is None:
                half = frame.ball.velocity_ft_s * frame.shutter_s / 2
                points = np.vstack([points + half, points - half])
            found = extent(camera.project(points), self.size_px)
            if found is not None:
                ctx = self.gl.ctx
                buffer = ctx.buffer((self.gl.sphere * BALL_RADIUS_FT + ball).astype(np.float32).tobytes())
                flat = ctx.vertex_array(self.gl.flat, [(buffer, "3f", "in_position")])
                outline = ctx.vertex_array(self.gl.silhouette, [(buffer, "3f", "in_position")])
                things.append(("ball", -1, found[0], found[1], (np.nan, np.nan), flat.render, outline.render))
        for hoop, flat, outline in zip(self.arena.hoops, self._hoop_flat, self._hoop_silhouette, strict=True):
            found = extent(camera.project(hoop.outline_ft), self.size_px)
            if found is not None:
                things.append(("ring", -1, found[0], found[1], (np.nan, np.nan), flat.render, outline.render))
        things = things[: SILHOUETTE_TARGETS * 4]
        visible = self._visible_shares(frame, things)
        return tuple(
            LabelledBox(name, actor, cut, whole, share, feet)  # type: ignore[arg-type]
            for (name, actor, whole, cut, feet, _, _), share in zip(things, visible, strict=True)
        )

    def _visible_shares(self, frame: SceneFrame, things: list[Any]) -> list[float]:
        """Visible over whole silhouette of each thing, both counted in the rendered window at half resolution."""
        ctx, gl = self.gl.ctx, self.gl
        window = ideal_window(frame.camera)
        view = view_projection(frame.camera, window)
        _set_matrix(gl.flat, "view_projection", view)
        _set_matrix(gl.silhouette, "view_projection", view)
        self._ids.use()
        self._ids.clear(0, 0, 0, 0, depth=1.0)
        ctx.enable_only(moderngl.DEPTH_TEST)
        _set(gl.flat, identity=(0.0, 0.0, 0.0, 0.0))
        self._prop_flat_vao.render()
        for person in self._bystanders + [p for p in self._people(frame) if not p.name]:
            self._slots[person.slot].flat.render()
        if self._near_vao is not None:
            gl.people_map.use(4)
            _set_matrix(gl.crowd_flat, "view_projection", view)
            _set(
                gl.crowd_flat,
                mirror_z=1.0,
                right=tuple(_flat_right(frame.camera)),
                time_s=float(frame.t_s % 1000),
                liveliness=0.8,
                people=4,
            )
            self._near_vao.render(instances=self.arena.near_crowd)
        for number, thing in enumerate(things):
            if thing[0] != "ring":
                _set(gl.flat, identity=((number + 1) / 255.0, 0.0, 0.0, 0.0))
                thing[5]()
        self._ids.color_mask = (False, True, False, False)
        self._ids.depth_mask = False
        ctx.depth_func = "<="
        for number, thing in enumerate(things):
            if thing[0] == "ring":
                _set(gl.flat, identity=(0.0, (number + 1) / 255.0, 0.0, 0.0))
                thing[5]()
        ctx.depth_func = "<"
        self._ids.color_mask = (True, True, True, True)
        self._ids.depth_mask = True
        pixels = np.frombuffer(self._ids.read(components=4, alignment=1), np.uint8).reshape(-1, 4)
        people_seen, rings_seen = (np.bincount(pixels[:, channel], minlength=256) for channel in (0, 1))
        self._silhouettes.use()
        self._silhouettes.clear()
        ctx.enable_only(moderngl.BLEND)
        ctx.blend_func = moderngl.ONE, moderngl.ONE
        ctx.blend_equation = moderngl.MAX
        for number, thing in enumerate(things):
            for target in range(SILHOUETTE_TARGETS):
                channels = [0.0, 0.0, 0.0, 0.0]
                if number // 4 == target:
                    channels[number % 4] = 1.0
                gl.silhouette[f"channel_{target}"] = tuple(channels)
            thing[6]()
        ctx.blend_equation = moderngl.FUNC_ADD
        totals: list[int] = []
        for target in range((len(things) + 3) // 4):
            plane = np.frombuffer(
                self._silhouettes.read(components=4, attachment=target, alignment=1), np.uint8
            ).reshape(-1, 4)
            totals += [int(n) for n in np.count_nonzero(plane > 127, axis=0)]
        return [
            float(min((rings_seen if thing[0] == "ring" else people_seen)[number + 1] / totals[number], 1.0))
            if totals[number]
            else 0.0
            for number, thing in enumerate(things)
        ]


def _flat_right(camera: Camera) -> np.ndarray:
    """The camera's right direction laid flat, for upright billboards."""
    right = camera.rotation()[0].copy()
    right[2] = 0.0
    return right / max(float(np.linalg.norm(right)), 1e-9)


def _shift_px(frame: SceneFrame, camera: Camera) -> np.ndarray:
    """How far the picture's middle moves during the exposure."""
    if frame.camera_after is None or frame.view == "crowd":
        return np.zeros(2)
    forward = camera.centre_ft + camera.rotation()[2] * 90.0
    moved = frame.camera_after.project(forward[None])[0] - camera.project(forward[None])[0]
    return moved if np.isfinite(moved).all() else np.zeros(2)
