"""Which rule book a film's floor is painted by: a few telling frames vote."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial

import numpy as np

from pipeline.court.camera import NoCourt
from pipeline.court.film_frames import FilmFrame
from pipeline.court.rule_books import RULE_BOOKS, RuleBook, rule_book
from pipeline.court.settings import RegistrationSettings
from pipeline.court.single_view import FittedView, checked, find_view
from pipeline.crew import Spread, in_turn

LEAST_TELLING = 5.0
"""Frames with less to tell (see `_telling`) have no vote."""

AT_A_TIME = 4
"""Frames whose views are found together, where there are workers for it."""


def _telling(frame: FilmFrame) -> float:
    """How much a frame can tell about the rule book: marks of arcs and paints."""
    useful = np.isin(frame.marks.border, (1, 2))
    return float(min(frame.marks.weight[useful].sum(), 60)) if len(frame.marks) else 0.0


def vote(frames: Sequence[FilmFrame], settings: RegistrationSettings, spread: Spread = in_turn) -> RuleBook | None:
    """Sum each book's costs over a few telling frames spread over the film; the lowest sum wins."""
    groups = np.array_split(np.arange(len(frames)), min(settings.book_frames, len(frames)))
    chosen = [max((frames[i] for i in group), key=_telling) for group in groups]
    # The most telling first, so that a clear film is settled after a few.
    chosen.sort(key=_telling, reverse=True)
    telling = [frame for frame in chosen if _telling(frame) >= LEAST_TELLING]
    totals: dict[str, float] = {}
    seen = 0
    for frame, views in _viewed(telling, settings, spread):
        if isinstance(views, NoCourt):
            frame.reason = views.reason
            continue
        scores = {view.judged.rule_book: view.score for view in views}
        best = views[0]
        if isinstance(checked(best.judged, settings), NoCourt):
            continue
        seen += 1
        for name in RULE_BOOKS:
            totals[name] = totals.get(name, 0.0) + min(scores.get(name, best.score + 3.0) - best.score, 3.0)
        ranked = sorted(totals.values())
        if seen >= 3 and ranked[1] - ranked[0] > 0.6 * seen:
            break
    else:
        for frame in chosen[len(telling) :]:
            frame.reason = "No paint and no three-point line are seen."
    return rule_book(min(totals, key=lambda n: totals[n])) if seen else None


def _viewed(
    frames: Sequence[FilmFrame], settings: RegistrationSettings, spread: Spread
) -> Iterator[tuple[FilmFrame, list[FittedView] | NoCourt]]:
    """Frames with their views, a few at a time: most films are settled by the first few."""
    for k in range(0, len(frames), AT_A_TIME):
        some = frames[k : k + AT_A_TIME]
        yield from zip(some, spread(partial(_views, settings=settings), some), strict=True)


def _views(frame: FilmFrame, *, settings: RegistrationSettings) -> list[FittedView] | NoCourt:
    return find_view(frame.marks, frame.seen, frame.size_px, settings)
