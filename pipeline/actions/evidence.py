"""An event made of what a rule saw, in the words of the vocabulary."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from pipeline.actions.certainty import certainty, sigma_of
from pipeline.actions.events import Event
from pipeline.actions.view import NOBODY, PossessionView
from pipeline.actions.vocabulary import KIND, UNKNOWN, measure_names, trait_names
from pipeline.court.places import place_names

NAN = float("nan")

Span = tuple[float, float, float]
"""Start, moment and end of an event, film time."""


def yes_no(value: bool | None) -> str:  # noqa: FBT001 the value is what is told
    """``"yes"``, ``"no"``, or unknown for None."""
    return UNKNOWN if value is None else ("yes" if value else "no")


def place_of(view: PossessionView, uv_ft: np.ndarray) -> str:
    """The most telling named place of a point (2,), ``"none"`` where it has no name, unknown where it is not known."""
    if not np.isfinite(uv_ft).all():
        return UNKNOWN
    return place_names(np.asarray(uv_ft)[None], view.book)[0] or "none"


def event_of(
    view: PossessionView,
    kind: str,
    when: Span,
    actors: Sequence[tuple[str, int | None]],
    uv_ft: np.ndarray,
    *,
    measures: Mapping[str, float],
    traits: Mapping[str, str],
    tolerance_ft: float,
    trust: float = 1.0,
) -> Event:
    """An event of a kind of the vocabulary; what the rule did not tell of it is unknown.

    Parameters
    ----------
    view : PossessionView
    kind : str
    when : tuple of three floats
        Start, moment, end.
    actors : sequence of (role, column)
        A column of None or ``NOBODY`` is left out.
    uv_ft : ndarray (2,)
        Its place, attack frame.
    measures, traits : mapping
        By name; those of the vocabulary that are missing become NaN and ``"unknown"``.
    tolerance_ft : float
        Uncertainty of a place at which the rule is half trusted (``certainty``).
    trust : float
        0..1, what else the finding rests on; the score is certainty times this.
    """
    start_s, t_s, end_s = when
    known = [(role, int(c)) for role, c in actors if c is not None and c != NOBODY]
    columns = [c for _, c in known]
    span = view.span(start_s, end_s)
    moment = view.at(t_s)
    place = {
        "u_ft": float(uv_ft[0]),
        "v_ft": float(uv_ft[1]),
        "sigma_ft": sigma_of(view, columns, moment) if columns else NAN,
    }
    kept = {name: float(measures.get(name, place.get(name, NAN))) for name in measure_names(kind)}
    roles = KIND[kind].roles
    score = certainty(view, columns, span.start, span.stop, tolerance_ft) if columns else 1.0
    return Event(
        kind=kind,
        shot=view.shot,
        possession=view.possession,
        start_s=float(start_s),
        end_s=float(end_s),
        t_s=float(t_s),
        actors=tuple((role, int(view.tracks[c])) for role, c in sorted(known, key=lambda a: roles.index(a[0]))),
        place_ft=view.court_point_ft(uv_ft),
        attacked_end=view.end,
        measures=kept,
        score=min(max(score * trust, 0.0), 1.0),
        traits={name: traits.get(name, UNKNOWN) for name in trait_names(kind)},
    )


def gap_at(view: PossessionView, t_s: float, one: int, other: int) -> float:
    """Distance between two players at a time, feet; NaN where not known."""
    return math.dist(view.place_at(t_s, one), view.place_at(t_s, other))


def nearest(view: PossessionView, t_s: float, column: int, others: np.ndarray) -> tuple[int, float]:
    """The nearest of some players (N,) bool to one at a time, and how far; (``NOBODY``, NaN) where none is known."""
    best, least = NOBODY, NAN
    for other in np.flatnonzero(others):
        gap = gap_at(view, t_s, column, int(other)) if other != column else NAN
        if math.isfinite(gap) and not gap >= least:
            best, least = int(other), gap
    return best, least
