"""Find the camera of every frame of a film, and of lone pictures.

A film is registered in four steps:

1. A few frames spread over the film vote on the rule book.
2. Each frame is fitted by itself, starting from its neighbour's camera, else from the bank of views.
3. The optical centre, the lens and the roll are shared: each frame's own estimate enters with its information after
   its pan, tilt and zoom are marginalised out (Schur complement; one step of a bundle adjustment, Triggs et al. 2000,
   "Bundle adjustment: a modern synthesis", section 6), frames far from the others are left out.
4. Every frame is fitted again with that as prior; pan, tilt, roll and zoom are smoothed in time as far as the
   operator's acceleration allows; short gaps are carried; the rest is unknown, with the reason.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray
from scipy.linalg import solveh_banded

from pipeline.court.camera import NoCourt, camera_to_row
from pipeline.court.fitting import PARAMETERS, Fit, MarkSet, Prior, camera_of, default_prior, fit_camera
from pipeline.court.marks import marks_by_frame
from pipeline.court.rule_books import RULE_BOOKS, RuleBook, rule_book
from pipeline.court.settings import RegistrationSettings
from pipeline.court.single_view import (
    CourtFit,
    checked,
    find_camera,
    find_view,
    fit_polygons,
    judge,
    polygon_map,
    polygon_marks,
    register_picture,
)
from pipeline.court.tables import AREAS, CAMERAS, MARKS
from pipeline.court.view_bank import MAP_SIZE

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

_SHARED = tuple(PARAMETERS.index(n) for n in ("centre_x", "centre_y", "centre_z", "roll", "k1", "circle_radius"))
_OWN = tuple(PARAMETERS.index(n) for n in ("pan", "tilt", "log_focal"))
_SMOOTHED = tuple(PARAMETERS.index(n) for n in ("pan", "tilt", "roll", "log_focal"))
_ROLL = PARAMETERS.index("roll")
_NO_MARKS = MarkSet(np.zeros((0, 2)), np.zeros((0, 2)), np.zeros(0, dtype=np.intp), np.zeros(0))


@dataclass(slots=True, eq=False)
class _Frame:
    """One analysed frame while the film is being registered."""

    frame: int
    t_s: float
    shot: int
    size_px: tuple[int, int]
    marks: MarkSet
    seen: NDArray[np.uint8]
    fit: Fit | None = None
    judged: CourtFit | None = None
    reason: str = "The frame was not looked at."
    carried: Array | None = None

    def take(self, fit: Fit, book: RuleBook, settings: RegistrationSettings) -> bool:
        """Keep a fit if it passes its own check; else its reason. Returns whether it passed."""
        judged = judge(fit, book, self.size_px, self.seen)
        verdict = checked(judged, settings)
        if isinstance(verdict, NoCourt):
            self.fit, self.judged, self.reason = None, None, verdict.reason
            return False
        self.fit, self.judged, self.reason = fit, judged, ""
        return True


def register(marks: pa.Table, areas: pa.Table, settings: RegistrationSettings | None = None) -> pa.Table:
    """Find a camera for every analysed frame of a film.

    Parameters
    ----------
    marks : pa.Table
        ``marks`` table: points on the floor's markings.
    areas : pa.Table
        ``areas`` table: one row per analysed frame, in any order; frames without a row are not registered.
    settings : RegistrationSettings

    Returns
    -------
    pa.Table
        ``cameras`` table, one row per row of ``areas``, in the order of time.
    """
    chosen = settings or RegistrationSettings()
    frames = _frames(MARKS.check(marks), AREAS.check(areas))
    if not frames:
        return CAMERAS.empty()
    book = rule_book(chosen.rule_book) if chosen.rule_book else _vote(frames, chosen)
    if book is None:
        reason = "No frame of the film shows enough of a floor to tell its rule book."
        return CAMERAS.from_rows([_row(f, "", NoCourt(f.reason or reason)) for f in frames])
    shots: dict[int, list[_Frame]] = {}
    for frame in frames:
        shots.setdefault(frame.shot, []).append(frame)
    prior = default_prior(book, chosen)
    for shot in shots.values():
        _first_pass(shot, book, prior, chosen)
    shared = _shared_prior(frames, prior, chosen)
    for shot in shots.values():
        own = shared if shared is not None and _belongs(shot, shared, book, chosen) else None
        own = own or _shared_prior(shot, prior, chosen)
        if own is not None:
            _second_pass(shot, book, own, chosen)
            _smooth(shot, book, own, chosen)
            _carry(shot, chosen)
    return CAMERAS.from_rows([_row(f, book.name) for f in frames])


def recognise_rule_book(marks: pa.Table, areas: pa.Table, settings: RegistrationSettings | None = None) -> str | None:
    """Name of the rule book most frames of a film agree on, or None where no frame shows enough floor."""
    book = _vote(_frames(MARKS.check(marks), AREAS.check(areas)), settings or RegistrationSettings())
    return None if book is None else book.name


def _frames(marks: pa.Table, areas: pa.Table) -> list[_Frame]:
    by_frame = marks_by_frame(marks)
    columns, rows = MAP_SIZE
    frames = [
        _Frame(
            row["frame"],
            row["t_s"],
            row["shot"],
            (row["width_px"], row["height_px"]),
            by_frame.get(row["frame"], _NO_MARKS),
            np.frombuffer(row["labels"], dtype=np.uint8).reshape(rows, columns),
        )
        for row in areas.to_pylist()
    ]
    return sorted(frames, key=lambda f: (f.t_s, f.frame))


def _telling(frame: _Frame) -> float:
    """How much a frame can tell about the rule book: marks of arcs and paints."""
    useful = np.isin(frame.marks.border, (1, 2))
    return float(min(frame.marks.weight[useful].sum(), 60)) if len(frame.marks) else 0.0


def _vote(frames: list[_Frame], settings: RegistrationSettings) -> RuleBook | None:
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


def _first_pass(shot: list[_Frame], book: RuleBook, prior: Prior, settings: RegistrationSettings) -> None:
    """Fit every frame of a shot by itself, from its neighbour's camera where there is one."""
    lone = settings.model_copy(update={"rule_book": book.name})
    last: _Frame | None = None
    misses = 0
    for frame in shot:
        if len(frame.marks) < settings.least_marks:
            frame.reason = (
                f"Only {len(frame.marks)} points of floor markings are seen, {settings.least_marks} are needed."
            )
            continue
        if last is not None and last.fit is not None and frame.t_s - last.t_s <= settings.tracking_gap_s:
            start = last.fit.parameters
            near = _loosened(prior, start)
            half = frame.marks.only(np.arange(0, len(frame.marks), 2))  # type: ignore[arg-type]
            fit = fit_camera(half, start, book, frame.size_px, near, settings, widths_px=(8.0, 3.0), iterations=5)
            if frame.take(fit, book, settings):
                last, misses = frame, 0
                continue
        misses += 1
        if misses > 3 and misses % 5:  # a long stretch without a court: look afresh at every fifth frame only
            continue
        views = find_view(frame.marks, frame.seen, frame.size_px, lone)
        if isinstance(views, NoCourt):
            frame.reason = views.reason
        elif frame.take(views[0].fit, book, settings):
            last, misses = frame, 0


def _loosened(prior: Prior, start: Array) -> Prior:
    """A prior about a neighbour's camera: its centre, lens and roll may change a little, the rest freely."""
    sigma = np.where(np.isfinite(prior.sigma), prior.sigma * 0.35, np.inf)
    mean = start.copy()
    log_focal = PARAMETERS.index("log_focal")
    sigma[log_focal], mean[log_focal] = prior.sigma[log_focal], prior.mean[log_focal]
    return Prior(mean, sigma)


def _shared_prior(frames: list[_Frame], prior: Prior, settings: RegistrationSettings) -> Prior | None:
    """Centre, lens, roll and circle that the frames agree on, with the play they are allowed; None without fits."""
    fits = [f.fit for f in frames if f.fit is not None]
    if not fits:
        return None
    if len(fits) > 400:
        fits = fits[:: len(fits) // 400 + 1]
    shared, own = np.array(_SHARED), np.array(_OWN)
    informed = np.isfinite(prior.sigma[shared])
    base = np.diag(np.where(informed, 1 / prior.sigma[shared] ** 2, 0.0))
    start = base @ np.where(informed, prior.mean[shared], 0.0)
    values = np.stack([f.parameters[shared] for f in fits])
    weights = []
    for fit in fits:
        full = fit.information + np.eye(len(PARAMETERS)) * 1e-9
        cross = full[np.ix_(shared, own)]
        reduced = full[np.ix_(shared, shared)] - cross @ np.linalg.solve(full[np.ix_(own, own)], cross.T)
        # The centre strays by its play from frame to frame, so one frame never counts for more than that.
        play = np.diag(_play(settings)[shared] ** 2)
        weights.append(np.linalg.inv(np.linalg.pinv(_positive(reduced), hermitian=True) + play))
    keep = np.ones(len(fits), dtype=bool)
    centre = np.median(values, axis=0)
    for _ in range(4):
        total = base + sum(w for w, k in zip(weights, keep, strict=True) if k)
        right = start + sum(w @ v for w, v, k in zip(weights, values, keep, strict=True) if k)
        centre = np.linalg.solve(total, right)
        away = np.array([(v - centre) @ w @ (v - centre) for w, v in zip(weights, values, strict=True)])
        limit = max(12.0, 4 * float(np.median(away)))
        if (keep == (away < limit)).all():
            break
        keep = away < limit
        if not keep.any():
            keep = away <= np.median(away)
    mean, sigma = prior.mean.copy(), prior.sigma.copy()
    mean[shared] = centre
    sigma[shared] = np.sqrt(_play(settings)[shared] ** 2 + np.minimum(np.diag(np.linalg.inv(total)), 25.0))
    return Prior(mean, sigma)


def _positive(matrix: Array) -> Array:
    """The nearest symmetric matrix whose eigenvalues are at least a trifle."""
    values, vectors = np.linalg.eigh((matrix + matrix.T) / 2)
    return (vectors * np.maximum(values, 1e-6)) @ vectors.T


def _play(settings: RegistrationSettings) -> Array:
    """How far each parameter strays within a film, (9,); infinite for pan, tilt and zoom."""
    play = np.full(len(PARAMETERS), np.inf)
    for name in ("centre_x", "centre_y", "centre_z"):
        play[PARAMETERS.index(name)] = settings.centre_play_ft
    play[_ROLL] = settings.roll_play_deg
    play[PARAMETERS.index("k1")] = settings.lens_play
    play[PARAMETERS.index("circle_radius")] = 0.1
    return play


def _belongs(shot: list[_Frame], shared: Prior, book: RuleBook, settings: RegistrationSettings) -> bool:
    """Whether the shot's frames are explained by the film's shared camera nearly as well as by their own."""
    fitted = [f for f in shot if f.fit is not None]
    if not fitted:
        return True
    own, joint = [], []
    for frame in fitted[:: max(1, len(fitted) // 5)][:5]:
        assert frame.fit is not None
        fit = _refit(frame, frame.fit.parameters, book, shared, settings)
        own.append(_miss(frame.fit))
        joint.append(_miss(fit))
    return float(np.median(joint)) < 1.6 * float(np.median(own)) + 0.4


def _miss(fit: Fit) -> float:
    """Robust size of a fit's residuals in pixels of a picture 640 wide."""
    bounded = np.minimum(np.abs(np.where(np.isfinite(fit.residual_px), fit.residual_px, 6.0)), 6.0)
    return float(np.sqrt(np.mean(bounded**2)))


def _refit(frame: _Frame, start: Array, book: RuleBook, prior: Prior, settings: RegistrationSettings) -> Fit:
    begin = start.copy()
    shared = np.array(_SHARED)
    begin[shared] = prior.mean[shared]
    return fit_camera(frame.marks, begin, book, frame.size_px, prior, settings, widths_px=(10.0, 3.0), iterations=6)


def _second_pass(shot: list[_Frame], book: RuleBook, prior: Prior, settings: RegistrationSettings) -> None:
    """Fit every frame again about the shared camera, starting from itself or from the nearest frame that has a fit."""
    starts = [(f.t_s, f.fit.parameters) for f in shot if f.fit is not None]
    if not starts:
        return
    times = np.array([t for t, _ in starts])
    for frame in shot:
        if len(frame.marks) < settings.least_marks:
            continue
        nearest = int(np.argmin(np.abs(times - frame.t_s)))
        if frame.fit is None and abs(times[nearest] - frame.t_s) > 4 * settings.tracking_gap_s:
            continue
        had = frame.fit is not None
        start = frame.fit.parameters if frame.fit is not None else starts[nearest][1]
        if frame.take(_refit(frame, start, book, prior, settings), book, settings) or not had:
            continue
        looser = Prior(prior.mean, prior.sigma * 3)
        if not frame.take(_refit(frame, start, book, looser, settings), book, settings):
            # The shared camera does not explain this frame although it has a camera of its own: trust neither.
            frame.reason = "The frame's camera stands apart from the film's. " + frame.reason


def _smooth(shot: list[_Frame], book: RuleBook, prior: Prior, settings: RegistrationSettings) -> None:
    """Smooth pan, tilt, roll and zoom over each unbroken stretch (Whittaker-Henderson with unequal steps).

    Minimises the misses, weighted by each frame's information, plus the squared second differences over the
    acceleration's variance; the shared parameters are held at the film's.
    """
    fitted = [f for f in shot if f.fit is not None]
    stretches: list[list[_Frame]] = []
    for frame in fitted:
        if stretches and frame.t_s - stretches[-1][-1].t_s <= settings.tracking_gap_s:
            stretches[-1].append(frame)
        else:
            stretches.append([frame])
    for stretch in stretches:
        if len(stretch) < 3:
            continue
        times = np.array([f.t_s for f in stretch])
        values = np.stack([f.fit.parameters for f in stretch if f.fit is not None])
        smooth = values.copy()
        for index in _SMOOTHED:
            variance = np.array([_variance(f.fit, prior, index) for f in stretch if f.fit is not None])
            acceleration = (
                settings.zoom_acceleration_s2
                if PARAMETERS[index] == "log_focal"
                else settings.pan_acceleration_deg_s2 * (0.1 if index == _ROLL else 1.0)
            )
            smooth[:, index] = _whittaker(times, values[:, index], variance, acceleration)
        for frame, parameters in zip(stretch, smooth, strict=True):
            assert frame.fit is not None
            held = replace(prior, mean=parameters, sigma=np.full(len(PARAMETERS), 1e-6))
            fit = fit_camera(
                frame.marks, parameters, book, frame.size_px, held, settings, widths_px=(3.0,), iterations=0
            )
            if _miss(fit) < 1.15 * _miss(frame.fit) + 0.1:
                frame.take(fit, book, settings)


def _variance(fit: Fit, prior: Prior, index: int) -> float:
    """Variance of one parameter of a fit with its prior."""
    informed = np.isfinite(prior.sigma)
    full = fit.information + np.diag(np.where(informed, 1 / np.where(informed, prior.sigma, 1.0) ** 2, 0.0))
    return float(max(np.linalg.inv(full + np.eye(len(full)) * 1e-9)[index, index], 1e-10))


def _whittaker(times_s: Array, values: Array, variance: Array, acceleration: float) -> Array:
    """Values (N,) smoothed so that their second derivative stays about ``acceleration``."""
    count = len(values)
    banded = np.zeros((3, count))
    banded[2] = 1 / variance
    steps = np.maximum(np.diff(times_s), 1e-4)
    for i in range(1, count - 1):
        a, b = steps[i - 1], steps[i]
        mean = (a + b) / 2
        row = np.array([1 / (a * mean), -(1 / a + 1 / b) / mean, 1 / (b * mean)])
        # White acceleration over a step has variance acceleration² / 2 about its mean.
        outer = np.outer(row, row) / acceleration**2
        for j in range(3):
            for k in range(j, 3):
                banded[2 - (k - j), i - 1 + k] += outer[j, k]
    return np.asarray(solveh_banded(banded, values / variance), dtype=np.float64)


def _carry(shot: list[_Frame], settings: RegistrationSettings) -> None:
    """Interpolate cameras over short gaps between registered frames of a shot."""
    known = [i for i, f in enumerate(shot) if f.fit is not None]
    for left, right in pairwise(known):
        span = shot[right].t_s - shot[left].t_s
        if right - left < 2 or span > settings.longest_carry_s:
            continue
        first, second = shot[left].fit, shot[right].fit
        assert first is not None
        assert second is not None
        for frame in shot[left + 1 : right]:
            share = (frame.t_s - shot[left].t_s) / span
            frame.carried = (1 - share) * first.parameters + share * second.parameters


def _row(frame: _Frame, book_name: str, missing: NoCourt | None = None) -> Mapping[str, object]:
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
        return camera_to_row(camera, status="carried", rule_book=book_name, quality=0.3, **place)
    return camera_to_row(missing or NoCourt(frame.reason), rule_book=book_name, **place)
