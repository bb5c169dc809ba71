"""The game's clock at every frame, from readings of the score graphic.

A game clock runs at one second a second or stands still, and is set anew at the start of a period; nothing else. Of all
readings the likeliest chain that obeys this is kept (dynamic programming over pairs of readings, as in Bellman,
"Dynamic Programming", 1957): a misreading is left out because the readings after it do not follow from it. Jumps cost,
those to the start of a period less than others. A display shows whole seconds (or tenths) gone down: the clock is
between what it shows and one step more, and what it shows changes just when the clock passes the step. Where neither
reading nor both neighbours tell the time it stays unknown.

Clocks that count up are found out and treated alike (common practice in some competitions, no source).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.film.bug_words import clock_of, count_of, loose_period_of
from pipeline.film.settings import ClockSettings
from pipeline.film.tables import BUG_READINGS, CLOCK, FRAMES

PERIOD_LENGTHS_S = (300.0, 480.0, 600.0, 720.0, 1200.0)
"""Overtime; quarters of high schools, FIBA and NBA; halves of colleges (rule books of 2024)."""

SETTLING_S = 40.0
"""A clock this near to a period's length has just been set."""

LONGEST_EXCURSION_S = 60.0
"""An earlier time of the game is shown at most this long."""

LEAST_RUN_S = 2.0
"""In less than this a clock is not seen to run."""

TICK_S = 1.6
"""Two changes of the seconds farther apart than this have a stop between them."""


@dataclass(frozen=True, slots=True, eq=False)
class Readings:
    """Readings of one field in order of time.

    Attributes
    ----------
    t_s, value, score : ndarray of shape (N,)
        When, what, how sure.
    step : ndarray of shape (N,)
        What the display counts in: 1 second or 0.1.
    """

    t_s: np.ndarray
    value: np.ndarray
    score: np.ndarray
    step: np.ndarray

    def at(self, kept: np.ndarray) -> Readings:
        """Some of them."""
        return Readings(self.t_s[kept], self.value[kept], self.score[kept], self.step[kept])


@dataclass(frozen=True, slots=True, eq=False)
class _Chain:
    """Readings that follow from each other; ``jump[i]`` says that reading i does not follow from i - 1."""

    readings: Readings
    jump: np.ndarray
    worth: float


def fit_clock(readings: pa.Table, frames: pa.Table, settings: ClockSettings | None = None) -> pa.Table:
    """The game's clock at every analysed frame.

    Parameters
    ----------
    readings : pa.Table
        :data:`~pipeline.film.tables.BUG_READINGS`.
    frames : pa.Table
        :data:`~pipeline.film.tables.FRAMES`.
    settings : ClockSettings, optional

    Returns
    -------
    pa.Table
        :data:`~pipeline.film.tables.CLOCK`, a row a frame; all ``hidden`` when nothing was read.
    """
    settings = settings or ClockSettings()
    readings = BUG_READINGS.check(readings).sort_by("t_s")
    frames = FRAMES.check(frames).sort_by("frame")
    times = frames["t_s"].to_numpy()
    looks = np.unique(readings["t_s"].to_numpy())
    clock = readings_of(readings, "clock", clock_of, settings)
    chain, sign = game_chain(clock, settings)
    value, running, known = _along(chain, times, sign, settings)
    read = _is_read(chain.readings.t_s, looks, times, settings.reach_s)
    status = np.where(known, np.where(read, "read", "carried"), "hidden")
    period = _periods(readings, chain, times, settings)
    shot = _shot_clock(readings, times, settings)
    return CLOCK.from_columns(
        {
            "frame": frames["frame"].to_numpy(),
            "t_s": times,
            "period": [int(p) if ok and p > 0 else None for p, ok in zip(period, known, strict=True)],
            "game_clock_s": [float(v) if ok else None for v, ok in zip(value, known, strict=True)],
            "shot_clock_s": [float(v) if np.isfinite(v) else None for v in shot],
            "running": [bool(r) if ok else None for r, ok in zip(running, known, strict=True)],
            "status": status.tolist(),
        }
    )


def game_times(clock: pa.Table, times_s: np.ndarray, *, reach_s: float = 1.0) -> tuple[np.ndarray, np.ndarray]:
    """The game's time at moments of the film, such as the ``t_s`` of any table's rows.

    Parameters
    ----------
    clock : pa.Table
        :data:`~pipeline.film.tables.CLOCK`, in order of time.
    times_s : ndarray of shape (N,)
        Seconds from the start of the film.
    reach_s : float
        A moment farther than this from every frame with a known clock has no game time.

    Returns
    -------
    period : ndarray of shape (N,), int64
        0 where unknown.
    clock_s : ndarray of shape (N,)
        NaN where unknown.
    """
    clock = CLOCK.check(clock)
    known = clock.filter(pc.is_valid(clock["game_clock_s"]))
    times_s = np.asarray(times_s, dtype=np.float64)
    if not known.num_rows:
        return np.zeros(len(times_s), dtype=np.int64), np.full(len(times_s), np.nan)
    at = known["t_s"].to_numpy()
    after = np.clip(np.searchsorted(at, times_s), 0, len(at) - 1)
    before = np.maximum(after - 1, 0)
    nearest = np.where(np.abs(times_s - at[before]) <= np.abs(at[after] - times_s), before, after)
    near = np.abs(times_s - at[nearest]) <= reach_s
    period = pc.fill_null(known["period"], 0).to_numpy().astype(np.int64)[nearest]
    value = known["game_clock_s"].to_numpy().astype(np.float64)[nearest]
    return np.where(near, period, 0), np.where(near, value, np.nan)


@dataclass(frozen=True, slots=True, eq=False)
class ClockSigns:
    """What the score graphic's readings say of shots.

    Attributes
    ----------
    shown : ndarray of shape (N,)
        Median share of the graphic that is there, 0..1; NaN where nobody looked.
    runs : ndarray of shape (N,), bool
        The game clock runs through most of the shot.
    disagrees : ndarray of shape (N,), bool
        A clock is there through most of the shot, but not the one that the readings round it follow.
    """

    shown: np.ndarray
    runs: np.ndarray
    disagrees: np.ndarray


def clock_signs(
    readings: pa.Table, spans_s: Sequence[tuple[float, float]], settings: ClockSettings | None = None
) -> ClockSigns:
    """What readings of the score graphic say of stretches of time.

    Parameters
    ----------
    readings : pa.Table
        :data:`~pipeline.film.tables.BUG_READINGS`.
    spans_s : sequence of (from, to)
        Stretches, seconds.
    """
    settings = settings or ClockSettings()
    readings = BUG_READINGS.check(readings).sort_by("t_s")
    looks = readings.filter(pc.equal(readings["field"], "bug"))
    look_s, share = looks["t_s"].to_numpy(), looks["score"].to_numpy().astype(np.float64)
    clock = readings_of(readings, "clock", clock_of, settings)
    own = game_chain(clock, settings)[0].readings
    shown = np.full(len(spans_s), np.nan)
    runs, disagrees = np.zeros(len(spans_s), dtype=bool), np.zeros(len(spans_s), dtype=bool)
    for k, (from_s, to_s) in enumerate(spans_s):
        looked = (look_s >= from_s) & (look_s <= to_s)
        if not looked.any():
            continue
        shown[k] = float(np.median(share[looked]))
        inside = (own.t_s >= from_s) & (own.t_s <= to_s)
        any_clock = ((clock.t_s >= from_s) & (clock.t_s <= to_s)).sum()
        count = int(looked.sum())
        disagrees[k] = count >= 4 and any_clock >= 0.6 * count and inside.sum() <= 0.2 * any_clock
        if inside.sum() >= max(4, 0.5 * count):
            length = float(np.ptp(own.t_s[inside]))
            runs[k] = length >= LEAST_RUN_S and float(np.ptp(own.value[inside])) >= 0.6 * length
    return ClockSigns(shown, runs, disagrees)


def readings_of(
    readings: pa.Table, field: str, reads: Callable[[str], float | None], settings: ClockSettings
) -> Readings:
    """The readings of a field that make sense and are sure enough."""
    rows = [
        (t, reads(text), score, 0.1 if "." in text.lstrip(".") and ":" not in text else 1.0)
        for t, name, text, score in zip(
            *(readings[n].to_pylist() for n in ("t_s", "field", "text", "score")), strict=True
        )
        if name == field and text and score >= settings.least_score
    ]
    kept = [(t, v, s, q) for t, v, s, q in rows if v is not None]
    data = np.array(kept, dtype=np.float64).reshape(-1, 4)
    return Readings(*data.T)


def longest_chain(readings: Readings, settings: ClockSettings, *, sign: float, set_anew: float | None = None) -> _Chain:
    """The chain of readings of the greatest score that one clock can have shown.

    Parameters
    ----------
    readings : Readings
    settings : ClockSettings
    sign : -1 or 1
        A clock that counts down or up.
    set_anew : float, optional
        Cost of being set against its direction, for clocks that are set at any time; the costs of settings without it.
    """
    t, v, w, q = readings.t_s, readings.value, readings.score, readings.step
    count = len(t)
    best, came = np.zeros(count), np.full(count, -1)
    top = np.full(count + 1, -1)  # best end of a chain before each reading
    for k in range(count):
        best[k] = w[k]
        first = max(0, k - settings.memory)
        if k:
            gone = t[k] - t[first:k]
            moved = sign * (v[k] - v[first:k])
            slack = settings.slack_s + np.maximum(q[k], q[first:k]) - 0.1
            follows = (moved >= -0.05 - (np.maximum(q[k], q[first:k]) - np.minimum(q[k], q[first:k]))) & (
                moved <= gone + slack
            )
            gain = best[first:k] - np.where(follows, 0.0, _jump_cost(v[first:k], v[k], moved, sign, set_anew, settings))
            j = int(np.argmax(gain))
            far = top[first] if first else -1
            if far >= 0 and best[far] - settings.jump_cost > gain[j]:
                if best[far] - settings.jump_cost > 0:
                    best[k], came[k] = w[k] + best[far] - settings.jump_cost, far
            elif gain[j] > 0:
                best[k], came[k] = w[k] + gain[j], first + j
        top[k + 1] = k if top[k] < 0 or best[k] > best[top[k]] else top[k]
    kept: list[int] = []
    k = int(top[count]) if count else -1
    worth = float(best[k]) if k >= 0 else 0.0
    while k >= 0:
        kept.append(k)
        k = int(came[k])
    own = readings.at(np.array(kept[::-1], dtype=np.int64))
    return _Chain(own, _jumps(own, sign, settings), worth)


def game_chain(readings: Readings, settings: ClockSettings) -> tuple[_Chain, float]:
    """The chain of a game clock and its direction, -1 down or 1 up, without what replays show of an earlier time.

    Where the clock jumps back to an earlier time of the game and then goes on from where it was, the stretch between
    is no time of the game.
    """
    down, up = (longest_chain(readings, settings, sign=s) for s in (-1.0, 1.0))
    chain, sign = (up, 1.0) if up.worth > 1.05 * down.worth else (down, -1.0)
    own, jump = chain.readings, chain.jump
    kept = np.ones(len(own.t_s), dtype=bool)
    starts = [0, *np.flatnonzero(jump).tolist(), len(jump)]
    k = 1
    while k < len(starts) - 1:
        last = starts[k] - 1
        back = sign * (own.value[starts[k]] - own.value[last]) < 0
        on = next(
            (
                j
                for j in range(k + 1, len(starts) - 1)
                if own.t_s[starts[j]] - own.t_s[last] <= LONGEST_EXCURSION_S
                and not _jumps(own.at(np.array([last, starts[j]])), sign, settings)[1]
            ),
            None,
        )
        if back and on is not None:
            kept[starts[k] : starts[on]] = False
            k = on
        k += 1
    own = own.at(np.flatnonzero(kept))
    return _Chain(own, _jumps(own, sign, settings), chain.worth), sign


def _jumps(own: Readings, sign: float, settings: ClockSettings) -> np.ndarray:
    """Which readings do not follow from the one before, (N,) bool."""
    jump = np.zeros(len(own.t_s), dtype=bool)
    if len(jump) > 1:
        moved = sign * np.diff(own.value)
        coarse = np.maximum(own.step[1:], own.step[:-1])
        finer = np.minimum(own.step[1:], own.step[:-1])
        jump[1:] = (moved < -0.05 - (coarse - finer)) | (moved > np.diff(own.t_s) + settings.slack_s + coarse)
    return jump


def _jump_cost(
    before: np.ndarray,
    after: float,
    moved: np.ndarray,
    sign: float,
    set_anew: float | None,
    settings: ClockSettings,
) -> np.ndarray:
    """Cost of a step that no running clock makes."""
    if set_anew is not None:
        return np.where(moved < 0, set_anew, settings.jump_cost)
    if sign < 0:
        just_set = any(0 <= length - after <= SETTLING_S for length in PERIOD_LENGTHS_S)
        begins = (moved < 0) & just_set & (before < 0.5 * after)
    else:
        begins = (moved < 0) & (after <= SETTLING_S) & (before > 2 * after)
    return np.where(begins, settings.period_cost, settings.jump_cost)


def _along(
    chain: _Chain, times: np.ndarray, sign: float, settings: ClockSettings
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Clock, whether it runs, and whether it is known, at some times.

    Between two readings that follow from each other the clock passes a step of the display where the display changed.
    """
    r = chain.readings
    value, running, known = np.zeros(len(times)), np.zeros(len(times), bool), np.zeros(len(times), bool)
    if not len(r.t_s):
        return value, running, known
    bounds = np.concatenate([np.flatnonzero(chain.jump), [len(r.t_s)]])
    first = 0
    for stop in bounds:
        if stop > first:
            _section(r.at(np.arange(first, stop)), times, sign, settings, value, running, known)
        first = stop
    return value, running, known


def _section(
    r: Readings,
    times: np.ndarray,
    sign: float,
    settings: ClockSettings,
    value: np.ndarray,
    running: np.ndarray,
    known: np.ndarray,
) -> None:
    """As :func:`_along` for readings without a jump; fills the frames that they tell."""
    # Shown value s: the clock c has s <= c < s + step. Counting down it enters from above, counting up from below.
    ticks = np.flatnonzero(np.diff(r.value) != 0)
    tick_t = (r.t_s[ticks] + r.t_s[ticks + 1]) / 2
    tick_c = r.value[ticks] if sign < 0 else r.value[ticks + 1]
    more = np.abs(r.value[ticks + 1] - r.value[ticks]) - r.step[ticks]
    tick_c = tick_c + sign * np.maximum(more, 0) / 2 * (1.0 if sign < 0 else -1.0)
    reach = settings.reach_s
    mine = np.flatnonzero((times >= r.t_s[0] - reach) & (times <= r.t_s[-1] + reach))
    if not len(mine):
        return
    t = times[mine]
    after = np.clip(np.searchsorted(r.t_s, t), 0, len(r.t_s) - 1)
    before = np.clip(np.searchsorted(r.t_s, t, side="right") - 1, 0, len(r.t_s) - 1)
    gap = r.t_s[after] - r.t_s[before]
    moved = np.abs(r.value[after] - r.value[before])
    near = np.minimum(np.abs(t - r.t_s[before]), np.abs(r.t_s[after] - t))
    told = (near <= reach) | (gap <= settings.carry_s)
    if len(tick_t):
        guess = np.interp(t, tick_t, tick_c)
        guess += sign * np.where(t < tick_t[0], np.maximum(t - tick_t[0], -1), 0)
        guess += sign * np.where(t > tick_t[-1], np.minimum(t - tick_t[-1], 1), 0)
        next_tick = np.searchsorted(tick_t, t)
        since = t - tick_t[np.clip(next_tick - 1, 0, len(tick_t) - 1)]
        until = tick_t[np.clip(next_tick, 0, len(tick_t) - 1)] - t
        since = np.where(next_tick == 0, np.inf, since)
        until = np.where(next_tick == len(tick_t), np.inf, until)
        runs = (since + until <= TICK_S) | (since <= TICK_S / 2) | (until <= TICK_S / 2)
        runs = np.where(gap > TICK_S, moved >= 0.5 * gap, runs)
    else:
        guess, runs = np.full(len(t), r.value[0] + r.step[0] / 2), np.zeros(len(t), bool)
    early, late = (r.value[before], r.value[after])
    low = np.minimum(early, late)
    high = np.maximum(early + r.step[before], late + r.step[after]) - 0.01
    better = told & (~known[mine] | (near <= reach / 2))
    value[mine[better]] = np.clip(guess, low, high)[better]
    running[mine[better]] = runs[better]
    known[mine[better]] = True


def _is_read(kept_s: np.ndarray, looks_s: np.ndarray, times: np.ndarray, reach_s: float) -> np.ndarray:
    """Whether the look at the graphic nearest to each time gave a reading that was kept."""
    if not len(looks_s) or not len(kept_s):
        return np.zeros(len(times), dtype=bool)
    after = np.clip(np.searchsorted(looks_s, times), 0, len(looks_s) - 1)
    before = np.maximum(after - 1, 0)
    nearest = np.where(np.abs(times - looks_s[before]) <= np.abs(looks_s[after] - times), before, after)
    return np.isin(looks_s[nearest], kept_s) & (np.abs(times - looks_s[nearest]) <= reach_s)


def _periods(readings: pa.Table, chain: _Chain, times: np.ndarray, settings: ClockSettings) -> np.ndarray:
    """Period at some times, 0 where unknown: the one read most in each stretch without a jump, else its neighbour's."""
    r = chain.readings
    if not len(r.t_s):
        return np.zeros(len(times), dtype=np.int64)
    words = readings_of(readings, "period", loose_period_of, settings)
    starts = np.concatenate([[0], np.flatnonzero(chain.jump)])
    place = np.searchsorted(r.t_s[starts], words.t_s, side="right") - 1
    words_read = np.isin(words.t_s, r.t_s)  # seen together with the clock
    found = np.zeros(len(starts), dtype=np.int64)
    for k in range(len(starts)):
        own = words.value[(place == k) & words_read].astype(np.int64)
        if len(own):
            found[k] = np.bincount(own).argmax()
    begins = np.array([k > 0 and r.value[starts[k]] > r.value[starts[k] - 1] + SETTLING_S for k in range(len(starts))])
    for k in range(1, len(starts)):
        if not found[k] and found[k - 1]:
            found[k] = found[k - 1] + begins[k]
    for k in range(len(starts) - 2, -1, -1):
        if not found[k] and found[k + 1]:
            found[k] = max(found[k + 1] - begins[k + 1], 1)
    middle = (r.t_s[starts[1:]] + r.t_s[starts[1:] - 1]) / 2
    return found[np.searchsorted(middle, times, side="right")]


def _shot_clock(readings: pa.Table, times: np.ndarray, settings: ClockSettings) -> np.ndarray:
    """Shot clock at some times, NaN where it is unknown or off.

    As shown by the nearest reading; between two readings that follow from each other it goes on running.
    """
    shot = readings_of(readings, "shot_clock", count_of, settings)
    chain = longest_chain(shot, settings, sign=-1.0, set_anew=0.5)
    r = chain.readings
    if not len(r.t_s):
        return np.full(len(times), np.nan)
    after = np.clip(np.searchsorted(r.t_s, times), 0, len(r.t_s) - 1)
    before = np.maximum(after - 1, 0)
    since, until = times - r.t_s[before], r.t_s[after] - times
    nearest = np.where(np.abs(since) <= np.abs(until), before, after)
    value = np.where(np.minimum(np.abs(since), np.abs(until)) <= settings.reach_s, r.value[nearest], np.nan)
    within = (after > before) & (until > 0) & ~chain.jump[after] & (since + until <= settings.carry_s)
    runs = np.clip(r.value[before] - since, r.value[after], r.value[before])
    return np.where(within, runs, value)
