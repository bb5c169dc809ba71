"""What readers saw in tracked possessions, and how well finds agree with it.

An event that two readers saw and nobody found is missed; a find that no reader lists is false; an event that one
reader alone saw counts neither way. A find is a reader's event when its actors are the same and its time is near.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
from scipy.optimize import linear_sum_assignment

from pipeline.actions.events import Event
from pipeline.errors import DataError
from pipeline.evaluate.touch_scores import counted
from pipeline.user_files import read_json, shown

SAME_EVENT_S = 0.8
"""A find and a reader's event nearer in time than this are one."""
READERS = 2

Interval = tuple[float, float]


@dataclass(frozen=True, slots=True)
class ReadKind:
    """How a kind of the labels is told.

    Attributes
    ----------
    event : str
        The kind of the finds.
    label_actors : tuple of str
        Keys of a label that name its actors.
    roles : tuple of str
        The same actors' roles in a find.
    when : callable
        From a find to the time or interval that a label's time is compared with.
    """

    event: str
    label_actors: tuple[str, ...]
    roles: tuple[str, ...]
    when: Callable[[Event], Interval]


def _moment(event: Event) -> Interval:
    return event.t_s, event.t_s


def _whole(event: Event) -> Interval:
    return event.start_s, event.end_s


READ_KINDS: Mapping[str, ReadKind] = MappingProxyType(
    {
        "passes": ReadKind("pass", ("from", "to"), ("passer", "receiver"), _moment),
        "handoffs": ReadKind("handoff", ("giver", "receiver"), ("giver", "receiver"), _moment),
        "on_ball_screens": ReadKind("on_ball_screen", ("handler", "screener"), ("handler", "screener"), _moment),
        "off_ball_screens": ReadKind("off_ball_screen", ("screener", "cutter"), ("screener", "cutter"), _moment),
        "post_ups": ReadKind("post_up", ("player",), ("poster",), _moment),
        "drives": ReadKind("drive", ("player",), ("handler",), _whole),
        "shots": ReadKind("shot", ("player",), ("shooter",), _moment),
    }
)
"""Kinds of the labels: passes at the catch, screens at the closest approach, post-ups at the catch (at their start
where the ball does not come), shots at the release; a drive's label may lie anywhere in it."""


@dataclass(slots=True)
class Agreement:
    """Counts of one kind, and the events in dispute."""

    labels: int = 0
    matched: int = 0
    by_one: int = 0
    false: int = 0
    disputes: list[dict[str, Any]] = field(default_factory=list)

    def add(self, other: Agreement) -> None:
        """Count other possessions'."""
        self.labels += other.labels
        self.matched += other.matched
        self.by_one += other.by_one
        self.false += other.false
        self.disputes.extend(other.disputes)

    def as_json(self) -> dict[str, Any]:
        """Counts with precision, recall and F1; ``found`` leaves out finds that one reader alone has too."""
        rates = counted(self.matched, self.matched + self.false, self.labels)
        return {
            "labels": self.labels,
            "found": self.matched + self.false,
            "matched": self.matched,
            "precision": rates["precision"],
            "recall": rates["recall"],
            "f1": rates["f1"],
            "seen_by_one": self.by_one,
        }


def read_labels(path: Path) -> Mapping[str, Mapping[str, Sequence[Mapping[str, Any]]]]:
    """The labels of a file by possession and kind.

    Raises
    ------
    DataError
        If it is not in the documented form; the text names possession and kind.
    """
    try:
        told = read_json(path, DataError, advice="repair it or take it away")
    except FileNotFoundError as error:
        raise DataError(f"There is no file {path}; check the path.") from error
    if not isinstance(told, dict) or not all(isinstance(kinds, dict) for kinds in told.values()):
        raise DataError(f"{path} does not hold lists of events by possession and kind; see the documented form.")
    for name, kinds in told.items():
        for kind, events in kinds.items():
            if kind not in READ_KINDS:
                continue
            needed = {*READ_KINDS[kind].label_actors, "t", "readers"}
            if not isinstance(events, list) or not all(isinstance(e, dict) and needed <= set(e) for e in events):
                raise DataError(
                    f"{path}: in '{shown(name)}' the {kind} must be a list of objects with {sorted(needed)}."
                )
            if not all(_is_number(event[key]) for event in events for key in ("t", "readers")):
                raise DataError(f"{path}: in '{shown(name)}' the {kind} must have numbers for 't' and 'readers'.")
    return told


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and abs(value) < 1e9


def agreement(kind: str, found: Sequence[Event], labels: Sequence[Mapping[str, Any]], possession: str) -> Agreement:
    """Compare one possession's finds of a kind with its labels.

    Pairs are made one to one: as many of the events that two readers saw as can be, then of the others, then near
    ones before far ones.

    Parameters
    ----------
    kind : str
        Of :data:`READ_KINDS`.
    found : sequence of Event
        Of the possession, on the labels' clock; other kinds are passed over.
    labels : sequence of mapping
        The readers' events of that kind.
    possession : str
        Its name, for the list of disputes.
    """
    read = READ_KINDS[kind]
    mine = [e for e in found if e.kind == read.event]
    who = [tuple(e.actor(role) for role in read.roles) for e in mine]
    when = [read.when(e) for e in mine]
    cost = np.zeros((len(labels), len(mine)))
    for row, label in enumerate(labels):
        actors = tuple(label[name] for name in read.label_actors)
        for column in range(len(mine)):
            off = max(when[column][0] - label["t"], label["t"] - when[column][1], 0.0)
            if who[column] == actors and off <= SAME_EVENT_S + 1e-9:
                cost[row, column] = off - (1000.0 if label["readers"] >= READERS else 10.0)
    rows, columns = linear_sum_assignment(cost) if cost.size else (np.zeros(0, int), np.zeros(0, int))
    pairs = {int(r): int(c) for r, c in zip(rows, columns, strict=True) if cost[r, c] < 0}
    result = Agreement()
    for row, label in enumerate(labels):
        seen = label["readers"] >= READERS
        result.labels += seen
        result.matched += seen and row in pairs
        result.by_one += not seen and row in pairs
        if seen and row not in pairs:
            told = {name: label[name] for name in read.label_actors}
            result.disputes.append(_dispute(possession, kind, "missed", float(label["t"]), told))
    for column, event in enumerate(mine):
        if column not in pairs.values():
            told = dict(zip(read.label_actors, who[column], strict=True))
            result.false += 1
            result.disputes.append(_dispute(possession, kind, "found", event.t_s, told))
    return result


def _dispute(possession: str, kind: str, what: str, t_s: float, actors: Mapping[str, Any]) -> dict[str, Any]:
    return {"possession": possession, "kind": kind, "what": what, "t_s": round(t_s, 2), **actors}
