"""The glossary's faults on exact paths."""

from __future__ import annotations

from collections.abc import Iterator

from pipeline.sim.plays.deeds.run import Run, Seen
from pipeline.sim.plays.paint_count import CROWD, PaintCount
from pipeline.sim.plays.stage import DT_S


def observe_faults(run: Run) -> tuple[Seen, ...]:
    """Faults of a run, in order of time."""
    found = [*crowded_paint(run)]
    return tuple(sorted(found, key=lambda s: (s.t_s, s.kind, s.roles)))


def crowded_paint(run: Run) -> Iterator[Seen]:
    """The worst judged moment of every drive into a crowd."""
    for drive in run.drives:
        crowded = [c for c in run.counts if c.drive == drive and c.count >= CROWD]
        if crowded:
            yield _crowd(run, max(crowded, key=lambda c: (c.count, -c.moment)))


def _crowd(run: Run, count: PaintCount) -> Seen:
    drive = count.drive
    roles = [("handler", drive.handler)]
    roles += [("attacker_in_paint" if o < 5 else "defender_in_paint", o) for o in count.others]
    attack = sum(1 for o in count.others if o < 5)
    measures = {
        "count": float(count.count),
        "peak_count": float(count.most),
        "attackers": float(attack),
        "defenders": float(len(count.others) - attack),
        "at_corner": float(count.kind == "corner"),
        "edge_ft": count.edge_ft,
    }
    return Seen(
        "crowded_paint", drive.start * DT_S, count.moment * DT_S, drive.end * DT_S, tuple(roles),
        run.at(drive.handler, count.moment), measures,
    )  # fmt: skip
