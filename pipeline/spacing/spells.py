"""Situations that are looked at all the time: two teammates near each other, who stands on the ball's side."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations
from types import MappingProxyType

import numpy as np

from pipeline.actions.events import Event
from pipeline.actions.stretches import bridged, stretches
from pipeline.actions.view import NOBODY
from pipeline.spacing.scene import Moment, Scene, Spell
from pipeline.spacing.situations import LASTED

TOGETHER = ("on_ball_screen", "off_ball_screen", "handoff")
"""Actions that bring two teammates together on purpose, until they part again."""

HANDLER = -1
"""Column of whoever has the ball for most of a spell, in its actors."""


def two_teammates(scene: Scene) -> Iterator[Spell]:
    """Every pair of attackers while both are on the perimeter.

    While the ball of one of the two is out of sight it may be handed to the other: whether they are busy is unknown.
    """
    view = scene.view
    cutting = _cutting(scene)
    hidden = _ball_hidden(scene)
    settled = _settled(scene)
    for one, two in combinations(np.flatnonzero(view.attackers).tolist(), 2):
        together = scene.spacing.perimeter[:, one] & scene.spacing.perimeter[:, two]
        if not together.any():
            continue
        busy = cutting[:, one] | cutting[:, two] | _together(scene, one, two)
        handing = hidden & np.isin(view.handler, (one, two))
        sigma = np.hypot(view.sigma_ft[:, one], view.sigma_ft[:, two])
        yield Spell(
            situation="two_teammates",
            actors=(("player", one), ("other", two)),
            measures=MappingProxyType({"gap_ft": _only_where(together, view.gap_ft[:, one, two])}),
            traits=MappingProxyType(
                {"busy": np.where(busy, "yes", np.where(handing, "unknown", "no")), "settled": settled}
            ),
            spread=MappingProxyType({"gap_ft": np.fmax(sigma, scene.settings.least_sigma_ft)}),
            seen=view.observed[:, one] & view.observed[:, two],
            place_uv_ft=(view.uv_ft[:, one] + view.uv_ft[:, two]) / 2,
        )


def ball_side(scene: Scene) -> Iterator[Spell]:
    """How many attackers stand on the ball's side; those not placed are not counted, so that the number is a least.

    Who is not placed for a while, and stands about where he stood when he is placed again, stood there meanwhile.
    """
    view = scene.view
    attackers = np.flatnonzero(view.attackers)
    there = _stood(scene, attackers) * view.ball_side[:, None] >= scene.settings.middle_within_ft
    counts = there.sum(axis=1).astype(float)
    ball = view.ball_uv_ft.copy()
    held = np.flatnonzero((view.handler != NOBODY) & ~np.isfinite(ball).all(axis=1))
    ball[held] = view.uv_ft[held, view.handler[held]]
    known = view.ball_side != 0
    yield Spell(
        situation="ball_side",
        actors=(("handler", HANDLER),),
        measures=MappingProxyType(
            {"count": np.where(known, counts, np.nan), "ball_abs_v_ft": np.abs(ball[:, 1])},
        ),
        traits=MappingProxyType({"settled": _settled(scene)}),
        spread=MappingProxyType({}),
        seen=(view.observed[:, attackers] | ~there).all(axis=1),
        place_uv_ft=ball,
    )


def moments_of(scene: Scene, spell: Spell, holds: np.ndarray, least_s: float) -> list[Moment]:
    """The stretches of a spell in which a rule holds for at least ``least_s``, as moments that begin with it.

    Breaks up to ``pause_s`` do not end a stretch; the possession's end does, since what follows is the next play.
    Measures are means over the stretch, traits its most frequent values; the score is the share of it in which
    everybody was observed.

    Parameters
    ----------
    holds : ndarray (T,) of bool
        Where the rule holds for sure.
    """
    view = scene.view
    found = []
    played = view.t_s <= view.end_s + 1e-6
    for first, past in stretches(bridged(holds & played, view.t_s, scene.settings.pause_s)):
        lasted_s = float(view.t_s[past - 1] - view.t_s[first])
        if lasted_s < least_s - 1e-6:
            continue
        inside = np.flatnonzero((holds & played)[first:past]) + first
        middle = int(inside[len(inside) // 2])
        place = spell.place_uv_ft[middle]
        sigma = np.nanmean(view.sigma_ft[middle]) if np.isfinite(view.sigma_ft[middle]).any() else np.nan
        event = Event(
            kind=spell.situation,
            shot=view.shot,
            possession=view.possession,
            start_s=float(view.t_s[first]),
            end_s=float(view.t_s[past - 1]),
            t_s=float(view.t_s[first]),
            actors=_actors(scene, spell, inside),
            place_ft=view.court_point_ft(place),
            attacked_end=view.end,
            measures=MappingProxyType(
                {
                    **{name: _mean(values[inside]) for name, values in spell.measures.items()},
                    LASTED.name: lasted_s,
                    "u_ft": float(place[0]),
                    "v_ft": float(place[1]),
                    "sigma_ft": float(sigma),
                }
            ),
            score=float(spell.seen[first:past].mean()),
            traits=MappingProxyType({name: _usual(values[inside]) for name, values in spell.traits.items()}),
        )
        found.append(Moment(event, {name: _mean(values[inside]) for name, values in spell.spread.items()}))
    return found


def _actors(scene: Scene, spell: Spell, inside: np.ndarray) -> tuple[tuple[str, int], ...]:
    view = scene.view
    actors: list[tuple[str, int]] = []
    for role, column in spell.actors:
        chosen = column
        if column == HANDLER:
            held = view.handler[inside][view.handler[inside] != NOBODY]
            if not len(held):
                continue
            chosen = max(dict.fromkeys(held.tolist()), key=held.tolist().count)
        actors.append((role, int(view.tracks[chosen])))
    return tuple(actors)


def _stood(scene: Scene, columns: np.ndarray) -> np.ndarray:
    """The v of players at each moment, (T, n), holes up to ``stood_s`` filled for those who went nowhere in them."""
    view, settings = scene.view, scene.settings
    v = view.uv_ft[:, columns, 1].copy()
    for n, column in enumerate(columns.tolist()):
        for first, past in stretches(~np.isfinite(v[:, n])):
            if first == 0 or past == len(v) or view.t_s[past] - view.t_s[first - 1] > settings.stood_s:
                continue
            before, after = view.uv_ft[first - 1, column], view.uv_ft[past, column]
            if np.hypot(*(after - before)) <= settings.stood_ft:
                v[first:past, n] = np.linspace(before[1], after[1], past - first + 2)[1:-1]
    return v


def _cutting(scene: Scene) -> np.ndarray:
    """Who cuts or screens for a cutter at each moment, (T, N)."""
    cutting = np.zeros(scene.view.uv_ft.shape[:2], bool)
    for event in scene.actions:
        if not event.kind.endswith("_cut"):
            continue
        for role in ("cutter", "screener"):
            column = scene.column(event, role)
            if column is not None:
                cutting[_while(scene, event, scene.settings.busy_within_s), column] = True
    return cutting


def _together(scene: Scene, one: int, two: int) -> np.ndarray:
    """When two are near each other for a screen or a handoff: from their coming near to their parting, (T,)."""
    view = scene.view
    together = np.zeros(len(view.t_s), bool)
    pair = {int(view.tracks[one]), int(view.tracks[two])}
    given = (e for e in scene.of_kind("pass") if e.measures["length_ft"] <= scene.settings.parted_ft)
    shared = [e for e in (*scene.of_kind(*TOGETHER), *given) if {track for _, track in e.actors[:2]} == pair]
    near = bridged(view.gap_ft[:, one, two] <= scene.settings.parted_ft, view.t_s, scene.settings.pause_s)
    for first, past in stretches(near):
        if any(e.start_s <= view.t_s[past - 1] and e.end_s >= view.t_s[first] for e in shared):
            together[first:past] = True
    return together


def _ball_hidden(scene: Scene) -> np.ndarray:
    """When the ball was out of sight for at least ``ball_unseen_s``, (T,); nowhere where it never was seen."""
    view = scene.view
    hidden = np.zeros(len(view.t_s), bool)
    for first, past in stretches(~view.ball_seen) if view.ball_seen.any() else ():
        hidden[first:past] = (past - first) * view.step_s >= scene.settings.ball_unseen_s
    return hidden


def _while(scene: Scene, event: Event, around_s: float) -> slice:
    return scene.view.span(event.start_s - around_s, max(event.end_s, event.t_s) + around_s)


def _settled(scene: Scene) -> np.ndarray:
    return np.where(scene.view.t_s >= scene.settled_s - 1e-6, "yes", "no")


def _only_where(together: np.ndarray, gap_ft: np.ndarray) -> np.ndarray:
    """Distances of two on the perimeter; infinite where one of them is not out there, NaN where one is not placed."""
    return np.where(together | np.isnan(gap_ft), gap_ft, np.inf)


def _mean(values: np.ndarray) -> float:
    known = values[np.isfinite(values)]
    return float(known.mean()) if len(known) else float("nan")


def _usual(values: np.ndarray) -> str:
    found, counts = np.unique(values, return_counts=True)
    return str(found[counts.argmax()])
