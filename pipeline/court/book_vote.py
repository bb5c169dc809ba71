"""Which rule book a film's floor is painted by: a few telling frames vote."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipeline.court.camera import NoCourt
from pipeline.court.film_frames import FilmFrame
from pipeline.court.rule_books import RULE_BOOKS, RuleBook, rule_book
from pipeline.court.settings import RegistrationSettings
from pipeline.court.single_view import checked, find_view


def _telling(frame: FilmFrame) -> float:
    """How much a frame can tell about the rule book: marks of arcs and paints."""
    useful = np.isin(frame.marks.border, (1, 2))
    return float(min(frame.marks.weight[useful].sum(), 60)) if len(frame.marks) else 0.0


def vote(frames: Sequence[FilmFrame], settings: RegistrationSettings) -> RuleBook | None:
    """Sum each book's costs over a few telling frames spread over the film; the lowest sum wins."""
    groups = np.array_split(np.arange(len(frames)), min(settings.book_frames, len(frames)))
    chosen = [max((frames[i] for i in group), key=_telling) for group in groups]
    # The most telling first, so that a clear film is settled after a few.
    chosen.sort(key=_telling, reverse=True)
    totals: dict[str, float] = {}
    seen = 0
    for frame in chosen:
        ranked = sorted(totals.values())
        if seen >= 3 and ranked[1] - ranked[0] > 0.6 * seen:
            break
        if _telling(frame) < 5:
            frame.reason = "No paint and no three-point line are seen."
            continue
        views = find_view(frame.marks, frame.seen, frame.size_px, settings)
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
    return rule_book(min(totals, key=lambda n: totals[n])) if seen else None
