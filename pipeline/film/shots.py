"""Where one shot ends and the next begins.

Cuts come from PySceneDetect's adaptive detector, fed with this room's own frames. Two gradual
transitions are found beside it, on a grid of cells a few pixels wide:

- a **wipe**, also one whose graphic covers the whole picture for a moment: every cell changes
  abruptly, first and last at times that form a smooth surface over the picture (a moving front),
  and that spread over a good part of a second. In a pan all cells change all the time; in a cut all
  change at once.
- a **dissolve** (also a fade): the pictures between are blends of the one before and the one after,
  with a weight that rises steadily. In a pan or a wipe they are no blends.

:class:`ShotFinder` takes frames one by one, so that a film is decoded only once for all purposes,
and keeps two seconds of small pictures.

The twin comparison of a gradual transition with its surroundings goes back to Zhang, Kankanhalli &
Smoliar, "Automatic partitioning of full-motion video", Multimedia Systems 1 (1993); the surface of
change times is this project's own.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

import cv2
import numpy as np
from scenedetect import FrameTimecode
from scenedetect.detectors import AdaptiveDetector

from pipeline.errors import ShapeError
from pipeline.film.settings import ShotSettings

GRID_PX = (64, 36)
"""Cells across and down in which gradual transitions are judged."""

COARSE_GRID_PX = (16, 9)
"""Cells across and down in which fronts and blends are followed: what moves inside a shot changes them little."""

LOOK_BINS = 4
"""Levels per colour channel in the histogram of a transition's graphic."""

FRONT_SLACK_S = 0.1
"""Times of change closer than this belong to one front."""

COUNTING_RATE = Fraction(25)
"""PySceneDetect's time codes want a rate; frames are only counted with it, times come from the film."""


@dataclass(frozen=True, slots=True, eq=False)  # arrays have no plain ==
class Boundary:
    """Where a shot begins.

    Attributes
    ----------
    frame : int
        First frame of the new shot (for a gradual transition, the first after its middle).
    t_s : float
        Its presentation time.
    kind : str
        One of :data:`~pipeline.film.tables.TRANSITIONS`.
    from_s, to_s : float
        First and last time at which the transition is on screen; both ``t_s`` for a cut.
    look : ndarray of shape (64,), float32
        Colours of the transition's graphic that belong to neither shot, a histogram of sum 1 over
        4 x 4 x 4 levels of blue, green, red; zeros when it has none. Read-only.
    """

    frame: int
    t_s: float
    kind: str
    from_s: float
    to_s: float
    look: np.ndarray = field(default_factory=lambda: _read_only(np.zeros(LOOK_BINS**3, dtype=np.float32)))


@dataclass(frozen=True, slots=True, eq=False)
class FoundShots:
    """What the shot finder saw.

    Attributes
    ----------
    boundaries : tuple of Boundary
        In order; the first is the film's start.
    frames : ndarray of shape (N,), int64
        Indices of all frames fed.
    times_s : ndarray of shape (N,), float64
        Their presentation times.
    change : ndarray of shape (N,), float32
        Mean absolute difference to the frame before, grey levels; 0 for the first.
    end_s : float
        Where the last shot ends.
    """

    boundaries: tuple[Boundary, ...]
    frames: np.ndarray
    times_s: np.ndarray
    change: np.ndarray
    end_s: float


@dataclass(frozen=True, slots=True, eq=False)
class _Gradual:
    kind: str
    from_s: float
    to_s: float
    quality: float
    look: np.ndarray


@dataclass(frozen=True, slots=True, eq=False)
class _Small:
    frame: int
    t_s: float
    cells: np.ndarray  # (36, 64, 3) float32
    coarse: np.ndarray  # (9, 16, 3) float32
    detail: float


@dataclass(frozen=True, slots=True, eq=False)
class ShotSigns:
    """What a :class:`ShotFinder` saw in a stretch of film; the stretches of a film together tell its shots.

    Attributes
    ----------
    frames : ndarray of shape (N,), int64
    times_s : ndarray of shape (N,), float64
    change : ndarray of shape (N,), float32
        As in :class:`FoundShots`.
    cuts : tuple of int
        First frames of new shots after a cut.
    gradual : tuple
        Findings of gradual transitions, several for each.
    """

    frames: np.ndarray
    times_s: np.ndarray
    change: np.ndarray
    cuts: tuple[int, ...]
    gradual: tuple[_Gradual, ...]

    def arrays(self) -> dict[str, np.ndarray]:
        """The signs as plain arrays, for a file; :meth:`of_arrays` is the way back."""
        return {
            "frames": self.frames,
            "times_s": self.times_s,
            "change": self.change,
            "cuts": np.array(self.cuts, dtype=np.int64),
            "gradual_kind": np.array([found.kind for found in self.gradual], dtype=np.str_),
            "gradual": np.array([(g.from_s, g.to_s, g.quality) for g in self.gradual]).reshape(-1, 3),
            "gradual_look": np.array([g.look for g in self.gradual], dtype=np.float32).reshape(-1, LOOK_BINS**3),
        }

    @classmethod
    def of_arrays(cls, arrays: Mapping[str, np.ndarray]) -> ShotSigns:
        """The signs that :meth:`arrays` gave."""
        rows = zip(arrays["gradual_kind"].tolist(), arrays["gradual"].tolist(), arrays["gradual_look"], strict=True)
        return cls(
            arrays["frames"],
            arrays["times_s"],
            arrays["change"],
            tuple(arrays["cuts"].tolist()),
            tuple(_Gradual(kind, from_s, to_s, good, _read_only(look)) for kind, (from_s, to_s, good), look in rows),
        )


def tested_frames(times_s: np.ndarray, settings: ShotSettings) -> np.ndarray:
    """At which frames of a film, given all their times, gradual transitions are looked for: (N,) bool."""
    tested, last_s = np.zeros(len(times_s), dtype=bool), -np.inf
    for frame, t_s in enumerate(times_s.tolist()):
        if t_s - last_s >= settings.gradual_step_s:
            tested[frame], last_s = True, t_s
    return tested


def needed_before_s(settings: ShotSettings) -> float:
    """How long before a stretch the finder must have been fed, to see in it what it sees in the whole film."""
    return settings.memory_s + 0.5


def needed_after_s(settings: ShotSettings) -> float:
    """How long after its end."""
    return settings.cut_look_s + 0.6


class ShotFinder:
    """Finds shot boundaries while frames pass by.

    Parameters
    ----------
    settings : ShotSettings
    tested : ndarray of shape (N,), bool, optional
        From :func:`tested_frames`: at which of the film's frames gradual transitions are looked for. Without it the
        finder looks now and then from its first frame on, so that must be the film's.
    """

    def __init__(self, settings: ShotSettings | None = None, tested: np.ndarray | None = None) -> None:
        self._settings = settings or ShotSettings()
        self._detector = AdaptiveDetector(
            adaptive_threshold=self._settings.cut_ratio,
            min_scene_len=1,
            window_width=self._settings.cut_window_frames,
            min_content_val=self._settings.cut_change,
        )
        self._frames: list[int] = []
        self._times_s: list[float] = []
        self._change: list[float] = []
        self._cuts: list[int] = []
        self._waiting: deque[int] = deque()
        self._gradual: list[tuple[float, _Gradual]] = []
        self._recent: deque[_Small] = deque()
        self._tested, self._tested_s = tested, -np.inf

    def feed(self, frame: int, t_s: float, small_bgr: np.ndarray) -> None:
        """Take the next frame.

        Parameters
        ----------
        frame : int
            Its index, larger than the last one's.
        t_s : float
            Its presentation time, later than the last one's.
        small_bgr : ndarray of shape (H, W, 3), uint8
            The picture, about ``settings.width_px`` wide; all of one size.
        """
        if small_bgr.ndim != 3 or small_bgr.shape[2] != 3:
            raise ShapeError(f"small_bgr must be (H, W, 3), got {small_bgr.shape}; pass the colour picture.")
        if self._times_s and t_s <= self._times_s[-1]:
            raise ValueError(f"frames must come in order of time, got {t_s} s after {self._times_s[-1]} s.")
        number = len(self._times_s)
        cells = cv2.resize(small_bgr, GRID_PX, interpolation=cv2.INTER_AREA).astype(np.float32)
        self._frames.append(frame)
        self._times_s.append(t_s)
        self._change.append(float(np.abs(cells - self._recent[-1].cells).mean()) if self._recent else 0.0)
        coarse = cv2.resize(cells, COARSE_GRID_PX, interpolation=cv2.INTER_AREA)
        self._recent.append(_Small(frame, t_s, cells, coarse, _detail(cells)))
        while t_s - self._recent[0].t_s > self._settings.memory_s:
            self._recent.popleft()
        for cut in self._detector.process_frame(FrameTimecode(number, COUNTING_RATE), small_bgr):
            self._waiting.append(cut.frame_num)
        while self._waiting and t_s - self._times_s[self._waiting[0]] >= self._settings.cut_look_s:
            self._settle_cut()
        if self._is_tested(frame, t_s):
            self._test_gradual()

    def _is_tested(self, frame: int, t_s: float) -> bool:
        if self._tested is not None:
            return bool(self._tested[frame])
        due = t_s - self._tested_s >= self._settings.gradual_step_s
        self._tested_s = t_s if due else self._tested_s
        return due

    def finish(self, end_s: float | None = None) -> FoundShots:
        """All boundaries, once every frame was fed.

        Parameters
        ----------
        end_s : float, optional
            Where the film ends; one usual step after the last frame if not given.
        """
        return found_shots([self.signs()], self._settings, end_s)

    def signs(self, first: int = 0, stop: int | None = None) -> ShotSigns:
        """What was seen in the frames from ``first`` on, up to but not including ``stop``, once all were fed."""
        while self._waiting:
            self._settle_cut()
        return self.settled_signs(first, stop)

    def settled_signs(self, first: int, stop: int | None) -> ShotSigns:
        """The same while frames pass by, once those of :func:`needed_after_s` beyond ``stop`` were fed."""
        frames, times = np.asarray(self._frames, dtype=np.int64), np.asarray(self._times_s, dtype=np.float64)
        change = np.asarray(self._change, dtype=np.float32)
        begin, end = np.searchsorted(frames, [first, np.iinfo(np.int64).max if stop is None else stop])
        own = times[begin:end]
        from_s, to_s = (own[0], own[-1]) if len(own) else (np.inf, -np.inf)
        return ShotSigns(
            frames[begin:end],
            own,
            change[begin:end],
            tuple(self._frames[number] for number in self._cuts if begin <= number < end),
            tuple(found for tested_s, found in self._gradual if from_s <= tested_s <= to_s),
        )

    def _settle_cut(self) -> None:
        """Keep the oldest waiting cut if it holds against the pictures a moment before and after.

        A camera's flash comes back to what it was; a shot whose pictures are repeated or that shakes jumps
        again and again by as much; a key picture of a poor encoding changes every pixel a little.
        """
        number = self._waiting.popleft()
        t_s = self._times_s[number]
        before = [s.coarse for s in self._recent if t_s - self._settings.cut_look_s <= s.t_s < t_s]
        after = [s.coarse for s in self._recent if t_s <= s.t_s <= t_s + self._settings.cut_look_s]
        if len(before) < 2 or len(after) < 2:
            self._cuts.append(number)
            return
        jump = _apart(before[-1], after[0])
        drift = max(_apart(before[0], before[-1]), _apart(after[0], after[-1]))
        back = _apart(before[-1], after[-1])
        settled = jump >= max(self._settings.cut_jump, self._settings.cut_over_drift * drift)
        if settled and back >= self._settings.flash_return * jump:
            self._cuts.append(number)

    def _test_gradual(self) -> None:
        for length_s in self._settings.gradual_lengths_s:
            window = _thinned(self._recent, length_s, self._settings.gradual_sample_s)
            if window is None:
                continue
            coarse = np.stack([small.coarse for small in window])
            found = _wipe(window, coarse, self._settings) or _dissolve(window, coarse, self._settings)
            if found is not None:
                self._gradual.append((self._times_s[-1], found))


def found_shots(
    signs: Sequence[ShotSigns], settings: ShotSettings | None = None, end_s: float | None = None
) -> FoundShots:
    """All boundaries of a film from the signs of its stretches.

    Parameters
    ----------
    signs : sequence of ShotSigns
        In order of time, no frame in two of them.
    settings : ShotSettings, optional
    end_s : float, optional
        Where the film ends; one usual step after the last frame if not given.
    """
    settings = settings or ShotSettings()
    times = np.concatenate([np.zeros(0), *(part.times_s for part in signs)])
    frames = np.concatenate([np.zeros(0, np.int64), *(part.frames for part in signs)])
    if end_s is None:
        step = float(np.median(np.diff(times))) if len(times) > 1 else 0.0
        end_s = float(times[-1]) + step if len(times) else 0.0
    cuts = times[np.searchsorted(frames, [cut for part in signs for cut in part.cuts])]
    gradual = [found for part in signs for found in part.gradual]
    return FoundShots(
        boundaries=_boundaries(frames, times, cuts, gradual, end_s, settings),
        frames=_read_only(frames),
        times_s=_read_only(times),
        change=_read_only(np.concatenate([np.zeros(0, np.float32), *(part.change for part in signs)])),
        end_s=end_s,
    )


def _boundaries(
    frames: np.ndarray,
    times: np.ndarray,
    cuts_s: np.ndarray,
    gradual: list[_Gradual],
    end_s: float,
    settings: ShotSettings,
) -> tuple[Boundary, ...]:
    if not len(times):
        return ()
    events: list[tuple[float, str, float, float, np.ndarray]] = []
    for best in _merged(gradual, settings):
        events.append(((best.from_s + best.to_s) / 2, best.kind, best.from_s, best.to_s, best.look))
    none = _read_only(np.zeros(LOOK_BINS**3, dtype=np.float32))
    near = settings.absorb_s
    for t_s in cuts_s.tolist():
        if any(kind != "cut" and a - near <= t_s <= b + near for _, kind, a, b, _ in events):
            continue
        events.append((t_s, "cut", t_s, t_s, none))
    boundaries = [Boundary(int(frames[0]), float(times[0]), "start", float(times[0]), float(times[0]))]
    for t_s, kind, from_s, to_s, look in sorted(events, key=lambda e: e[0]):
        place = int(np.searchsorted(times, t_s - 1e-9))
        if place >= len(times) or end_s - times[place] < settings.shortest_shot_s:
            continue
        if times[place] - boundaries[-1].t_s < settings.shortest_shot_s:
            continue
        boundaries.append(Boundary(int(frames[place]), float(times[place]), kind, from_s, to_s, look))
    return tuple(boundaries)


def find_shots(
    frames: Iterable[tuple[int, float, np.ndarray]], settings: ShotSettings | None = None
) -> tuple[Boundary, ...]:
    """Boundaries of all shots in a run of frames.

    Parameters
    ----------
    frames : iterable of (index, time in seconds, small BGR picture)
    settings : ShotSettings, optional

    Returns
    -------
    tuple of Boundary
        In order, the first of kind ``start``; empty for no frames.
    """
    finder = ShotFinder(settings)
    for frame, t_s, small in frames:
        finder.feed(frame, t_s, small)
    return finder.finish().boundaries


def looks_alike(one: np.ndarray, other: np.ndarray) -> float:
    """How alike the graphics of two transitions are: overlap of their colour histograms, 0…1.

    0 when either has no graphic of its own.
    """
    return float(np.minimum(one, other).sum())


def _read_only(array: np.ndarray) -> np.ndarray:
    array.setflags(write=False)
    return array


def _apart(one: np.ndarray, other: np.ndarray) -> float:
    return float(np.abs(one - other).mean())


def _thinned(recent: deque[_Small], length_s: float, sample_s: float) -> list[_Small] | None:
    """The last ``length_s`` of pictures, no two nearer than ``sample_s``; None if there are too few."""
    newest = recent[-1]
    if newest.t_s - recent[0].t_s < length_s - 1e-6:
        return None
    picked = [newest]
    for small in reversed(recent):
        if newest.t_s - small.t_s > length_s + 1e-6:
            break
        if picked[-1].t_s - small.t_s >= sample_s - 1e-6:
            picked.append(small)
    return picked[::-1] if len(picked) >= 6 else None


def _surface_basis() -> np.ndarray:
    """Quadratic polynomials over the wipe's cells, (cells, 6)."""
    y, x = np.mgrid[-1 : 1 : COARSE_GRID_PX[1] * 1j, -1 : 1 : COARSE_GRID_PX[0] * 1j]
    return np.stack([np.ones_like(x), x, y, x * x, y * y, x * y], axis=-1).reshape(-1, 6)


SURFACE = _surface_basis()


def _surface_fit(values: np.ndarray, used: np.ndarray) -> tuple[float, float]:
    """How well a quadratic surface explains values at the used cells, and how far the surface spreads.

    Returns
    -------
    share : float
        Explained share of the variance (R²), after leaving out the worst tenth once.
    spread : float
        5th to 95th percentile of the surface.
    """
    basis, target = SURFACE[used], values[used]
    for keep_share in (0.9, 1.0):
        coefficients, *_ = np.linalg.lstsq(basis, target, rcond=None)
        fitted = basis @ coefficients
        miss = np.abs(target - fitted)
        if keep_share < 1:
            kept = miss <= np.quantile(miss, keep_share)
            basis, target = basis[kept], target[kept]
    variance = float(((target - target.mean()) ** 2).sum())
    share = 1 - float(((target - fitted) ** 2).sum()) / variance if variance > 0 else 0.0
    low, high = np.percentile(fitted, [5, 95])
    return share, float(high - low)


def _wipe(window: list[_Small], coarse: np.ndarray, settings: ShotSettings) -> _Gradual | None:
    """A wipe that lies wholly inside the window, or None; ``coarse`` are the window's coarse pictures (N, 9, 16, 3)."""
    apart = np.abs(coarse[1:] - coarse[:-1])
    steps = np.maximum(np.maximum(apart[..., 0], apart[..., 1]), apart[..., 2]).reshape(len(apart), -1)
    peak = steps.max(axis=0)
    active = peak >= settings.wipe_change
    if active.mean() < settings.wipe_cover:
        return None
    calm = max((steps[0] >= settings.wipe_change).mean(), (steps[-1] >= settings.wipe_change).mean())
    if calm > settings.wipe_calm:
        return None
    strong = steps >= 0.5 * peak
    if np.median(strong[:, active].sum(axis=0)) > settings.wipe_steps:
        return None
    times = np.array([s.t_s for s in window])
    middles = (times[1:] + times[:-1]) / 2
    first = middles[np.argmax(strong, axis=0)]
    last = middles[len(middles) - 1 - np.argmax(strong[::-1], axis=0)]
    fits = [_surface_fit(moments, active) for moments in (first, last)]
    if min(spread for _, spread in fits) < settings.wipe_spread_s:
        return None
    worse, better = sorted(share for share, _ in fits)
    if worse < settings.wipe_order_other:
        worse = _two_fronts(first[active], last[active])
    clean = calm <= settings.wipe_clean_calm and active.mean() >= settings.wipe_clean_cover
    if clean and better >= settings.wipe_clean_order:  # one front tells enough: what moves behind it blurs the other
        worse = max(worse, settings.wipe_clean_order)
    elif better < settings.wipe_order or worse < settings.wipe_order_other:
        return None
    quality = float((worse + better) / 2 * active.mean())
    if quality < settings.wipe_quality:
        return None
    from_s, to_s = float(np.percentile(first[active], 3)), float(np.percentile(last[active], 97))
    if to_s - from_s > settings.longest_gradual_s:
        return None
    middle = window[int(np.argmin(np.abs(times - (from_s + to_s) / 2)))]
    look = _look(window[0].cells, middle.cells, window[-1].cells, settings)
    return _Gradual("wipe", from_s, to_s, quality, look)


def _two_fronts(first: np.ndarray, last: np.ndarray) -> float:
    """How well a graphic that covers and then uncovers the picture explains the times of first and last change.

    A cell changes at both fronts, a fixed time apart; where one of the changes is slight, only the other counts.

    Returns
    -------
    float
        Share of the cells whose last change is the first one or that much later; 0 if no such time stands out.
    """
    lag = last - first
    late = lag > FRONT_SLACK_S
    if late.mean() < 0.15:
        return 0.0
    apart = float(np.median(lag[late]))
    with_it = np.abs(lag[late] - apart) <= FRONT_SLACK_S
    return float((~late).mean() + with_it.mean() * late.mean()) if with_it.mean() >= 0.75 else 0.0


def _dissolve(window: list[_Small], coarse: np.ndarray, settings: ShotSettings) -> _Gradual | None:
    """A dissolve or fade that fills most of the window, or None; ``coarse`` as in :func:`_wipe`."""
    before = window[0].coarse
    way = window[-1].coarse - before
    if float(np.abs(way).mean()) < settings.dissolve_change:
        return None
    times = np.array([s.t_s for s in window])
    norm = float((way * way).sum())
    inner = coarse[1:-1] - before
    weight = np.einsum("kijc,ijc->k", inner, way) / norm
    between = (weight > 0.15) & (weight < 0.85)
    if between.sum() < 3 or (np.diff(weight) < -0.04).any():
        return None
    if np.diff(np.concatenate([[0], weight, [1]])).max() > 0.45:
        return None
    residual = ((inner[between] - weight[between, None, None, None] * way) ** 2).sum(axis=(1, 2, 3)) / norm
    # Two pictures laid over each other lose contrast; a picture that moves keeps it.
    detail = np.array([s.detail for s in window])
    contrast = float(detail[1:-1][between].min()) / max(1e-6, float(detail[0] + detail[-1]) / 2)
    if float(residual.max()) > settings.dissolve_residual or contrast > settings.dissolve_contrast:
        return None
    inner_times = times[1:-1]
    from_s = float(np.interp(0.05, np.maximum.accumulate(weight), inner_times))
    to_s = float(np.interp(0.95, np.maximum.accumulate(weight), inner_times))
    quality = (1 - float(residual.max())) * (1 - contrast / 2)
    return _Gradual("dissolve", from_s, to_s, quality, _read_only(np.zeros(LOOK_BINS**3, dtype=np.float32)))


def _detail(cells: np.ndarray) -> float:
    """Mean squared difference between neighbouring cells."""
    return float((np.diff(cells, axis=0) ** 2).mean() + (np.diff(cells, axis=1) ** 2).mean())


def _look(before: np.ndarray, middle: np.ndarray, after: np.ndarray, settings: ShotSettings) -> np.ndarray:
    """Histogram of the colours in the middle of a transition that neither shot has at that place."""
    new = (np.abs(middle - before).max(axis=2) > settings.wipe_change) & (
        np.abs(middle - after).max(axis=2) > settings.wipe_change
    )
    histogram = np.zeros(LOOK_BINS**3, dtype=np.float32)
    if new.mean() < 0.03:
        return _read_only(histogram)
    levels = np.clip(middle[new] * LOOK_BINS / 256, 0, LOOK_BINS - 1).astype(int)
    np.add.at(histogram, levels[:, 0] * LOOK_BINS**2 + levels[:, 1] * LOOK_BINS + levels[:, 2], 1)
    return _read_only(histogram / histogram.sum())


def _merged(found: list[_Gradual], settings: ShotSettings) -> list[_Gradual]:
    """One transition for each group of findings that overlap or all but touch; wipes before dissolves.

    A graphic that covers the picture and then uncovers it is found as two fronts, or as one, or as
    both; a group spans its best finding and those before and after it that are nearly as good.
    """
    chosen: list[_Gradual] = []
    for kind in ("wipe", "dissolve"):
        groups: list[list[_Gradual]] = []
        for candidate in sorted((g for g in found if g.kind == kind), key=lambda g: g.from_s):
            if groups and candidate.from_s <= max(g.to_s for g in groups[-1]) + settings.merge_s:
                groups[-1].append(candidate)
            else:
                groups.append([candidate])
        for group in groups:
            # Motion beside a front makes it look longer, so of two good findings the shorter one counts.
            best = max(group, key=lambda g: g.quality - settings.length_cost * (g.to_s - g.from_s))
            parts = [best]
            for other in group:
                common = min(other.to_s, best.to_s) - max(other.from_s, best.from_s)
                if (
                    other.quality >= settings.merge_quality * best.quality
                    and -settings.merge_s <= common <= 0.3 * (other.to_s - other.from_s)
                    and other.to_s - other.from_s <= 1.5 * (best.to_s - best.from_s)
                ):
                    parts.append(other)
            from_s, to_s = min(g.from_s for g in parts), max(g.to_s for g in parts)
            look = max((g.look for g in parts), key=lambda look: float(look.sum()))
            if all(to_s + settings.merge_s <= c.from_s or from_s - settings.merge_s >= c.to_s for c in chosen):
                chosen.append(_Gradual(kind, from_s, to_s, best.quality, look))
    return sorted(chosen, key=lambda g: g.from_s)
