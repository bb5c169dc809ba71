"""How well events were told: found actions, sets or faults against the true ones of the same play.

A found event is right when a true one of its kind has the same leading actors (those before the first defender in the
kind's roles) and lies near enough in time; pairs are made one to one, as many as can be and then as near as can
be. Measures and traits are compared on the pairs.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from pydantic import BaseModel, ConfigDict, Field
from scipy.optimize import linear_sum_assignment

from pipeline.actions.events import Event
from pipeline.actions.vocabulary import KIND, UNKNOWN
from pipeline.evaluate.touch_scores import counted

ActorOf = Callable[[int, float], int | None]
"""The true actor that a found track is at a time; None when it is none."""


class EventScoreSettings(BaseModel):
    """When a found event is a true one."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    moment_s: float = Field(0.8, gt=0, description="An event is right within this time of a true one's moment.")
    lasting_kinds: tuple[str, ...] = Field(
        (
            *("touch", "post_up", "isolation", "denial", "stand"),
            *(name for name in KIND if name.endswith("_cut")),
            *("twins", "overloaded_side", "post_up_without_movement", "wide_curl", "crowded_paint"),
        ),
        description="Kinds without a moment to speak of: right when the two share enough of their time.",
    )
    lasting_share: float = Field(
        0.5, gt=0, le=1, description="Least share of the shorter one's time for the kinds that last."
    )
    team_kinds: tuple[str, ...] = Field(
        ("overloaded_side", "shrunk_spacing"),
        description="Faults of all five, nobody's in particular: right by their time alone, whoever has the ball.",
    )
    pair_kinds: tuple[str, ...] = Field(
        ("twins",), description="Faults of two alike: right when both are, whichever is named first."
    )
    set_overlap: float = Field(0.3, gt=0, le=1, description="A set is right from this share of the joint time on.")
    set_roles: float = Field(0.5, gt=0, le=1, description="A set is right when this share of its roles is right.")


@dataclass(slots=True)
class Tally:
    """What was counted of one kind, over any number of games."""

    true: int = 0
    found: int = 0
    right: int = 0
    off_s: list[float] = field(default_factory=list)
    measures: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    unknown: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    traits: dict[str, list[bool]] = field(default_factory=lambda: defaultdict(list))
    roles: list[bool] = field(default_factory=list)

    def add(self, other: Tally) -> None:
        """Count another game's."""
        self.true += other.true
        self.found += other.found
        self.right += other.right
        self.off_s += other.off_s
        self.roles += other.roles
        for name, values in other.measures.items():
            self.measures[name] += values
        for name, said in other.traits.items():
            self.traits[name] += said
        for name, count in other.unknown.items():
            self.unknown[name] += count

    def report(self) -> dict[str, Any]:
        """Precision, recall, F1 with counts, timing, other roles, and errors of measures and traits."""
        scores = counted(self.right, self.found, self.true)
        return {
            **scores,
            "off_s": _error(self.off_s),
            "other_roles_right": float(np.mean(self.roles)) if self.roles else None,
            "measures": {name: _error(values) for name, values in sorted(self.measures.items())},
            "traits": {
                name: {"right": float(np.mean(values)), "count": len(values)}
                for name, values in sorted(self.traits.items())
            },
            "unknown": dict(sorted(self.unknown.items())),
        }


def leading_roles(kind: str) -> tuple[str, ...]:
    """Roles that must be right: those of a kind before its first defender; empty where the kind is not declared."""
    declared = KIND[kind].roles if kind in KIND else ()
    leading: list[str] = []
    for role in declared:
        if role.endswith("_defender"):
            break
        leading.append(role)
    return tuple(leading)


def score_events(
    found: Sequence[Event],
    true: Sequence[Event],
    actor_of: ActorOf,
    settings: EventScoreSettings,
    *,
    neither: Sequence[Event] = (),
) -> dict[str, Tally]:
    """Score the actions or faults of one game.

    Parameters
    ----------
    found, true : sequence of Event
        Found ones speak of tracks, true ones of actors.
    actor_of : callable
        From a found track and a time to the true actor.
    settings : EventScoreSettings
    neither : sequence of Event
        True events that count neither way: one that is found is no false alarm, one that is missed no miss.

    Returns
    -------
    dict of str to Tally
        By kind.
    """
    tallies: dict[str, Tally] = {}
    for kind in sorted({e.kind for e in (*found, *true)}):
        mine = [e for e in found if e.kind == kind]
        theirs = [e for e in true if e.kind == kind]
        either = [e for e in neither if e.kind == kind]
        pairs = _pairs(mine, [*theirs, *either], actor_of, settings, len(theirs))
        sure = [(f, t) for f, t in pairs if t < len(theirs)]
        tally = Tally(true=len(theirs), found=len(mine) - (len(pairs) - len(sure)), right=len(sure))
        for f, t in sure:
            _compare(mine[f], theirs[t], actor_of, tally, leading_roles(kind))
        tallies[kind] = tally
    return tallies


def score_sets(
    found: Sequence[Event],
    true: Sequence[Event],
    actor_of: ActorOf,
    settings: EventScoreSettings,
    *,
    neither: Sequence[Event] = (),
) -> dict[str, Tally]:
    """Score the complete set candidates of one game: the same set, enough joint time, enough roles right."""

    def gain(f: Event, t: Event) -> float:
        overlap = _overlap(f, t)
        return overlap if overlap >= settings.set_overlap and _roles_right(f, t, actor_of) >= settings.set_roles else 0

    tallies: dict[str, Tally] = {}
    for kind in sorted({e.kind for e in (*found, *true)}):
        mine = [e for e in found if e.kind == kind]
        theirs = [e for e in true if e.kind == kind]
        either = [e for e in neither if e.kind == kind]
        gains = [[gain(f, t) for t in theirs] + [0.1 * gain(f, t) for t in either] for f in mine]
        pairs = _assign(np.array(gains).reshape(len(mine), len(theirs) + len(either)))
        sure = [(f, t) for f, t in pairs if t < len(theirs)]
        tally = Tally(true=len(theirs), found=len(mine) - (len(pairs) - len(sure)), right=len(sure))
        for f, t in sure:
            _compare(mine[f], theirs[t], actor_of, tally, ())
        tallies[kind] = tally
    return tallies


def _pairs(
    found: Sequence[Event], true: Sequence[Event], actor_of: ActorOf, settings: EventScoreSettings, sure: int
) -> list[tuple[int, int]]:
    """Pairs one to one; the first ``sure`` true events are served before the others."""
    gain = np.zeros((len(found), len(true)))
    for i, f in enumerate(found):
        for j, t in enumerate(true):
            near = _nearness(f, t, settings)
            if near > 0 and _same_actors(f, t, actor_of, settings):
                gain[i, j] = near + (10.0 if j < sure else 0.0)
    return _assign(gain)


def _assign(gain: np.ndarray) -> list[tuple[int, int]]:
    rows, columns = linear_sum_assignment(-gain)
    return [(int(r), int(c)) for r, c in zip(rows, columns, strict=True) if gain[r, c] > 0]


def _nearness(f: Event, t: Event, settings: EventScoreSettings) -> float:
    """How near two events are in time, 1..2; 0 where they are not one."""
    if f.kind in settings.lasting_kinds:
        shared = min(f.end_s, t.end_s) - max(f.start_s, t.start_s)
        shorter = min(f.end_s - f.start_s, t.end_s - t.start_s)
        return 1.0 + _overlap(f, t) if shared > 0 and shared >= settings.lasting_share * shorter else 0.0
    away = abs(f.t_s - t.t_s)
    return 2.0 - away / settings.moment_s if away <= settings.moment_s + 1e-9 else 0.0


def _overlap(f: Event, t: Event) -> float:
    shared = min(f.end_s, t.end_s) - max(f.start_s, t.start_s)
    whole = max(f.end_s, t.end_s) - min(f.start_s, t.start_s)
    return max(shared, 0.0) / whole if whole > 0 else float(shared == 0.0)


def _same_actors(f: Event, t: Event, actor_of: ActorOf, settings: EventScoreSettings) -> bool:
    """Whether a found event is of those whom it must be of: all five, a pair in any order, or the leading roles."""
    if f.kind in settings.team_kinds:
        return True
    if f.kind in settings.pair_kinds:
        return {actor_of(track, f.t_s) for _, track in f.actors} == {true for _, true in t.actors}
    return _same_leaders(f, t, actor_of)


def _same_leaders(f: Event, t: Event, actor_of: ActorOf) -> bool:
    roles = leading_roles(f.kind) or tuple(role for role, _ in t.actors[:1])
    for role in roles:
        true, track = t.actor(role), f.actor(role)
        if true is not None and (track is None or actor_of(track, f.t_s) != true):
            return False
    return True


def _roles_right(f: Event, t: Event, actor_of: ActorOf) -> float:
    same = [
        track is not None and actor_of(track, f.t_s) == true for role, true in t.actors for track in (f.actor(role),)
    ]
    return float(np.mean(same)) if same else 0.0


def _compare(f: Event, t: Event, actor_of: ActorOf, tally: Tally, leading: Sequence[str]) -> None:
    tally.off_s.append(abs(f.t_s - t.t_s))
    for role, true in t.actors:
        if role not in leading:
            track = f.actor(role)
            tally.roles.append(track is not None and actor_of(track, f.t_s) == true)
    for name, value in t.measures.items():
        if not np.isfinite(value):
            continue
        mine = f.measures.get(name, float("nan"))
        if np.isfinite(mine):
            tally.measures[name].append(abs(mine - value))
        else:
            tally.unknown[name] += 1
    for name, said in t.traits.items():
        if said == UNKNOWN:
            continue
        word = f.traits.get(name, UNKNOWN)
        if word == UNKNOWN:
            tally.unknown[name] += 1
        else:
            tally.traits[name].append(word == said)


def _error(values: Sequence[float]) -> dict[str, float | int | None]:
    if not len(values):
        return {"median": None, "p95": None, "count": 0}
    return {"median": float(np.median(values)), "p95": float(np.quantile(values, 0.95)), "count": len(values)}


def together(tallies: Mapping[str, Tally]) -> dict[str, Any]:
    """All kinds of a family: each one's report, the mean and the least F1 over the kinds that occur, and the sum.

    A kind that never truly occurred has no F1 of its own worth a mean; its false finds count in ``all``.
    """
    kinds = {kind: tally.report() for kind, tally in sorted(tallies.items())}
    scored = {kind: float(r["f1"] or 0.0) for kind, r in kinds.items() if r["truth"]}
    worst = min(scored, key=lambda kind: scored[kind]) if scored else None
    return {
        "kinds": kinds,
        "mean_f1": float(np.mean(list(scored.values()))) if scored else None,
        "least_f1": scored[worst] if worst else None,
        "least_kind": worst,
        "all": counted(*(sum(getattr(t, part) for t in tallies.values()) for part in ("right", "found", "true"))),
    }
