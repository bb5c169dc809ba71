"""The stage: ten players, three officials and a ball, moved step by step by a script.

A script is a generator that yields once per step; it gives players goals, passes the ball and
names what it does (screens, drives ...), all in the attack frame. The stage moves the bodies
(``motion``), asks the defence for its goals and writes everything down. Indices: 0-4 offence,
5-9 defence, 10-12 officials (lead, centre, trail).
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from pipeline.court.rule_books import RuleBook
from pipeline.sim.plays.motion import Limits, arrival_velocity, avoidance, keep_apart
from pipeline.sim.plays.places import Places, places

DT_S = 0.02
OFFENCE = range(5)
DEFENCE = range(5, 10)
OFFICIALS = range(10, 13)
BODIES = 13
_ATTACK = np.arange(BODIES) < 5

Steps = Generator[None, None, Any]
Goal = np.ndarray | Callable[[], np.ndarray]


@dataclass(frozen=True, slots=True)
class BallSpan:
    """One stretch of the ball's life; its path is worked out afterwards from the bodies' paths.

    ``kind`` is "hold", "dribble", "pass", "handoff", "stolen", "shot" or "loose"; ``by`` holds or lets go, ``to``
    catches.
    """

    kind: str
    start_s: float
    end_s: float
    by: int
    to: int | None = None
    style: str = ""
    made: bool = False


@dataclass(frozen=True, slots=True)
class PoseSpan:
    """A one-shot or held pose of one body over some time."""

    body: int
    pose: str
    start_s: float
    end_s: float
    jump_ft: float = 0.0
    jump_at: float = 0.5
    """Where in the span the top of the jump lies, 0..1."""
    jump_s: float = 0.0
    """Time in the air."""


@dataclass(frozen=True, slots=True)
class PlayEvent:
    """Something the script did on purpose, for the truth's actions."""

    kind: str
    t_s: float
    start_s: float
    end_s: float
    actors: dict[str, int]
    measures: dict[str, float] = field(default_factory=dict)


class Stage:
    """The moving world of one possession, in the attack frame (see the module)."""

    def __init__(
        self,
        book: RuleBook,
        rng: np.random.Generator,
        start_uv: np.ndarray,
        *,
        limits: Limits | None = None,
        start_velocity: np.ndarray | None = None,
    ) -> None:
        self.book = book
        self.floor: Places = places(book)
        self.rng = rng
        self.limits = limits or Limits()
        self.t_s = 0.0
        self.position = np.array(start_uv, dtype=float)
        self.velocity = np.zeros((BODIES, 2)) if start_velocity is None else np.array(start_velocity, dtype=float)
        self.goal = self.position.copy()
        self.goal_velocity = np.zeros((BODIES, 2))
        self.top = np.full(BODIES, 8.0)
        self.stops = np.ones(BODIES, dtype=bool)
        self.yields = np.ones(BODIES)
        self.follow: dict[int, Callable[[], np.ndarray]] = {}
        self.look: dict[int, Callable[[], np.ndarray]] = {}
        self.pair_gap: dict[tuple[int, int], float] = {}
        self.may_leave_floor: set[int] = set()
        self.holder: int | None = None
        self.dribbling = False
        self.ball_uv = self.position[0].copy()
        self._span_start = 0.0
        self._flight: tuple[np.ndarray, int | np.ndarray, float, float] | None = None
        self.spans: list[BallSpan] = []
        self.poses: list[PoseSpan] = []
        self.events: list[PlayEvent] = []
        self.marks: dict[str, float] = {}
        self.path: list[np.ndarray] = []
        self.speed_path: list[np.ndarray] = []
        self.looks: list[np.ndarray] = []
        self.ball_path: list[np.ndarray] = []
        self.duty_path: list[np.ndarray] = []
        self.codes: Callable[[], np.ndarray] = lambda: np.array([[0] * 5, [0, 1, 2, 3, 4]])
        """Order and man of the five defenders, shape (2, 5), written down with every step."""
        self.tasks: list[Steps] = []
        self.defence_step: Callable[[], None] = lambda: None
        self.officials_step: Callable[[], None] = lambda: None
        self.ability = np.clip(rng.normal(1.0, 0.05, BODIES), 0.9, 1.08)
        self.restless_ft = np.array([7.0] * 5 + [2.2] * 5 + [1.0] * 3)
        """How far each strays from where he is sent."""
        self._stray = np.zeros((BODIES, 2))
        self._stray_until = rng.uniform(0.0, 1.5, BODIES)
        self._stray_top = rng.uniform(4.5, 9.5, BODIES)
        self._idle_since = np.zeros(BODIES)
        self._last_goal = self.position.copy()

    # ---- orders -------------------------------------------------------------------------------------------------

    def go(self, body: int, to: Goal, speed_ft_s: float = 11.0, *, stops: bool = True) -> None:
        """Send a body to a point, or after a moving point."""
        if callable(to):
            self.follow[body] = to
            self.goal[body] = to()
        else:
            self.follow.pop(body, None)
            self.goal[body] = np.asarray(to, dtype=float)
        self.top[body] = min(speed_ft_s, self.limits.sprint_ft_s) * self.ability[body]
        self.stops[body] = stops

    def stay(self, body: int) -> None:
        """Stop where he is, with the room he needs to brake."""
        v = self.velocity[body]
        self.go(body, self.position[body] + v * min(0.25, float(np.hypot(*v)) / 40), 6.0)

    def run(self, body: int, points: Iterable[np.ndarray], speed_ft_s: float = 13.0, near_ft: float = 2.4) -> Steps:
        """Run through points and stop on the last."""
        todo = [np.asarray(p, dtype=float) for p in points]
        for k, point in enumerate(todo):
            last = k == len(todo) - 1
            self.go(body, point, speed_ft_s, stops=last)
            limit = self.t_s + 4.0
            while self.distance(body, point) > (1.0 if last else near_ft) and self.t_s < limit:
                yield

    def run_past(self, body: int, point: np.ndarray, speed_ft_s: float, near_ft: float = 1.9) -> Steps:
        """Run through a point without braking for it."""
        self.go(body, point, speed_ft_s, stops=False)
        yield from self.near(body, point, near_ft, 3.0)

    def start(self, steps: Steps) -> Steps:
        """Run a generator beside the script."""
        self.tasks.append(steps)
        return steps

    def wait(self, seconds: float) -> Steps:
        """Let time pass."""
        end = self.t_s + seconds - 1e-9
        while self.t_s < end:
            yield

    def until(self, condition: Callable[[], bool], timeout_s: float = 5.0) -> Steps:
        """Let time pass until the condition holds, or the timeout."""
        end = self.t_s + timeout_s
        while not condition() and self.t_s < end:
            yield

    def near(self, body: int, point: Goal, within_ft: float = 1.2, timeout_s: float = 5.0) -> Steps:
        """Let time pass until a body has come to a point."""
        at = point if callable(point) else (lambda: point)
        yield from self.until(lambda: self.distance(body, at()) < within_ft, timeout_s)

    def distance(self, body: int, point: np.ndarray) -> float:
        """Feet from a body to a point."""
        return float(np.hypot(*(self.position[body] - point)))

    def gap(self, a: int, b: int) -> float:
        """Feet between two bodies."""
        return float(np.hypot(*(self.position[a] - self.position[b])))

    def pose(
        self,
        body: int,
        pose: str,
        seconds: float,
        *,
        delay_s: float = 0.0,
        jump: tuple[float, float, float] = (0, 0.5, 0),
    ) -> None:
        """Put a body in a pose for some time; ``jump``: height ft, where in the span its top lies, seconds aloft."""
        start = self.t_s + delay_s
        self.poses.append(PoseSpan(body, pose, start, start + seconds, *jump))

    def event(
        self,
        kind: str,
        start_s: float,
        t_s: float,
        actors: dict[str, int],
        end_s: float | None = None,
        **measures: float,
    ) -> None:
        """Write an action down for the truth."""
        self.events.append(PlayEvent(kind, t_s, start_s, self.t_s if end_s is None else end_s, actors, measures))

    # ---- ball ---------------------------------------------------------------------------------------------------

    def give(self, body: int, *, dribble: bool = False) -> None:
        """The body has the ball from now on."""
        self._close_span()
        self.holder, self.dribbling = body, dribble
        self._span_start = self.t_s
        self._flight = None

    def dribble(self) -> None:
        """The holder puts the ball on the floor."""
        if not self.dribbling and self.holder is not None:
            self._close_span()
            self.dribbling = True

    def pick_up(self) -> None:
        """The dribble ends."""
        if self.dribbling:
            self._close_span()
            self.dribbling = False

    def _close_span(self) -> None:
        if self.holder is not None and self.t_s > self._span_start + 1e-9:
            kind = "dribble" if self.dribbling else "hold"
            self.spans.append(BallSpan(kind, self._span_start, self.t_s, self.holder))
        self._span_start = self.t_s

    def _let_go(self, seconds: float, to: int | np.ndarray, span: BallSpan) -> None:
        assert self.holder is not None
        start = self.position[self.holder].copy()
        self._close_span()
        self.spans.append(span)
        self.holder, self.dribbling = None, False
        self._flight = (start, to, self.t_s, seconds)

    def pass_to(
        self, receiver: int, *, style: str = "chest_pass", speed_ft_s: float = 34.0, windup_s: float = 0.22
    ) -> Steps:
        """Pass: wind up, flight, catch. ``style`` is "chest_pass" or "overhead_pass"."""
        giver = self.holder
        if giver is None or giver == receiver:
            return
        self.pick_up()
        self.look[giver] = lambda: self.position[receiver]
        self.pose(giver, style, windup_s + 0.25)
        yield from self.wait(windup_s)
        if self.holder != giver:
            return
        distance = self.gap(giver, receiver)
        seconds = max(0.26, distance / speed_ft_s)
        self.pose(receiver, "catch", seconds + 0.16, delay_s=0.02)
        self.look[receiver] = lambda: self.ball_uv
        self._let_go(seconds, receiver, BallSpan("pass", self.t_s, self.t_s + seconds, giver, receiver, style))
        yield from self.wait(seconds)
        self.look.pop(giver, None)
        self.look.pop(receiver, None)
        self.give(receiver)

    def handoff(self, receiver: int) -> Steps:
        """Give the ball hand to hand."""
        giver = self.holder
        if giver is None:
            return
        start = self.t_s
        self.pick_up()
        self.pose(giver, "handoff", 0.5)
        self.pose(receiver, "catch", 0.35, delay_s=0.1)
        yield from self.wait(0.2)
        self._let_go(0.2, receiver, BallSpan("handoff", self.t_s, self.t_s + 0.2, giver, receiver))
        yield from self.wait(0.2)
        self.give(receiver)
        self.event(
            "handoff", start, self.t_s, {"giver": giver, "receiver": receiver}, distance_ft=self.gap(giver, receiver)
        )

    def stolen(self, thief: int, *, speed_ft_s: float = 30.0) -> Steps:
        """A pass goes to a defender, and the possession is over."""
        loser = self.holder
        if loser is None:
            return
        self.pick_up()
        self.pose(loser, "chest_pass", 0.4)
        yield from self.wait(0.2)
        seconds = max(0.26, self.gap(loser, thief) / speed_ft_s)
        self.look[thief] = lambda: self.ball_uv
        self.pose(thief, "catch", seconds + 0.2)
        self._let_go(seconds, thief, BallSpan("stolen", self.t_s, self.t_s + seconds, loser, thief, "chest_pass"))
        self.marks["lost_s"] = self.t_s
        yield from self.wait(seconds)
        self.look.pop(thief, None)
        self.give(thief)

    def shoot(self, *, style: str = "jump_shot", made: bool) -> Steps:
        """Shot: rise, release, flight to the ring. Afterwards nobody holds the ball."""
        shooter = self.holder
        if shooter is None:
            return
        self.pick_up()
        rise = {"jump_shot": 0.52, "lay_up": 0.5, "free_throw": 0.9}[style]
        length = {"jump_shot": 1.0, "lay_up": 0.95, "free_throw": 1.6}[style]
        jump = {"jump_shot": (1.1, 0.55, 0.55), "lay_up": (1.7, 0.55, 0.62), "free_throw": (0.0, 0.5, 0.0)}[style]
        self.look[shooter] = lambda: np.zeros(2)
        self.pose(shooter, style, length, jump=jump)
        if style == "jump_shot":
            self.stay(shooter)
        if style != "free_throw":
            for d in DEFENCE:
                if self.gap(d, shooter) < 5.5:
                    self.pose(d, "contest", 0.8, delay_s=rise - 0.35, jump=(0.9, 0.5, 0.45))
        yield from self.wait(rise)
        distance = float(np.hypot(*self.position[shooter]))
        seconds = 0.45 if style == "lay_up" else 0.75 + 0.022 * distance
        self._let_go(seconds, np.zeros(2), BallSpan("shot", self.t_s, self.t_s + seconds, shooter, None, style, made))
        yield from self.wait(seconds)
        self.look.pop(shooter, None)
        self.marks["ring_s"] = self.t_s

    def loose_to(self, body: int, seconds: float, *, made: bool) -> Steps:
        """The ball comes off the ring or through the net until ``body`` has it."""
        span = BallSpan("loose", self.t_s, self.t_s + seconds, -1, body, made=made)
        self.spans.append(span)
        self._flight = (np.zeros(2), body, self.t_s, seconds)
        self.look[body] = lambda: self.ball_uv
        if not made:
            self.pose(body, "rebound", 0.8, delay_s=max(seconds - 0.42, 0.0), jump=(1.2, 0.5, 0.5))
        yield from self.wait(seconds)
        self.look.pop(body, None)
        self.give(body)

    # ---- time ---------------------------------------------------------------------------------------------------

    def play(self, script: Steps, longest_s: float = 40.0) -> None:
        """Run the script to its end."""
        while self.t_s < longest_s:
            try:
                next(script)
            except StopIteration:
                break
            for task in list(self.tasks):
                try:
                    next(task)
                except StopIteration:
                    self.tasks.remove(task)
            self._step()
        self._close_span()
        self._record()

    def _record(self) -> None:
        self.path.append(self.position.copy())
        self.speed_path.append(self.velocity.copy())
        look = np.full((BODIES, 2), np.nan)
        for body, where in self.look.items():
            look[body] = where()
        self.looks.append(look)
        self.ball_path.append(self.ball_uv.copy())
        self.duty_path.append(self.codes())

    def _step(self) -> None:
        self._record()
        for body, where in self.follow.items():
            self.goal[body] = where()
        self.goal_velocity[:] = 0.0
        self.defence_step()
        self.officials_step()
        self._move()
        self.t_s = len(self.path) * DT_S
        self._move_ball()

    def _move(self) -> None:
        lim, rng = self.limits, self.rng
        # nobody stands like a post: who has arrived drifts on to another spot near by, every second or two
        arrived = np.hypot(*(self.goal - self.position).T) < 2.0 + self.restless_ft
        for body in np.flatnonzero(self._stray_until <= self.t_s):
            angle, share = rng.uniform(0, 2 * np.pi), np.sqrt(rng.uniform(0.1, 1.0))
            self._stray[body] = share * np.array([np.cos(angle), np.sin(angle)])
            self._stray_until[body] = self.t_s + rng.exponential(0.7) + 0.6
            self._stray_top[body] = rng.uniform(4.5, 9.5)
        for body in np.flatnonzero(~arrived | (np.abs(self.goal - self._last_goal).max(1) > 1.5)):
            self._idle_since[body] = self.t_s
        self._last_goal[:] = self.goal
        idle = np.minimum(np.maximum((self.t_s - self._idle_since - 0.3) / 0.5, 0.0), 1.0)
        stray = self.restless_ft * np.where(_ATTACK, idle, 1.0)
        if self.holder is not None:
            stray[self.holder] *= 0.25
        goal = self.goal + self._stray * (stray * np.minimum(self.yields, 1.0) ** 2)[:, None]
        top = np.where((idle > 0.5) & _ATTACK, np.minimum(self.top, self._stray_top), self.top)
        half = self.floor.half_width_ft - 1.0
        inside = np.array([b not in self.may_leave_floor and b < 10 for b in range(BODIES)])
        goal[inside, 1] = np.minimum(np.maximum(goal[inside, 1], -half), half)
        goal[inside, 0] = np.maximum(goal[inside, 0], self.floor.baseline_u_ft + 1.0)
        wanted = arrival_velocity(self.position, goal, top, self.stops, lim.braking_ft_s2) + self.goal_velocity
        speed = np.hypot(wanted[:, 0], wanted[:, 1])
        wanted *= np.minimum(1.0, self.top * 1.05 / np.maximum(speed, 1e-6))[:, None]
        acceleration = (wanted - self.velocity) / lim.response_s
        comfort = np.full((BODIES, BODIES), lim.comfort_gap_ft)
        for (a, b), gap in self.pair_gap.items():
            comfort[a, b] = comfort[b, a] = gap
        acceleration += avoidance(self.position, self.velocity, comfort, lim) * self.yields[:, None]
        size = np.hypot(acceleration[:, 0], acceleration[:, 1])
        acceleration *= np.minimum(1.0, lim.acceleration_ft_s2 / np.maximum(size, 1e-6))[:, None]
        self.velocity = self.velocity + acceleration * DT_S
        size = np.hypot(self.velocity[:, 0], self.velocity[:, 1])
        self.velocity *= np.minimum(1.0, lim.sprint_ft_s / np.maximum(size, 1e-6))[:, None]
        self.position = self.position + self.velocity * DT_S
        weights = np.maximum(self.yields, 0.02)
        self.position, self.velocity = keep_apart(self.position, self.velocity, lim.body_gap_ft, weights)

    def _move_ball(self) -> None:
        if self.holder is not None:
            self.ball_uv = self.position[self.holder].copy()
        elif self._flight is not None:
            start, to, since, seconds = self._flight
            end = self.position[to] if isinstance(to, int) else to
            self.ball_uv = start + (end - start) * min((self.t_s - since) / max(seconds, 1e-6), 1.0)
