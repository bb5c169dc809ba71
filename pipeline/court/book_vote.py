"""Which rule book a film's floor is painted by.

A few telling frames vote, each by cameras of its own under every book. A lone camera can bend to a wrong book (farther
away, another zoom, another lens), each frame in its own way; one camera place for all frames cannot. So where the vote
is not clear the books are judged by what they explain when all those frames share centre, lens and roll.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import partial

import numpy as np

from pipeline.court.camera import NoCourt
from pipeline.court.film_camera import refit, shared_prior
from pipeline.court.film_frames import FilmFrame
from pipeline.court.fitting import Fit, default_prior, fit_as_it_stands
from pipeline.court.floor_lines import BORDER_NAMES
from pipeline.court.rule_books import RULE_BOOKS, RuleBook, rule_book
from pipeline.court.settings import RegistrationSettings
from pipeline.court.single_view import FittedView, checked, find_view, judge, score_of
from pipeline.crew import Spread, in_turn

LEAST_TELLING = 5.0
"""Frames with less to tell (see `_telling`) have no vote."""

AT_A_TIME = 4
"""Frames whose views are found together, where there are workers for it."""

LOST_BY = 3.0
"""A frame speaks against a book by no more than this score: one frame that is misread does not decide."""

CLEAR_BY = 1.0
"""From this lead a frame on, three frames or more settle the vote."""

ALIKE = 0.5
"""Books whose scores over all frames differ by less are not told apart by the court's edge."""

_TELLING_BORDERS = {"all": ("arc_edge", "paint_edge"), "edge": ("court_edge", "circle_edge")}


def _telling(frame: FilmFrame, settings: RegistrationSettings) -> float:
    """How much a frame can tell about the rule book: marks of arcs and paints, or of the court's corners and circle."""
    weights = [
        frame.marks.weight[frame.marks.border == BORDER_NAMES.index(name)].sum()
        for name in _TELLING_BORDERS[settings.markings or "all"]
    ]
    return float(sum(min(w, 60.0) for w in weights) if settings.markings == "edge" else min(sum(weights), 60.0))


def vote(frames: Sequence[FilmFrame], settings: RegistrationSettings, spread: Spread = in_turn) -> RuleBook | None:
    """The book that a few telling frames spread over the film agree on; None where none of them tells."""
    groups = np.array_split(np.arange(len(frames)), min(settings.book_frames, len(frames)))
    telling = {id(frame): _telling(frame, settings) for frame in frames}
    chosen = [max((frames[i] for i in group), key=lambda f: telling[id(f)]) for group in groups]
    # The most telling first, so that a clear film is settled after a few.
    chosen.sort(key=lambda f: telling[id(f)], reverse=True)
    able = [frame for frame in chosen if telling[id(frame)] >= LEAST_TELLING]
    totals = dict.fromkeys(RULE_BOOKS, 0.0)
    seen: list[tuple[FilmFrame, dict[str, FittedView]]] = []
    for frame, views in _viewed(able, settings, spread):
        if isinstance(views, NoCourt):
            frame.reason = views.reason
            continue
        if isinstance(checked(views[0].judged, settings), NoCourt):
            continue
        by_book = {view.judged.rule_book: view for view in views}
        seen.append((frame, by_book))
        for name, lost in _lost({name: view.score for name, view in by_book.items()}).items():
            totals[name] += lost
        ranked = sorted(totals.values())
        if len(seen) >= 3 and ranked[1] - ranked[0] > CLEAR_BY * len(seen):
            return _best(totals)
    for frame in chosen[len(able) :]:
        frame.reason = "No paint and no three-point line are seen."
    return _by_one_camera(seen, settings) if seen else None


def _best(totals: Mapping[str, float]) -> RuleBook:
    return rule_book(min(totals, key=lambda name: totals[name]))


def _lost(scores: Mapping[str, float]) -> dict[str, float]:
    """By how much each book is worse than a frame's best, bounded."""
    best = min(scores.values())
    return {name: min(scores.get(name, np.inf) - best, LOST_BY) for name in RULE_BOOKS}


def _by_one_camera(
    seen: Sequence[tuple[FilmFrame, Mapping[str, FittedView]]], settings: RegistrationSettings
) -> RuleBook:
    """The book that explains most when all frames share their centre, lens and roll.

    Where only the court's edge gives the camera, books of one length are alike; among those all markings decide, as
    they lie under that camera.
    """
    scores: list[dict[str, float]] = [{} for _ in seen]
    by_all: list[dict[str, float]] = [{} for _ in seen]
    for name, book in RULE_BOOKS.items():
        prior = default_prior(book, settings)
        fits: list[tuple[int, Fit]] = [(i, views[name].fit) for i, (_, views) in enumerate(seen) if name in views]
        for _ in range(2):
            shared = shared_prior([fit for _, fit in fits], prior, settings)
            if shared is not None:
                fits = [
                    (i, refit(seen[i][0].marks, fit.parameters, book, seen[i][0].size_px, shared, settings))
                    for i, fit in fits
                ]
        for i, fit in fits:
            frame = seen[i][0]
            judged = judge(fit, book, frame.size_px, frame.seen, settings.markings)
            scores[i][name] = score_of(fit, judged, settings)
            if frame.whole is not None:
                whole = fit_as_it_stands(frame.whole.marks, fit.parameters, book, frame.size_px, settings)
                by_all[i][name] = score_of(whole, judge(whole, book, frame.size_px, frame.whole.areas), settings)
    totals = _totals(scores)
    if settings.markings == "edge":
        least = min(totals.values())
        totals = {name: lost for name, lost in _totals(by_all).items() if totals[name] <= least + ALIKE}
    return _best(totals)


def _totals(scores: Sequence[Mapping[str, float]]) -> dict[str, float]:
    """Each book's losses over the frames that some book has a score for."""
    lost = [_lost(by_book) for by_book in scores if by_book]
    return {name: sum(one[name] for one in lost) for name in RULE_BOOKS}


def _viewed(
    frames: Sequence[FilmFrame], settings: RegistrationSettings, spread: Spread
) -> Iterator[tuple[FilmFrame, list[FittedView] | NoCourt]]:
    """Frames with their views, a few at a time: most films are settled by the first few."""
    for k in range(0, len(frames), AT_A_TIME):
        some = frames[k : k + AT_A_TIME]
        yield from zip(some, spread(partial(_views, settings=settings), some), strict=True)


def _views(frame: FilmFrame, *, settings: RegistrationSettings) -> list[FittedView] | NoCourt:
    return find_view(frame.marks, frame.seen, frame.size_px, settings)
