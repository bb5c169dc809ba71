"""What finders of situations look at, and what they give: a possession with its actions, moments and spells."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType

import numpy as np

from pipeline.actions.events import Event
from pipeline.actions.view import PossessionView
from pipeline.spacing.measures import SpacingMeasures, measure_spacing
from pipeline.spacing.settings import SpacingSettings

SPEED_OVER_S = 0.4
"""Speeds are ways over about this time, so that their uncertainty is that of two places over it."""

_EMPTY: Mapping[str, float] = MappingProxyType({})


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """One possession: its view, the actions found in it, its spacing."""

    view: PossessionView
    actions: tuple[Event, ...]
    spacing: SpacingMeasures
    settings: SpacingSettings
    columns: Mapping[int, int]
    settled_s: float
    """When the attack had settled, see :func:`settled_s`; NaN for never."""

    def of_kind(self, *kinds: str) -> Iterator[Event]:
        """The possession's actions of some kinds, in order of time."""
        return (e for e in self.actions if e.kind in kinds)

    def column(self, event: Event, role: str) -> int | None:
        """Column of the player in a role; None where nobody is known in it."""
        track = event.actor(role)
        return None if track is None else self.columns.get(track)

    def sigma_ft(self, moment: int, column: int) -> float:
        """Uncertainty of a player's place, never less than ``least_sigma_ft``."""
        sigma = float(self.view.sigma_ft[moment, column])
        return max(sigma, self.settings.least_sigma_ft) if np.isfinite(sigma) else self.settings.least_sigma_ft

    def seen_about(self, t_s: float, column: int) -> bool:
        """Whether a player was observed about a time: never unseen for longer than ``unseen_s`` around it."""
        times = self.view.t_s[self.view.observed[:, column]]
        before, after = times[times <= t_s + 1e-6], times[times >= t_s - 1e-6]
        if not len(before) or not len(after):
            return False
        return bool(after[0] - before[-1] <= self.settings.unseen_s + 1e-6)

    def settled(self, t_s: float) -> str:
        """Whether the attack had settled in the half court by a time, as a trait."""
        return yes_no(held=t_s >= self.settled_s - 1e-6)

    def in_paint(self, t_s: float, column: int) -> bool:
        """Whether a player is placed in the attacked paint at a time."""
        u, v = self.view.place_at(t_s, column)
        return bool(u <= self.view.free_throw_u_ft and abs(v) <= self.view.book.lane_width_ft / 2)

    def at_paint(self, uv_ft: np.ndarray) -> bool:
        """Whether a point of the attack frame is in the paint or at most ``at_paint_ft`` from it."""
        if not np.isfinite(uv_ft).all():
            return False
        book = self.view.book
        over_line = max(float(uv_ft[0]) - (book.lane_length_ft - book.ring_to_baseline_ft), 0.0)
        beside = max(abs(float(uv_ft[1])) - book.lane_width_ft / 2, 0.0)
        return bool(np.hypot(over_line, beside) <= self.settings.at_paint_ft)

    def path_ft(self, column: int, start_s: float, end_s: float) -> float:
        """Way of a player between two times, in steps of about ``path_step_s``; NaN where part of it is not known.

        Unsure places lengthen every step. What two places with half of their error in common add to a step's square is
        taken off it, so that one who stands does not walk.
        """
        count = max(1, round((end_s - start_s) / self.settings.path_step_s))
        times = np.linspace(start_s, end_s, count + 1)
        places = np.array([self.view.place_at(t, column) for t in times])
        squared = np.sum(np.diff(places, axis=0) ** 2, axis=1)
        sigma = self.view.sigma_ft[[self.view.at(t) for t in times], column]
        variance = np.where(np.isfinite(sigma), sigma, 0.0) ** 2
        return float(np.sqrt(np.clip(squared - variance[1:] - variance[:-1], 0.0, None)).sum())


@dataclass(frozen=True, slots=True, eq=False)
class Moment:
    """A situation at a time, with what may be wrong about its numbers.

    Attributes
    ----------
    event : Event
        Kind is the situation's name; its score says how sure it is that the situation was there at all.
    spread : mapping of str to float
        One sigma of measures, in their unit; 0 for those left out.
    chances : mapping of str to tuple of float
        Of measures that count bodies: the chance of each body to count.
    """

    event: Event
    spread: Mapping[str, float] = field(default_factory=lambda: _EMPTY)
    chances: Mapping[str, tuple[float, ...]] = field(default_factory=lambda: MappingProxyType({}))


@dataclass(frozen=True, slots=True, eq=False)
class Spell:
    """A situation looked at in every moment of a possession.

    Attributes
    ----------
    situation : str
        Its name.
    actors : tuple of (role, column)
        Who takes part; -1 for whoever has the ball.
    measures : mapping of str to ndarray (T,)
        NaN where not known.
    traits : mapping of str to ndarray (T,) of str
    spread : mapping of str to ndarray (T,)
        One sigma of measures.
    seen : ndarray (T,) of bool
        Everybody who takes part was observed, not filled in.
    place_uv_ft : ndarray (T, 2)
        Where it is, attack frame.
    """

    situation: str
    actors: tuple[tuple[str, int], ...]
    measures: Mapping[str, np.ndarray]
    traits: Mapping[str, np.ndarray]
    spread: Mapping[str, np.ndarray]
    seen: np.ndarray
    place_uv_ft: np.ndarray


def scene(view: PossessionView, actions: Sequence[Event], settings: SpacingSettings) -> Scene:
    """Put a possession's view and its actions together."""
    here = (e for e in actions if e.possession == view.possession and e.shot == view.shot)
    ordered = tuple(sorted(here, key=lambda e: (e.t_s, e.kind, e.actors)))
    columns = MappingProxyType({int(track): n for n, track in enumerate(view.tracks)})
    return Scene(view, ordered, measure_spacing(view, settings), settings, columns, settled_s(view, settings))


def settled_s(view: PossessionView, settings: SpacingSettings) -> float:
    """When the attack has settled in the half court: the first moment of its half-court phase without a run.

    It runs while half of the attackers or more are faster than ``settled_ft_s``. NaN where it never settles or the
    start of the half-court phase is not known.
    """
    if not np.isfinite(view.half_court_s):
        return float("nan")
    speeds = view.speed_ft_s[:, view.attackers]
    known = np.isfinite(speeds)
    runs = (speeds > settings.settled_ft_s).sum(axis=1) * 2 >= np.maximum(known.sum(axis=1), 1)
    calm = np.flatnonzero(~runs & known.any(axis=1) & (view.t_s >= view.half_court_s - 1e-6))
    return float(view.t_s[calm[0]]) if len(calm) else float("nan")


def of_action(
    action: Event,
    situation: str,
    measures: Mapping[str, float],
    traits: Mapping[str, str],
    *,
    actors: Sequence[tuple[str, int]] | None = None,
    t_s: float | None = None,
    spread: Mapping[str, float] = _EMPTY,
    chances: Mapping[str, tuple[float, ...]] | None = None,
) -> Moment:
    """A moment that belongs to an action: its measures and traits, and those that are the situation's own."""
    sigma = action.measures.get("sigma_ft", float("nan"))
    inherited = {name: spread_of(name, sigma) for name in action.measures} if np.isfinite(sigma) else {}
    event = replace(
        action,
        kind=situation,
        actors=tuple(actors) if actors is not None else action.actors,
        t_s=action.t_s if t_s is None else t_s,
        measures=MappingProxyType({**action.measures, **measures}),
        traits=MappingProxyType({**action.traits, **traits}),
    )
    return Moment(event, MappingProxyType({**inherited, **spread}), MappingProxyType(dict(chances or {})))


def spread_of(measure: str, sigma_ft: float) -> float:
    """About how unsure a measure is when the places it comes from are unsure by ``sigma_ft``, told by its unit."""
    if measure.endswith("_ft_s"):
        return sigma_ft * np.sqrt(2) / SPEED_OVER_S
    return sigma_ft if measure.endswith("_ft") else 0.0


def yes_no(*, held: bool) -> str:
    """A fact as the value of a trait."""
    return "yes" if held else "no"
