"""Man-to-man defence: where each defender wants to be, and how he gets past screens.

A defender's mean place is 0.62 man + 0.11 ball + 0.27 ring (Franks et al. 2015, arXiv:1405.0231).
Orders change that: on the ball he stands between man and ring, he denies, fronts the post, helps at
a place, trails a cutter, or takes a route round a screen. He sees everything with a delay.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from enum import Enum

import numpy as np

from pipeline.sim.plays.stage import DEFENCE, DT_S, OFFICIALS, Stage, Steps

FOOTSTEPS_S = 0.3
MAN_WEIGHT, BALL_WEIGHT, RING_WEIGHT = 0.62, 0.11, 0.27


class Route(Enum):
    """A defender's way round an off-ball screen."""

    HIGH = "high"
    LOW = "low"
    TRAIL = "trail"
    SWITCH = "switch"


class Coverage(Enum):
    """What the defence does with a ball screen."""

    OVER = "over"
    UNDER = "under"
    SWITCH = "switch"


class Order(Enum):
    """What one defender is doing."""

    MAN = "man"
    DENY = "deny"
    POST = "post"
    TRAIL = "trail"
    PLACE = "place"
    WALK = "walk"


def unit(vector: np.ndarray) -> np.ndarray:
    """Direction of a vector; zero stays zero."""
    size = float(np.hypot(vector[0], vector[1]))
    return vector / size if size > 1e-9 else np.zeros(2)


@dataclass
class Duty:
    """One defender's man, order and habits."""

    man: int
    order: Order = Order.MAN
    place: Callable[[], np.ndarray] | None = None
    delay_s: float = 0.25
    on_ball_gap_ft: float = 3.8
    sag: float = 1.0
    """1 is the published mean place; larger sags more to ring and ball."""
    frozen_until_s: float = -1.0


@dataclass
class Defence:
    """The five duties of a possession; call :meth:`step` before every step of the stage."""

    stage: Stage
    duties: dict[int, Duty] = field(default_factory=dict)
    helps: bool = True

    def __post_init__(self) -> None:
        rng = self.stage.rng
        for d in DEFENCE:
            self.duties[d] = Duty(
                man=d - 5,
                delay_s=float(np.clip(rng.normal(0.24, 0.05), 0.12, 0.4)),
                on_ball_gap_ft=float(np.clip(rng.normal(3.7, 0.7), 2.4, 5.5)),
                sag=float(np.clip(rng.normal(1.15, 0.16), 0.8, 1.6)),
            )

    def codes(self) -> np.ndarray:
        """Order (index into Order) and man of the five, shape (2, 5)."""
        orders = list(Order)
        return np.array([[orders.index(x.order) for x in self.duties.values()], [x.man for x in self.duties.values()]])

    # ---- what a script may order ---------------------------------------------------------------------------------

    def man_of(self, defender: int) -> int:
        """The attacker he guards."""
        return self.duties[defender].man

    def guard_of(self, attacker: int) -> int:
        """Who guards the attacker."""
        return next(d for d, duty in self.duties.items() if duty.man == attacker)

    def order(self, defender: int, order: Order, place: Callable[[], np.ndarray] | np.ndarray | None = None) -> None:
        """Change what a defender does; ``place`` is for Order.PLACE."""
        duty = self.duties[defender]
        duty.order = order
        if isinstance(place, np.ndarray):
            fixed = place.copy()
            duty.place = lambda: fixed
        else:
            duty.place = place

    def switch(self, a: int, b: int) -> None:
        """Two defenders exchange men."""
        self.duties[a].man, self.duties[b].man = self.duties[b].man, self.duties[a].man
        self.duties[a].order = self.duties[b].order = Order.MAN

    def freeze(self, defender: int, seconds: float) -> None:
        """Held up (a screen, a fake): he neither reacts nor runs for this long."""
        self.duties[defender].frozen_until_s = self.stage.t_s + seconds

    def round_screen(self, defender: int, screener: int, route: Route) -> Steps:
        """Take a route round an off-ball screen, then the man again."""
        stage = self.stage
        if route is Route.SWITCH:
            self.switch(defender, self.guard_of(screener))
            return
        man = self.man_of(defender)
        if route is Route.TRAIL:
            # in his footsteps past the screener, then on his hip
            self.order(defender, Order.TRAIL, lambda: self.footsteps(man))
            yield from stage.until(lambda: stage.gap(defender, screener) < 3.2, 1.0)
            yield from stage.wait(0.35)
            self.order(defender, Order.TRAIL)
            yield from stage.wait(0.9)
        else:
            sign = 1.0 if route is Route.HIGH else -1.0

            def past() -> np.ndarray:
                ahead = unit(stage.position[man] - stage.position[defender])
                return stage.position[screener] + np.array([2.9 * sign, 0.0]) + ahead * 0.8

            self.order(defender, Order.PLACE, past)
            yield from stage.near(defender, past, 1.3, 1.0)
        if self.duties[defender].man == man:
            self.order(defender, Order.MAN)

    def ball_screen(self, defender: int, screener: int, coverage: Coverage) -> Steps:
        """The on-ball defender's way round a ball screen."""
        stage = self.stage
        if coverage is Coverage.SWITCH:
            self.switch(defender, self.guard_of(screener))
            return
        handler = self.man_of(defender)
        if coverage is Coverage.OVER:

            def past() -> np.ndarray:
                s = stage.position[screener]
                return s + unit(s) * 2.4 + unit(stage.position[handler] - s) * 0.8

            self.order(defender, Order.PLACE, past)
            yield from stage.near(defender, past, 1.6, 0.9)
            self.order(defender, Order.TRAIL)
            yield from stage.wait(2.4)
        else:

            def below() -> np.ndarray:
                s = stage.position[screener]
                return s - unit(s) * 3.2 + unit(stage.position[handler] - s) * 1.0

            self.order(defender, Order.PLACE, below)
            yield from stage.near(defender, below, 1.5, 1.0)
        if self.duties[defender].man == handler:
            self.order(defender, Order.MAN)

    def footsteps(self, man: int) -> np.ndarray:
        """Where a man was a moment ago."""
        path = self.stage.path
        return path[max(len(path) - 1 - round(FOOTSTEPS_S / DT_S), 0)][man]

    # ---- each step -----------------------------------------------------------------------------------------------

    def _seen(self, body: int, delay_s: float) -> np.ndarray:
        """Where a body was a moment ago, carried on at the speed seen then."""
        path, speeds = self.stage.path, self.stage.speed_path
        back = min(int(delay_s / DT_S), len(path) - 1)
        k = len(path) - 1 - back
        return path[k][body] + speeds[k][body] * (back * DT_S) * 0.75

    def step(self) -> None:
        """Set goals and speeds of the five defenders."""
        stage = self.stage
        helper = self._helper()
        for d, duty in self.duties.items():
            if stage.t_s < duty.frozen_until_s:
                stage.go(d, stage.position[d], 3.0)
                continue
            man = self._seen(duty.man, duty.delay_s)
            ball = stage.ball_uv
            carry = 0.45
            if duty.order is Order.WALK and duty.place is not None:
                stage.go(d, duty.place(), 4.5)
                continue
            if duty.order is Order.PLACE and duty.place is not None:
                goal = duty.place()
                carry = 0.0
            elif d == helper:
                assert stage.holder is not None
                h = self._seen(stage.holder, duty.delay_s)
                goal = h * 0.62
                carry = 0.2
            elif duty.order is Order.TRAIL and duty.place is not None:
                goal = duty.place()
                carry = 0.9
            elif duty.order is Order.TRAIL:
                v = stage.velocity[duty.man]
                goal = stage.position[duty.man] - unit(v) * 2.1 - unit(man) * 0.5
                carry = 0.9
            elif duty.order is Order.DENY and stage.holder != duty.man:
                goal = man + 3.1 * unit(0.8 * unit(ball - man) - 0.35 * unit(man))
            elif duty.order is Order.POST:
                goal = man + 2.0 * unit(0.45 * unit(ball - man) - 0.75 * unit(man))
            elif stage.holder == duty.man:
                r = float(np.hypot(*man))
                gap = min(duty.on_ball_gap_ft + max(r - 30.0, 0.0) * 0.35, max(0.45 * r, 1.9))
                goal = man - unit(man) * gap
                carry = 0.7
            else:
                sag = duty.sag * (1.0 if man[0] > 6 else 0.85)
                mean = MAN_WEIGHT * man + BALL_WEIGHT * ball  # the ring is the origin
                goal = man + (mean - man) * sag
            distance = float(np.hypot(*(goal - stage.position[d])))
            stage.go(d, goal, min(max(5.5 + 2.4 * distance, 6.0), 20.5))
            stage.goal_velocity[d] = carry * stage.velocity[duty.man]

    def _helper(self) -> int | None:
        """The defender who steps in front of a handler who has beaten his man."""
        stage = self.stage
        if not self.helps or stage.holder is None:
            return None
        h = stage.holder
        r = float(np.hypot(*stage.position[h]))
        to_ring = float(-(stage.velocity[h] @ stage.position[h])) / max(r, 1e-6)
        if not (3.0 < r < 21.0) or to_ring < 8.0:
            return None
        own = next((d for d, duty in self.duties.items() if duty.man == h), None)
        if own is None or float(np.hypot(*stage.position[own])) < r - 0.8:
            return None
        spot = stage.position[h] * 0.62
        others = [d for d, duty in self.duties.items() if d != own and duty.order is not Order.PLACE]
        if not others:
            return None
        return min(others, key=lambda d: stage.distance(d, spot))


@dataclass
class Officials:
    """Three officials: lead beyond the baseline, centre and trail beside the play. None enters the paint."""

    stage: Stage
    side: int = 1
    """Where lead and trail work: +v or -v."""
    _u: float = 20.0
    _v: float = 0.0

    def step(self) -> None:
        """Set the officials' goals."""
        stage, floor = self.stage, self.stage.floor
        ball = stage.ball_uv
        self._u += (float(ball[0]) - self._u) * (DT_S / 0.6)
        self._v += (float(ball[1]) - self._v) * (DT_S / 1.2)
        lead, centre, trail = OFFICIALS
        edge = floor.half_width_ft
        beyond = floor.baseline_u_ft - 2.2
        lead_u = beyond if self._u < 46 else max(beyond, self._u - 34)
        towards = min(max(self._v * self.side / 12, -1.0), 1.0)
        lead_v = self.side * (floor.half_lane_ft + 5.0 + 3.0 * towards)
        self._send(lead, np.array([lead_u, lead_v]))
        self._send(centre, np.array([max(floor.line_u_ft + 2.0, self._u - 8), -self.side * (edge + 0.6)]))
        self._send(trail, np.array([max(floor.arc_ft + 6.0, self._u + 7), self.side * (edge + 0.3)]))

    def _send(self, body: int, goal: np.ndarray) -> None:
        distance = self.stage.distance(body, goal)
        self.stage.go(body, goal, min(max(2.5 + 0.9 * distance, 3.0), 16.0))


def defenders_start(offence_uv: np.ndarray, ball_uv: np.ndarray) -> np.ndarray:
    """Mean places of five defenders for given attackers, shape (5, 2)."""
    mean = MAN_WEIGHT * offence_uv + BALL_WEIGHT * ball_uv
    on_ball = np.hypot(*(offence_uv - ball_uv).T) < 0.5
    r = np.maximum(np.hypot(*offence_uv.T), 1e-6)[:, None]
    return np.where(on_ball[:, None], offence_uv * (1 - np.minimum(4.0 / r, 0.5)), mean)
