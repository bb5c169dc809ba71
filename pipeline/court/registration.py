"""Find the camera of every frame of a film, and of lone pictures.

A film is registered in five steps:

1. A few frames spread over the film vote on the rule book, unless it is told.
2. Some frames of each shot are fitted by themselves, starting from their neighbour's camera turned as the picture
   moved, else from the bank of views. Pinned frames are fitted to their pins. Where that explains few of them, the
   lines within the court were misread (white ones on pale wood, say): steps 1 and 2 are done again by the court's edge
   and centre circle alone, which stand out against the apron, and that holds if it explains more frames.
3. The optical centre, the lens and the roll are shared by the film (:mod:`pipeline.court.film_camera`; one step of a
   bundle adjustment, Triggs et al. 2000, "Bundle adjustment: a modern synthesis", section 6). A shot whose frames that
   does not explain has its own.
4. Every frame that shows markings is fitted again with that as prior, starting from what step 2 gives for its time.
5. Each shot is smoothed (:mod:`pipeline.court.smoothing`): fits, the picture's motion and the operator's acceleration.
   A frame whose smoothed camera explains its own markings is registered; one without (or with too few) markings is
   carried if the smoothed camera is sure enough there; the rest is unknown, with the reason.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from pipeline.court.book_vote import vote
from pipeline.court.camera import NoCourt, camera_to_row
from pipeline.court.film_camera import refit, shared_prior
from pipeline.court.film_frames import NOT_LOOKED_AT, FilmFrame, MotionBetween, by_shot, film_frames
from pipeline.court.fitting import (
    PARAMETERS,
    Fit,
    Prior,
    camera_of,
    default_prior,
    fit_as_it_stands,
    fit_camera,
)
from pipeline.court.pins import PinnedFrame, books_of_pins, fit_pins, miss_px
from pipeline.court.rule_books import RuleBook, rule_book
from pipeline.court.settings import RegistrationSettings
from pipeline.court.single_view import (
    CourtFit,
    find_camera,
    find_view,
    fit_polygons,
    judge,
    polygon_map,
    polygon_marks,
    register_picture,
)
from pipeline.court.smoothing import Links, Smoothed, smooth
from pipeline.court.tables import AREAS, CAMERAS, MARKS, MOTION
from pipeline.court.view_bank import floor_of_grid
from pipeline.crew import Spread, in_turn
from pipeline.film.tables import FRAMES

__all__ = [
    "CourtFit",
    "find_camera",
    "fit_polygons",
    "polygon_map",
    "polygon_marks",
    "recognise_rule_book",
    "register",
    "register_picture",
]

Array = NDArray[np.float64]

_PAN, _TILT, _FOCAL = (PARAMETERS.index(n) for n in ("pan", "tilt", "log_focal"))
_DISTRUSTED = 0.25
_MOST_ASKED = 24  # frames, at most, whose shared camera is tried before a film's markings are believed


def register(
    marks: pa.Table,
    areas: pa.Table,
    settings: RegistrationSettings | None = None,
    *,
    frames: pa.Table | None = None,
    motion: pa.Table | None = None,
    pins: Sequence[PinnedFrame] = (),
    spread: Spread = in_turn,
) -> pa.Table:
    """Find a camera for every analysed frame of a film.

    Parameters
    ----------
    marks : pa.Table
        ``marks`` table: points on the floor's markings.
    areas : pa.Table
        ``areas`` table: one row per frame whose floor was looked at, in any order.
    settings : RegistrationSettings
    frames : pa.Table, optional
        ``frames`` table: all analysed frames; those without a row in ``areas`` are carried. Left out, ``areas`` names
        them all.
    motion : pa.Table, optional
        ``motion`` table: how the picture moved between neighbouring analysed frames.
    pins : sequence of PinnedFrame
        Landmarks that staff pinned on analysed frames.
    spread : Spread
        Shares out the shots; the result does not depend on it.

    Returns
    -------
    pa.Table
        ``cameras`` table, one row per frame, in the order of time.
    """
    chosen = settings or RegistrationSettings()
    found = film_frames(MARKS.check(marks), AREAS.check(areas), None if frames is None else FRAMES.check(frames), pins)
    if not found:
        return CAMERAS.empty()
    moved = MotionBetween(None if motion is None else MOTION.check(motion), chosen)
    survey = _surveyed_by_what_explains(found, moved, chosen, spread)
    if survey is None:
        reason = NoCourt("No frame of the film shows enough of a floor to tell its rule book.")
        return CAMERAS.from_rows([_row(f, "", reason) for f in found])
    finish = partial(_finished, book=survey.book, prior=survey.prior, shared=survey.shared, settings=survey.settings)
    rows = [row for part in spread(finish, survey.stretches) for row in part]
    return CAMERAS.from_rows(sorted(rows, key=lambda row: (row["t_s"], row["frame"])))


@dataclass(frozen=True, slots=True, eq=False)
class _Stretch:
    """Frames of one shot without a long gap, in order of time, and how the picture moved between them."""

    frames: list[FilmFrame]
    links: Links


@dataclass(frozen=True, slots=True, eq=False)
class _Survey:
    """A film after steps 1 to 3, by the markings of its settings.

    Attributes
    ----------
    explained : float
        Share of the frames tried that are explained by a camera of what the film (or their stretch) shares; 1 where
        none was tried.
    """

    book: RuleBook
    prior: Prior
    stretches: list[_Stretch]
    shared: Prior | None
    explained: float
    settings: RegistrationSettings


def _surveyed_by_what_explains(
    found: Sequence[FilmFrame], moved: MotionBetween, settings: RegistrationSettings, spread: Spread
) -> _Survey | None:
    """By all markings; by the court's edge where all explain too few frames and the edge clearly more.

    Fewer lines are more easily explained: the edge must leave less than half as many frames unexplained.
    """
    by_all = _surveyed(found, moved, settings, spread)
    share = 0.0 if by_all is None else by_all.explained
    if settings.markings is not None or share >= settings.least_explained:
        return by_all
    edge = settings.model_copy(update={"markings": "edge"})
    by_edge = _surveyed([frame.by_edge() for frame in found], moved, edge, spread)
    return by_edge if by_edge is not None and 1 - by_edge.explained < (1 - share) / 2 else by_all


def _surveyed(
    found: Sequence[FilmFrame], moved: MotionBetween, settings: RegistrationSettings, spread: Spread
) -> _Survey | None:
    """Steps 1 to 3; None where no frame tells the rule book."""
    book = _book(found, settings, spread)
    if book is None:
        return None
    prior = default_prior(book, settings)
    stretches = [
        _Stretch(frames, moved.between(frames))
        for shot in by_shot(found).values()
        for frames in _stretches(shot, settings)
    ]
    stretches = list(spread(partial(_first_pass, book=book, prior=prior, settings=settings), stretches))
    shared = _shared([frame for stretch in stretches for frame in stretch.frames], book, prior, settings)
    return _Survey(book, prior, stretches, shared, _explained(stretches, book, prior, shared, settings), settings)


def _explained(
    stretches: Sequence[_Stretch], book: RuleBook, prior: Prior, shared: Prior | None, settings: RegistrationSettings
) -> float:
    """See :class:`_Survey`; of a long film some frames are asked. A frame's own camera alone says little: it can bend
    to lines that are not there."""
    tried = [(stretch, frame) for stretch in stretches for frame in stretch.frames if frame.tried(settings)]
    asked = tried[:: len(tried) // _MOST_ASKED + 1]
    count = 0
    for stretch, frame in asked:
        if frame.fit is None or shared is None:
            continue
        start = frame.fit.parameters
        fit = refit(frame.marks, start, book, frame.size_px, shared, settings)
        if not frame.passes(fit, book, settings):
            own = _shared(stretch.frames, book, prior, settings)  # a film of several cameras
            assert own is not None
            fit = refit(frame.marks, start, book, frame.size_px, own, settings)
        count += frame.passes(fit, book, settings)
    return count / len(asked) if asked else 1.0


def _finished(
    stretch: _Stretch, *, book: RuleBook, prior: Prior, shared: Prior | None, settings: RegistrationSettings
) -> list[Mapping[str, Any]]:
    """Rows of the ``cameras`` table for a stretch whose frames went through the first pass."""
    frames = stretch.frames
    own = shared if shared is not None and _belongs(frames, shared, book, settings) else None
    own = own or _shared(frames, book, prior, settings)
    if own is not None:
        _second_pass(frames, stretch.links, book, own, settings)
        _settle(frames, stretch.links, book, own, settings)
    for frame in frames:
        _weigh_against_all(frame, book, settings)
    return [_row(frame, book.name) for frame in frames]


def _book(frames: Sequence[FilmFrame], settings: RegistrationSettings, spread: Spread) -> RuleBook | None:
    """The told rule book; else the frames' vote, unless pins speak clearly against it; else the pins' best."""
    if settings.rule_book:
        return rule_book(settings.rule_book)
    voted = vote(frames, settings, spread)
    pinned = [f.pins for f in frames if f.pins is not None]
    if not pinned:
        return voted
    misses = books_of_pins(pinned, frames[0].size_px, settings)
    best = min(misses, key=lambda name: misses[name])
    if voted is not None and misses[voted.name] < 1.5 * misses[best] + 1.0:
        return voted
    return rule_book(best)


def _shared(frames: Sequence[FilmFrame], book: RuleBook, prior: Prior, settings: RegistrationSettings) -> Prior | None:
    """What the frames' fits share; what the pinned ones share if the others' would contradict these."""
    shared = shared_prior([f.fit for f in frames if f.fit is not None], prior, settings)
    pinned = [(f, f.fit, f.pins) for f in frames if f.fit is not None and f.pins is not None]
    for frame, fit, pins in pinned:
        assert shared is not None
        if miss_px(fit_pins(pins, frame.size_px, book, settings, shared)) > 2 * miss_px(fit) + 1.5:
            return shared_prior([fit for _, fit, _ in pinned], prior, settings)
    return shared


def recognise_rule_book(marks: pa.Table, areas: pa.Table, settings: RegistrationSettings | None = None) -> str | None:
    """Name of the rule book most frames of a film agree on, or None where no frame shows enough floor."""
    voted = vote(film_frames(MARKS.check(marks), AREAS.check(areas), None), settings or RegistrationSettings())
    return None if voted is None else voted.name


def _stretches(shot: Sequence[FilmFrame], settings: RegistrationSettings) -> Iterator[list[FilmFrame]]:
    """The frames of a shot, cut where film is missing for long."""
    stretch: list[FilmFrame] = []
    for frame in shot:
        if stretch and frame.t_s - stretch[-1].t_s > settings.tracking_gap_s:
            yield stretch
            stretch = []
        stretch.append(frame)
    if stretch:
        yield stretch


def _first_pass(stretch: _Stretch, *, book: RuleBook, prior: Prior, settings: RegistrationSettings) -> _Stretch:
    """Fit frames by themselves, from the last one's camera turned as the picture moved since where there is one."""
    frames, links = stretch.frames, stretch.links
    lone = settings.model_copy(update={"rule_book": book.name})
    turns = {int(first) + 1: moved for first, moved in zip(links.first, links.moved, strict=True)}
    last: FilmFrame | None = None
    guess: Array | None = None
    tried_s, misses, blind = -np.inf, 0, False
    for number, frame in enumerate(frames):
        guess = None if guess is None else _turned(guess, turns.get(number))
        blind |= number not in turns
        if frame.pins is not None:
            frame.take(fit_pins(frame.pins, frame.size_px, book, settings, prior), book, settings)
        elif not frame.shows(settings) or (
            last is not None and frame.t_s - tried_s < settings.first_step_s * (0.5 if blind else 1.0)
        ):
            continue
        else:
            tried_s = frame.t_s
            tracked = last is not None and frame.t_s - last.t_s <= settings.tracking_gap_s
            if not (tracked and guess is not None and _track(frame, guess, book, prior, settings)):
                misses += 1
                if misses > 3 and misses % 5:  # a long stretch without a court: look afresh now and then only
                    continue
                views = find_view(frame.marks, frame.seen, frame.size_px, lone)
                if isinstance(views, NoCourt):
                    frame.reason = views.reason
                    continue
                if not frame.take(views[0].fit, book, settings):
                    continue
        last, misses, blind = frame, 0, False
        guess = frame.fit.parameters if frame.fit is not None else None
    return stretch


def _turned(parameters: Array, moved: Array | None) -> Array:
    """A camera turned and zoomed as the picture moved, to first order; as it is where that is not known."""
    if moved is None:
        return parameters
    turned = parameters.copy()
    focal = np.exp(parameters[_FOCAL])
    turned[_PAN] -= np.rad2deg(moved[0] / focal / np.cos(np.deg2rad(parameters[_TILT])))
    turned[_TILT] += np.rad2deg(moved[1] / focal)
    turned[_FOCAL] += moved[2]
    return turned


def _track(frame: FilmFrame, guess: Array, book: RuleBook, prior: Prior, settings: RegistrationSettings) -> bool:
    half = frame.marks.only(np.arange(0, len(frame.marks), 2))  # type: ignore[arg-type]
    near = _loosened(prior, guess)
    fit = fit_camera(half, guess, book, frame.size_px, near, settings, widths_px=(8.0, 3.0), iterations=5)
    return frame.take(fit, book, settings)


def _loosened(prior: Prior, start: Array) -> Prior:
    """A prior about a neighbour's camera: its centre, lens and roll may change a little, the rest freely."""
    sigma = np.where(np.isfinite(prior.sigma), prior.sigma * 0.35, np.inf)
    mean = start.copy()
    sigma[_FOCAL], mean[_FOCAL] = prior.sigma[_FOCAL], prior.mean[_FOCAL]
    return Prior(mean, sigma)


def _belongs(frames: Sequence[FilmFrame], shared: Prior, book: RuleBook, settings: RegistrationSettings) -> bool:
    """Whether a stretch's frames are explained by the film's shared camera nearly as well as by their own."""
    fitted = [f for f in frames if f.fit is not None]
    if not fitted:
        return True
    own, joint = [], []
    for frame in fitted[:: max(1, len(fitted) // 5)][:5]:
        assert frame.fit is not None
        if frame.pins is not None:
            continue
        fit = refit(frame.marks, frame.fit.parameters, book, frame.size_px, shared, settings)
        own.append(_miss(frame.fit))
        joint.append(_miss(fit))
    return not joint or float(np.median(joint)) < 1.6 * float(np.median(own)) + 0.4


def _miss(fit: Fit) -> float:
    """Robust size of a fit's residuals in pixels of a picture 640 wide."""
    bounded = np.minimum(np.abs(np.where(np.isfinite(fit.residual_px), fit.residual_px, 6.0)), 6.0)
    return float(np.sqrt(np.mean(bounded**2)))


def _second_pass(
    frames: Sequence[FilmFrame], links: Links, book: RuleBook, prior: Prior, settings: RegistrationSettings
) -> None:
    """Fit every frame that shows markings about the shared camera, from where the first pass says it looks."""
    if not any(f.fit is not None for f in frames):
        return
    rough = _smoothed(frames, links, prior, settings)
    for frame, start, covariance in zip(frames, rough.parameters, rough.covariance, strict=True):
        if frame.pins is not None:
            frame.take(fit_pins(frame.pins, frame.size_px, book, settings, prior), book, settings)
            continue
        if not frame.shows(settings):
            continue
        had = frame.fit is not None
        if not had and covariance[_PAN, _PAN] > settings.farthest_start_deg**2:
            if frame.reason == NOT_LOOKED_AT:
                frame.reason = "No frame near this one has a camera to start from."
            continue
        if frame.take(refit(frame.marks, start, book, frame.size_px, prior, settings), book, settings) or not had:
            continue
        looser = Prior(prior.mean, prior.sigma * 3)
        if not frame.take(refit(frame.marks, start, book, frame.size_px, looser, settings), book, settings):
            # The shared camera does not explain this frame although it had a camera of its own: trust neither.
            frame.reason = "The frame's camera stands apart from the film's. " + frame.reason


def _smoothed(frames: Sequence[FilmFrame], links: Links, prior: Prior, settings: RegistrationSettings) -> Smoothed:
    """Smooth a stretch from the fits its frames have."""
    times = np.array([f.t_s for f in frames])
    fits = [(i, f.fit) for i, f in enumerate(frames) if f.fit is not None]
    known = np.array([i for i, _ in fits])
    values = np.stack([fit.parameters for _, fit in fits])
    informed = np.isfinite(prior.sigma)
    mean = np.stack([np.interp(times, times[known], column) for column in values.T], axis=1)
    mean[:, informed] = prior.mean[informed]
    mean[known] = values
    precision = np.diag(np.where(informed, 1 / np.where(informed, prior.sigma, 1.0) ** 2, 0.0))
    information = np.repeat(precision[None], len(frames), axis=0)
    own = np.zeros_like(information)
    for i, fit in fits:
        information[i] += fit.information
        if frames[i].pins is None:
            own[i] = fit.information
    return smooth(times, mean, information, own, links, settings)


def _settle(
    frames: Sequence[FilmFrame], links: Links, book: RuleBook, prior: Prior, settings: RegistrationSettings
) -> None:
    """Decide every frame of a stretch from the smoothed cameras."""
    if not any(f.fit is not None for f in frames):
        return
    found = _smoothed(frames, links, prior, settings)
    for frame, parameters, covariance, trust in zip(
        frames, found.parameters, found.covariance, found.trust, strict=True
    ):
        if frame.pins is not None:
            continue
        if frame.shows(settings):
            fit = fit_as_it_stands(frame.marks, parameters, book, frame.size_px, settings)
            better = frame.fit is None or _miss(fit) < 1.15 * _miss(frame.fit) + 0.1
            if better:
                old, old_judged = frame.fit, frame.judged
                if not frame.take(fit, book, settings) and old is not None:
                    frame.fit, frame.judged = old, old_judged
            if frame.fit is not None and (better or trust >= _DISTRUSTED):
                continue
            frame.fit = frame.judged = None
        sigma_ft = floor_sigma_ft(parameters, covariance, frame.size_px)
        if sigma_ft <= settings.most_carried_ft:
            frame.carried, frame.carried_sigma_ft = parameters, sigma_ft
        else:
            frame.reason += f" Cameras of the frames around it leave {min(sigma_ft, 99):.1f} ft of doubt."


def _weigh_against_all(frame: FilmFrame, book: RuleBook, settings: RegistrationSettings) -> None:
    """Measure the quality of a camera that the court's edge gave by all that its frame shows."""
    if frame.whole is None or frame.fit is None or frame.judged is None or frame.pins is not None:
        return
    whole = fit_as_it_stands(frame.whole.marks, frame.fit.parameters, book, frame.size_px, settings)
    frame.judged = replace(frame.judged, quality=judge(whole, book, frame.size_px, frame.whole.areas).quality)


def floor_sigma_ft(parameters: Array, covariance: Array, size_px: tuple[int, int]) -> float:
    """Spread of floor points over a picture, feet: the median over a grid of cells that show floor; infinite if none.

    Parameters
    ----------
    parameters : ndarray of shape (9,)
    covariance : ndarray of shape (9, 9)
    size_px : tuple of int
    """
    used = len(PARAMETERS) - 1  # the painted circle moves no floor
    steps = np.array([1e-2, 1e-2, 1e-2, 1e-3, 1e-3, 1e-3, 1e-4, 0.0])
    rows = np.repeat(parameters[None, :], used + 1, axis=0)
    rows[np.arange(1, used), np.arange(used - 1)] += steps[: used - 1]
    floor = floor_of_grid(rows[:, :used], 8, 5, size_px[1] / size_px[0]).reshape(used + 1, -1, 2)
    shown = np.isfinite(floor).all(axis=(0, 2)) & (np.hypot(*floor[0].T) < 400)
    if not shown.any():
        return float("inf")
    slopes = (floor[1:used, shown] - floor[0, shown]) / steps[: used - 1, None, None]
    small = covariance[: used - 1, : used - 1]
    variance = np.einsum("ipc,ij,jpc->p", slopes, small, slopes)
    return float(np.sqrt(max(np.median(variance), 0.0)))


def _row(frame: FilmFrame, book_name: str, missing: NoCourt | None = None) -> Mapping[str, Any]:
    place: dict[str, Any] = {"frame": frame.frame, "t_s": frame.t_s, "shot": frame.shot, "size_px": frame.size_px}
    if frame.judged is not None and missing is None:
        found = frame.judged
        return camera_to_row(
            found.camera,
            status="registered",
            rule_book=book_name,
            residual_px=found.residual_px,
            residual_ft=found.residual_ft,
            quality=found.quality,
            **place,
        )
    if frame.carried is not None:
        camera = camera_of(frame.carried, frame.size_px)
        sigma_ft = frame.carried_sigma_ft
        quality = 0.6 / (1 + (sigma_ft / 0.5) ** 2)
        return camera_to_row(
            camera, status="carried", rule_book=book_name, residual_ft=sigma_ft, quality=quality, **place
        )
    return camera_to_row(missing or NoCourt(frame.reason), rule_book=book_name, **place)
