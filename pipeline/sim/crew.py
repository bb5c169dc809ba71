"""The film crew: a camera operator with human lag, an editor who cuts, and the clock operator.

Comes in: a ``Game`` (where everyone is at any time of the game). Goes out: a ``FilmPlan``: the shots,
and for any film frame the moment of the game, the camera, the score graphic and the wipe. Cameras keep
their optical centre for the whole film; only pan, tilt and focal length follow the play.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum
from fractions import Fraction

import numpy as np

from pipeline.court.camera import Camera, Lens
from pipeline.court.rule_books import RuleBook
from pipeline.sim.looks import Venue
from pipeline.sim.plays.game import After, Game, Stretch
from pipeline.sim.plays.moments import scene_actors, scene_ball
from pipeline.sim.plays.motion import smooth
from pipeline.sim.plays.possession import Possession
from pipeline.sim.plays.stoppages import FREE_THROWS
from pipeline.sim.scene import SceneFrame, ScoreBug, Transition, TransitionKind

CAMERA_STEP_S = 0.02
WIPE_S = 0.6
SHOT_CLOCK_S = {"fiba": 24.0, "nba": 24.0, "ncaa": 30.0}
"""By rule book; high-school games mostly have none."""
GYM_REACH_FT = 19.0
"""Cameras in a gym stand at most so far beyond a baseline: three feet inside the end wall."""


class View(Enum):
    """What a shot shows; the names are those of the ``shots`` table."""

    MAIN = "main"
    REPLAY = "replay"
    CLOSEUP = "closeup"
    CROWD = "crowd"


@dataclass(frozen=True, slots=True)
class Stand:
    """Where a camera stands and how it is handled; drawn once per film.

    Attributes
    ----------
    centre_ft : tuple of 3 floats
    roll_deg, k1 : float
    wide_deg, tight_deg : float
        Horizontal field of view in transition and with the play set.
    lag_s : float
        How far the operator is behind the play.
    shake_deg : float
        Size of the small unrest of the hand.
    """

    centre_ft: tuple[float, float, float]
    roll_deg: float
    k1: float
    wide_deg: float
    tight_deg: float
    lag_s: float
    shake_deg: float


def main_stand(rng: np.random.Generator, book: RuleBook, k1: float) -> Stand:
    """The main side camera: 75-95 ft from the near sideline's far end of the stand, 24-42 ft up."""
    wide = float(rng.uniform(28.5, 32.0))
    return Stand(
        (book.length_ft / 2 + float(rng.normal(0, 1.5)), -float(rng.uniform(66, 88)), float(rng.uniform(25, 40))),
        float(rng.normal(0, 0.25)),
        k1,
        wide,
        wide - float(rng.uniform(2.0, 4.5)),
        float(rng.uniform(0.22, 0.42)),
        float(rng.uniform(0.01, 0.03)),
    )


def replay_stand(rng: np.random.Generator, book: RuleBook, main: Stand, k1: float) -> Stand:
    """Another camera for replays: the main one closer in, one beside it, or a low one beyond a baseline's corner."""
    kind = rng.random()
    if kind < 0.4:
        tight = main.tight_deg * float(rng.uniform(0.55, 0.7))
        return Stand(main.centre_ft, main.roll_deg, k1, tight + 1.0, tight, 0.25, 0.02)
    if kind < 0.75:
        shift = float(rng.choice([-1, 1])) * float(rng.uniform(14, 24))
        centre = (main.centre_ft[0] + shift, main.centre_ft[1] + float(rng.uniform(5, 25)), main.centre_ft[2] - 8)
        return Stand(centre, 0.0, k1, 21.0, 18.0, 0.25, 0.03)
    side = float(rng.choice([-1, 1]))
    x = book.length_ft / 2 + side * (book.length_ft / 2 + float(rng.uniform(22, 32)))
    return Stand((x, -float(rng.uniform(12, 26)), float(rng.uniform(10, 16))), 0.0, k1, 34.0, 30.0, 0.25, 0.04)


def inside(stand: Stand, book: RuleBook, venue: Venue) -> Stand:
    """The stand as the building allows it: a gym has its camera nearer, lower and wider, or it looks through a wall.

    The picture shows as much of the floor as before. Other buildings have room for every stand.
    """
    if venue is not Venue.GYM:
        return stand
    x, y, z = stand.centre_ft
    nearer = (max(0.62 * y, -56.0), float(np.clip(0.55 * z, 5.0, 24.0)))
    x = float(np.clip(x, -GYM_REACH_FT, book.length_ft + GYM_REACH_FT))
    farness = (book.width_ft / 2 - y) / (book.width_ft / 2 - nearer[0])

    def widened(angle_deg: float) -> float:
        return float(2 * np.rad2deg(np.arctan(np.tan(np.deg2rad(angle_deg) / 2) * farness)))

    return replace(
        stand,
        centre_ft=(x, *nearer),
        wide_deg=widened(stand.wide_deg),
        tight_deg=widened(stand.tight_deg),
    )


@dataclass(frozen=True, slots=True, eq=False)
class CameraPath:
    """Angles and focal length of one camera over the game, every ``CAMERA_STEP_S``; lags included."""

    stand: Stand
    start_s: float
    pan_deg: np.ndarray
    tilt_deg: np.ndarray
    fov_deg: np.ndarray
    target_ft: np.ndarray
    """(T, 2) floor point that the operator would centre without any lag."""

    def camera(self, t_s: float, size_px: tuple[int, int]) -> Camera:
        """The camera at a time of the game."""
        k = np.clip((t_s - self.start_s) / CAMERA_STEP_S, 0, len(self.pan_deg) - 1)
        a = int(k)
        b = min(a + 1, len(self.pan_deg) - 1)
        w = float(k - a)
        pan, tilt, fov = ((1 - w) * v[a] + w * v[b] for v in (self.pan_deg, self.tilt_deg, self.fov_deg))
        return _camera(self.stand, float(pan), float(tilt), float(fov), size_px)


def _camera(stand: Stand, pan: float, tilt: float, fov: float, size_px: tuple[int, int]) -> Camera:
    lens = Lens(stand.k1, np.array([(size_px[0] - 1) / 2, (size_px[1] - 1) / 2]), float(size_px[0]))
    focal = size_px[0] / 2 / np.tan(np.deg2rad(fov) / 2)
    return Camera(np.array(stand.centre_ft), pan, tilt, stand.roll_deg, float(focal), lens, size_px)


def _angles(stand: Stand, target_ft: np.ndarray, height_ft: float = 2.5) -> tuple[np.ndarray, np.ndarray]:
    """Pan and tilt that centre floor points (T, 2)."""
    rel = np.column_stack([target_ft, np.full(len(target_ft), height_ft)]) - np.array(stand.centre_ft)
    pan = np.rad2deg(np.arctan2(rel[:, 0], rel[:, 1]))
    tilt = np.rad2deg(np.arctan2(rel[:, 2], np.hypot(rel[:, 0], rel[:, 1])))
    return pan, tilt


def follow(values: np.ndarray, lag_s: float, rate_limit: float, acceleration_limit: float) -> np.ndarray:
    """A critically damped follower with limited speed and acceleration, as a head on a tripod moves.

    Parameters
    ----------
    values : ndarray of shape (T,)
        What it should follow, every ``CAMERA_STEP_S``.
    lag_s : float
        Steady lag behind a steady motion.
    rate_limit, acceleration_limit : float
        Units of ``values`` per second and second squared.
    """
    omega = 2.0 / lag_s
    out = np.empty_like(values)
    x, v = float(values[0]), 0.0
    for k, target in enumerate(values):
        a = omega * omega * (target - x) - 2 * omega * v
        v = float(
            np.clip(v + np.clip(a, -acceleration_limit, acceleration_limit) * CAMERA_STEP_S, -rate_limit, rate_limit)
        )
        x += v * CAMERA_STEP_S
        out[k] = x
    return out


def play_focus(game: Game, times_s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Where the play is: focus (T, 2) in court feet, and how spread it is along the floor (T,), feet."""
    focus = np.empty((len(times_s), 2))
    spread = np.empty(len(times_s))
    for k, t in enumerate(times_s):
        p, local = game.at(float(t))
        i = int(np.clip(round(local / p.dt_s), 0, len(p.xy_ft) - 1))
        xy = p.xy_ft[i, :10]
        ball = p.ball_ft[i, :2]
        weight = np.exp(-(((xy[:, 0] - ball[0]) / 22.0) ** 2))
        crowd = (xy * weight[:, None]).sum(0) / weight.sum()
        focus[k] = 0.5 * ball + 0.5 * crowd
        spread[k] = np.ptp(xy[weight > 0.35, 0]) if (weight > 0.35).any() else 20.0
    return focus, spread


def operate(game: Game, stand: Stand, rng: np.random.Generator, start_s: float, end_s: float) -> CameraPath:
    """Follow the play with one camera from start to end."""
    times = np.arange(start_s, end_s + CAMERA_STEP_S, CAMERA_STEP_S)
    focus, spread = play_focus(game, times)
    book = game.book
    distance = abs(stand.centre_ft[1]) + book.width_ft / 2
    jumps = np.flatnonzero(np.abs(np.diff(focus[:, 0])) > 6.0) + 1
    # a fresh start (after a cut in the game) begins settled
    pieces = np.split(np.arange(len(times)), jumps)
    pan, tilt, fov = (np.empty(len(times)) for _ in range(3))
    targets = np.empty((len(times), 2))
    for piece in pieces:
        f = smooth(focus[piece], 12.0)
        run = smooth(np.gradient(f[:, 0], CAMERA_STEP_S), 20.0) if len(f) > 2 else np.zeros(len(f))
        wanted_fov = np.interp(smooth(spread[piece], 30.0), [24, 46], [stand.tight_deg, stand.wide_deg])
        wanted_fov = np.maximum(wanted_fov, np.interp(np.abs(run), [5, 14], [stand.tight_deg, stand.wide_deg]))
        wanted_fov = wanted_fov + _drift(rng, len(f), 0.4, 4.0)
        seen = np.tan(np.deg2rad(wanted_fov) / 2) * distance
        lead = np.clip(run * 0.35, -6, 6)
        x = f[:, 0] + lead
        edge = seen - 10.0
        x = np.where(edge < book.length_ft / 2, np.clip(x, edge, book.length_ft - edge), book.length_ft / 2)
        # inside a dead band the operator lets the play move
        x = _dead_band(x, 2.0)
        y = 0.45 * f[:, 1] + 0.55 * (book.width_ft * 0.46)
        target = np.column_stack([smooth(x, 8.0), smooth(y, 15.0)])
        targets[piece] = target
        p, t = _angles(stand, target)
        pan[piece] = follow(p, stand.lag_s, 34.0, 60.0) + _drift(rng, len(f), stand.shake_deg * 3, 1.1)
        tilt[piece] = follow(t, stand.lag_s * 1.5, 12.0, 25.0) + _drift(rng, len(f), stand.shake_deg * 2, 1.3)
        pan[piece] += _drift(rng, len(f), stand.shake_deg, 0.15)
        tilt[piece] += _drift(rng, len(f), stand.shake_deg, 0.15)
        fov[piece] = follow(wanted_fov, 1.3, 6.0, 8.0)
    return CameraPath(stand, start_s, pan, tilt, fov, targets)


def _drift(rng: np.random.Generator, count: int, size: float, seconds: float) -> np.ndarray:
    """Smooth noise of a standard deviation and a correlation time, shape (count,)."""
    steps = max(seconds / CAMERA_STEP_S, 1.0)
    pad = int(4 * steps) + 2
    noise = smooth(rng.normal(0, 1, (count + 2 * pad, 1)), steps)[pad : pad + count, 0]
    deviation = 1.0 / np.sqrt(2 * np.sqrt(np.pi) * steps)
    return noise / deviation * size


def _dead_band(values: np.ndarray, half_ft: float) -> np.ndarray:
    out = np.empty_like(values)
    at = float(values[0])
    for k, v in enumerate(values):
        at = min(max(at, v - half_ft), v + half_ft)
        out[k] = at
    return out


# ---- the editor -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Shot:
    """One shot of the film. Half-open in film time."""

    view: View
    start_s: float
    end_s: float
    game_from_s: float
    """Time of the game at its first frame."""
    speed: float
    camera: int
    """0 the main camera, else an index into the plan's cameras."""
    transition_in: str
    """"start", "cut" or "wipe"."""
    wipe: TransitionKind = "wipe"
    subject: int = -1
    """Actor of a close-up."""

    @property
    def live(self) -> bool:
        """Main camera in live play."""
        return self.view is View.MAIN


@dataclass(frozen=True, slots=True)
class ClockSpan:
    """Clock and score over a time of the game."""

    start_s: float
    end_s: float
    period: int
    clock_s: float
    """At the start."""
    runs: bool
    shot_clock_s: float | None
    home: int
    away: int


@dataclass(frozen=True, slots=True, eq=False)
class FilmPlan:
    """Everything but the picture: see the module."""

    game: Game
    shots: tuple[Shot, ...]
    cameras: tuple[CameraPath, ...]
    clock: tuple[ClockSpan, ...]
    rate: Fraction
    size_px: tuple[int, int]
    numbers: tuple[str, ...]
    seed: int

    @property
    def seconds(self) -> float:
        """Length of the film."""
        return self.shots[-1].end_s

    @property
    def frames(self) -> int:
        """Number of frames."""
        return round(self.seconds * self.rate)

    def time_of(self, frame: int) -> float:
        """Presentation time of a frame."""
        return float(frame / self.rate)

    def shot_of(self, frame: int) -> int:
        """Index of the shot a frame lies in."""
        t = self.time_of(frame) + 1e-9
        for k, shot in enumerate(self.shots):
            if t < shot.end_s:
                return k
        return len(self.shots) - 1

    def game_time(self, frame: int) -> float:
        """Time of the game that a frame shows."""
        shot = self.shots[self.shot_of(frame)]
        return shot.game_from_s + (self.time_of(frame) - shot.start_s) * shot.speed

    def camera_at(self, frame: int, *, later_s: float = 0.0) -> Camera:
        """The camera of a frame; ``later_s`` for the end of the exposure."""
        shot = self.shots[self.shot_of(frame)]
        t = self.game_time(frame) + later_s * shot.speed
        return self.cameras[shot.camera].camera(t, self.size_px)

    def score_at(self, t_s: float) -> ScoreBug:
        """Clock and score at a time of the game."""
        span = next((s for s in self.clock if t_s < s.end_s), self.clock[-1])
        gone = min(max(t_s - span.start_s, 0.0), span.end_s - span.start_s) if span.runs else 0.0
        shot_clock = None if span.shot_clock_s is None else max(span.shot_clock_s - gone, 0.0)
        return ScoreBug(span.period, max(span.clock_s - gone, 0.0), shot_clock, span.home, span.away)

    def clock_runs(self, t_s: float) -> bool:
        """Whether the clock runs at a time of the game."""
        span = next((s for s in self.clock if t_s < s.end_s), self.clock[-1])
        return span.runs and self.score_at(t_s).clock_s > 0

    def bug_at(self, frame: int) -> ScoreBug | None:
        """What the score graphic shows in a film frame; None where the editor has taken it out."""
        number = self.shot_of(frame)
        shot = self.shots[number]
        hidden = shot.view is View.REPLAY or (shot.view is View.CROWD and (self.seed + number) % 2 == 0)
        return None if hidden else self.score_at(self.game_time(frame))

    def scene_frame(self, frame: int) -> SceneFrame:
        """What the renderer draws for a film frame."""
        number = self.shot_of(frame)
        shot = self.shots[number]
        t = self.game_time(frame)
        possession, local = self.game.at(t)
        shutter = 1.0 / (2.0 * float(self.rate))
        view = "crowd" if shot.view is View.CROWD else ("close_up" if shot.view is View.CLOSEUP else "court")
        return SceneFrame(
            t_s=t,
            index=frame,
            actors=scene_actors(possession, local, self.numbers),
            ball=scene_ball(possession, local),
            camera=self.camera_at(frame),
            view=view,  # type: ignore[arg-type]
            score_bug=self.bug_at(frame),
            transition=self.transition_at(frame),
            shutter_s=shutter * shot.speed,
            camera_after=self.camera_at(frame, later_s=shutter),
            shot=number,
        )

    def transition_at(self, frame: int) -> Transition | None:
        """The passing graphic over a film frame, if any."""
        number = self.shot_of(frame)
        t = self.time_of(frame)
        shot = self.shots[number]
        if shot.transition_in == "wipe" and t - shot.start_s < WIPE_S / 2:
            return Transition(shot.wipe, float(0.5 + (t - shot.start_s) / WIPE_S))
        if number + 1 < len(self.shots):
            after = self.shots[number + 1]
            if after.transition_in == "wipe" and after.start_s - t < WIPE_S / 2:
                return Transition(after.wipe, float(0.5 - (after.start_s - t) / WIPE_S))
        return None


class Style(Enum):
    """How the editor cuts."""

    ONE_SHOT = "one_shot"
    BROADCAST = "broadcast"
    CUTAWAY = "cutaway"


def edit(
    game: Game,
    seed: int,
    *,
    style: Style,
    rate: Fraction,
    size_px: tuple[int, int],
    k1: float,
    longest_s: float | None = None,
    venue: Venue = Venue.ARENA,
) -> FilmPlan:
    """Cut a game into a film.

    Parameters
    ----------
    game : Game
    seed : int
    style : Style
        ONE_SHOT shows the main camera throughout; BROADCAST cuts to a replay, close-ups and the crowd after whistles,
        CUTAWAY to one close-up or the crowd.
    rate : Fraction
        Frames per second.
    size_px : tuple of int
    k1 : float
        Radial term of the lenses.
    longest_s : float, optional
        The film ends here at the latest.
    venue : Venue
        The building, which bounds where cameras stand.
    """
    rng = np.random.default_rng([seed, 401])
    room = _CuttingRoom(game, rng, main_stand(rng, game.book, k1), k1, size_px, rate, venue)
    live_from, into = 0.0, "start"
    for k, stretch in enumerate(game.stretches):
        last = k == len(game.stretches) - 1
        if stretch.after is After.PLAY_ON and not last:
            continue
        live_to = stretch.end_s if last and stretch.after is After.PLAY_ON else stretch.live_end_s
        if style is Style.ONE_SHOT and last:
            live_to = stretch.end_s
        linger = 0.0 if style is Style.ONE_SHOT else min(float(rng.uniform(0.8, 1.8)), stretch.end_s - live_to)
        linger *= 0.4 if style is Style.CUTAWAY else 1.0
        room.add(View.MAIN, live_to + linger - live_from, live_from, into=into)
        into = "cut"
        if style is Style.BROADCAST and stretch.after is After.WHISTLE:
            into = room.dead_ball(stretch, closing=last)
        if style is Style.CUTAWAY and not last:
            into = room.cutaway(stretch)
        live_from = stretch.end_s
    shots = room.shots if longest_s is None else _cut_to_length(room.shots, float(round(longest_s * rate) / rate))
    numbers = tuple(str(n) for team in (0, 1) for n in _numbers(np.random.default_rng([seed, 5, team])))
    return FilmPlan(game, tuple(shots), tuple(room.cameras), keep_clock(game, rng), rate, size_px, numbers, seed)


def _cut_to_length(shots: Sequence[Shot], end_s: float) -> list[Shot]:
    return [replace(s, end_s=min(s.end_s, end_s)) for s in shots if s.start_s < end_s - 1e-9]


class _CuttingRoom:
    """The editor at work: shots and cameras so far."""

    def __init__(
        self,
        game: Game,
        rng: np.random.Generator,
        main: Stand,
        k1: float,
        size_px: tuple[int, int],
        rate: Fraction,
        venue: Venue,
    ) -> None:
        self.game, self.rng, self.main, self.k1, self.size_px, self.rate = game, rng, main, k1, size_px, rate
        self.venue = venue
        self.cameras = [operate(game, inside(main, game.book, venue), rng, 0.0, game.end_s)]
        self.shots: list[Shot] = []
        self.wipe: TransitionKind = "stinger" if rng.random() < 0.4 else "wipe"

    def add(
        self, view: View, seconds: float, game_from_s: float, *, speed: float = 1.0, camera: int = 0, into: str = "cut",
        subject: int = -1,
    ) -> None:  # fmt: skip
        """Append a shot of a whole number of frames."""
        start = self.shots[-1].end_s if self.shots else 0.0
        end = start + float(round(seconds * self.rate) / self.rate)
        into = into if self.shots else "start"
        self.shots.append(Shot(view, start, end, game_from_s, speed, camera, into, self.wipe, subject))

    def dead_ball(self, stretch: Stretch, *, closing: bool) -> str:
        """Replay, close-ups and crowd after a whistle; returns how the next live shot is entered."""
        rng = self.rng
        dead_from, room = stretch.live_end_s, stretch.end_s - stretch.live_end_s
        possession = stretch.possession
        moments = [c.moment * possession.dt_s for c in possession.paint_counts]
        ring = max(possession.marks.get("ring_s", 6.0) - 1.5, 2.0)
        key = stretch.start_s + (max(moments) if moments else ring)
        shooter = next((by for kind, _, _, by, _, _ in reversed(possession.spans) if kind == "shot"), 0)
        if rng.random() < 0.6:
            self.close_up(dead_from + 2.0, float(rng.uniform(2.0, 3.2)), shooter)
        self.replay(stretch, key)
        into = "wipe"
        if rng.random() < 0.75 or closing:
            at = dead_from + min(5.0, room * 0.5)
            self.close_up(at, float(rng.uniform(2.0, 3.0)), int(rng.integers(10)), into="wipe")
            into = "cut"
        if rng.random() < 0.8:
            self.add(View.CROWD, float(rng.uniform(1.8, 3.0)), dead_from + min(6.0, room * 0.6), into=into)
            into = "cut"
        return into

    def cutaway(self, stretch: Stretch) -> str:
        """One close-up or the crowd, so that play can start again elsewhere; returns how live play is entered."""
        dead_from, room = stretch.live_end_s, stretch.end_s - stretch.live_end_s
        seconds = float(self.rng.uniform(1.0, 1.5))
        if self.rng.random() < 0.7:
            self.close_up(dead_from + 0.4 * room, seconds, int(self.rng.integers(10)))
        else:
            self.add(View.CROWD, seconds, dead_from + 0.4 * room)
        return "cut"

    def replay(self, stretch: Stretch, key_s: float) -> None:
        """Slow motion round a moment of the game, between wipes."""
        speed = float(self.rng.uniform(0.42, 0.6))
        stand = inside(replay_stand(self.rng, self.game.book, self.main, self.k1), self.game.book, self.venue)
        start = max(key_s - 2.2, stretch.start_s)
        length = min(key_s + 2.2, stretch.end_s) - start
        path = operate(self.game, stand, self.rng, max(start - 1.0, stretch.start_s), start + length + 1.0)
        self.cameras.append(path)
        self.add(View.REPLAY, length / speed, start, speed=speed, camera=len(self.cameras) - 1, into="wipe")

    def close_up(self, at_s: float, seconds: float, actor: int, *, into: str = "cut") -> None:
        """A long lens on one person."""
        rng, game, size_px = self.rng, self.game, self.size_px
        times = np.arange(at_s - 0.5, at_s + seconds + 0.5, CAMERA_STEP_S)
        target = np.empty((len(times), 2))
        for k, t in enumerate(times):
            p, local = game.at(float(np.clip(t, 0, game.end_s)))
            target[k] = p.xy_ft[int(np.clip(round(local / p.dt_s), 0, len(p.xy_ft) - 1)), actor]
        aside = float(rng.uniform(-18, 18))
        centre = (self.main.centre_ft[0] + aside, -float(rng.uniform(14, 40)), float(rng.uniform(5, 14)))
        low = Stand(centre, 0.0, self.k1, 6.0, 5.0, 0.3, 0.03)
        distance = float(np.hypot(*(target[0] - np.array(centre[:2]))))
        height = float(rng.uniform(4.5, 7.5))
        fov = float(np.rad2deg(2 * np.arctan(height / 2 / distance * size_px[0] / size_px[1])))
        pan, tilt = _angles(low, smooth(target, 10.0), float(rng.uniform(4.3, 5.2)))
        self.cameras.append(
            CameraPath(
                low,
                float(times[0]),
                follow(pan, low.lag_s, 40.0, 80.0) + _drift(rng, len(times), 0.05, 0.6),
                follow(tilt, low.lag_s, 20.0, 40.0) + _drift(rng, len(times), 0.04, 0.6),
                np.full(len(times), fov) + _drift(rng, len(times), 0.02 * fov, 1.5),
                target,
            )
        )
        self.add(View.CLOSEUP, seconds, at_s, camera=len(self.cameras) - 1, into=into, subject=actor)


def _numbers(rng: np.random.Generator) -> list[int]:
    """Five different jersey numbers."""
    return [int(n) for n in rng.choice(np.concatenate([np.arange(0, 36), np.arange(40, 56)]), 5, replace=False)]


# ---- the clock ------------------------------------------------------------------------------------------------------


def keep_clock(game: Game, rng: np.random.Generator) -> tuple[ClockSpan, ...]:
    """Clock, shot clock and score over the game: running in live play, stopped at whistles and for free throws."""
    full = SHOT_CLOCK_S.get(game.book.name)
    period_s = 720.0 if game.book.name == "nba" else (1200.0 if game.book.name == "ncaa" else 600.0)
    period = int(rng.integers(1, 3 if game.book.name == "ncaa" else 5))
    clock = float(rng.uniform(0.35, 0.9)) * period_s
    score = [int(rng.integers(8, 24)) * period, int(rng.integers(8, 24)) * period]
    spans: list[ClockSpan] = []

    def span(start: float, end: float, *, runs: bool, shot: float | None) -> None:
        nonlocal clock
        if end <= start:
            return
        spans.append(ClockSpan(start, end, period, clock, runs, shot, score[0], score[1]))
        if runs:
            clock = max(clock - (end - start), 0.0)

    for stretch in game.stretches:
        p = stretch.possession
        if clock < 40.0 and stretch.possession.script is not FREE_THROWS:
            period, clock = period + 1, period_s
        falls = [
            (stretch.start_s + end, 1 if p.script is FREE_THROWS else _points(p, by, start))
            for kind, start, end, by, _, made in p.spans
            if kind == "shot" and made
        ]
        at = stretch.start_s
        shot = full
        for when, points in falls:
            span(at, when, runs=stretch.clock_runs, shot=shot)
            shot = None if shot is None or not stretch.clock_runs else max(shot - (when - at), 0.0)
            score[p.offence] += points
            at = when
        span(at, stretch.live_end_s, runs=stretch.clock_runs, shot=shot)
        left = None if shot is None or not stretch.clock_runs else max(shot - (stretch.live_end_s - at), 0.0)
        span(stretch.live_end_s, stretch.end_s, runs=False, shot=left)
    return tuple(spans)


def _points(p: Possession, shooter: int, start_s: float) -> int:
    k = min(round(start_s / p.dt_s), len(p.xy_ft) - 1)
    book: RuleBook = p.book
    ring_x = book.ring_to_baseline_ft if p.end == "left" else book.length_ft - book.ring_to_baseline_ft
    away = float(np.hypot(*(p.xy_ft[k, shooter] - np.array([ring_x, book.width_ft / 2]))))
    return 3 if away > book.arc_radius_ft else 2
