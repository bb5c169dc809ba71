"""What a film's chain would have made of play whose truth is known: places, names, teams and the ball with its errors.

Comes in: one possession's true paths (:class:`Play`). Goes out: the same as the chain would tell it (:class:`Told`),
without a picture having been made, so that whole seasons can be rehearsed.

The numbers were measured on seven simulated films of drills (seeds 61 to 67, 525 s of live play at 15 analysed frames a
second, 760 paths of players, 159 minutes of bodies): the chain's tables against the truth, bodies paired by least
distance within 6 ft, players in the picture only.

==============================================  ==========================  =======================================
measured                                        there                       here (190 possessions of drill 21)
==============================================  ==========================  =======================================
distance of a player's place, median / p95      0.38 / 1.15 ft              0.37 / 1.24 ft
(thirteen films, as the README has it)          0.41 / 1.37 ft
along / away from the camera, spread (MAD)      0.25 / 0.41 ft              0.24 / 0.39 ft
correlation of the error after 0.33, 0.53,      0.81, 0.63, 0.3, 0.2        a share that stays all through, and a
1.3, 2.7 s                                                                  smooth one that forgets: within 0.09
error of the velocity, spread (MAD)             0.43 / 0.58 ft/s            0.40 / 0.65 ft/s
filled in (not observed), and how much worse    3.4 %, 2.1 times            3.3 %
players found                                   99.1 %                      99.2 %
length of what is lost, median / mean           0.33 / 0.62 s               the same
two bodies' names exchanged for over 0.5 s      1.1 changes a body minute   about 0.8
team right                                      98.9 %                      99.2 %
officials found, of those who walk about        66 %                        69 %
ball's place known, held / free                 99.8 / 95.3 %               the same
ball's distance from the truth, held / free     1.1 / 1.4 ft                at the holder; ``ball_free_ft``
ball seen itself / height known                 68 / 83 %                   the same
holder right (README, thirteen films)           89.7 %                      89.9 %
passes found / told that were none              84 % / 11 of 98             85 % / 5 %
catch told early, release late                  0.08, 0.05 s                the same
==============================================  ==========================  =======================================

Not modelled: bodies outside the picture (3.6 % of places), people beside the floor taken for players, wrong cuts
between shots, whole possessions missed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np
from scipy.signal import lfilter

NOBODY = -1
OFFICIAL = -1
"""Team of an official."""


@dataclass(frozen=True, slots=True)
class SeenError:
    """Sizes of the errors, see the table above. Rates are by the minute of one body unless said otherwise."""

    along_ft: float = 0.252
    away_ft: float = 0.407
    stays: float = 0.2  # share of the variance that stays all through a possession
    forgets_s: float = 0.34
    uneven: float = 0.48  # spread of the logarithm of a body's error, half of it slow in time
    velocity_share: float = 0.68
    filled_share: float = 0.034
    filled_worse: float = 2.1
    sure_ft: float = 0.30  # least uncertainty that is told
    losses_per_min: float = 0.85
    loss_s: float = 0.33
    loss_spread: float = 1.12
    broken_from_s: float = 1.0  # who comes back after so long has a new name
    swaps_per_min: float = 0.30
    swap_back: float = 0.5
    swap_back_s: float = 1.0
    swap_reach_ft: float = 4.0
    swap_across: float = 0.25  # how readily bodies of two teams are exchanged, against two of one
    officials_seen: float = 0.66
    ball_gap_held: float = 0.002
    ball_gap_free: float = 0.047
    ball_free_ft: float = 1.2
    ball_uneven: float = 0.8
    ball_seen: float = 0.68
    height_known: float = 0.83
    height_ft: float = 0.33
    hold_given_away: float = 0.18  # of holds that follow a pass
    strays_per_min: float = 2.0  # of play
    stray_s: float = 0.5
    unheld_share: float = 0.004
    catch_early_s: float = 0.08
    release_late_s: float = 0.05
    edge_spread_s: float = 0.10


@dataclass(frozen=True, slots=True)
class Touch:
    """A row of the touches: ``by`` and ``to`` are bodies (or, told, names); ``to`` is None where nobody gets it."""

    kind: str
    start_s: float
    end_s: float
    by: int | None
    to: int | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Play:
    """One possession as it was: T moments, N bodies.

    Attributes
    ----------
    t_s : (T,) ndarray
        Even steps.
    places_ft, velocities_ft_s : (T, N, 2) ndarray
        Court frame.
    teams : (N,) int ndarray
        0, 1, or ``OFFICIAL``.
    ball_ft : (T, 3) ndarray
    touches : tuple of Touch
        In order of time; ``by`` and ``to`` are columns.
    """

    t_s: np.ndarray
    places_ft: np.ndarray
    velocities_ft_s: np.ndarray
    teams: np.ndarray
    ball_ft: np.ndarray
    touches: tuple[Touch, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Told:
    """The same as the chain tells it; NaN or -1 where it says nothing.

    Attributes
    ----------
    places_ft, velocities_ft_s : (T, N, 2) ndarray
    sigma_ft : (T, N) ndarray
    observed : (T, N) bool ndarray
    names : (T, N) int ndarray
        The name under which a body goes at a moment, 0 ... M - 1.
    name_teams : (M,) int ndarray
    ball_ft : (T, 3) ndarray
    ball_observed : (T,) bool ndarray
    ball_score : (T,) ndarray
    holders : (T,) int ndarray
        Names.
    holding_bodies : (T,) int ndarray
        The bodies behind them.
    touches : tuple of Touch
        ``by`` and ``to`` are names.
    """

    places_ft: np.ndarray
    velocities_ft_s: np.ndarray
    sigma_ft: np.ndarray
    observed: np.ndarray
    names: np.ndarray
    name_teams: np.ndarray
    ball_ft: np.ndarray
    ball_observed: np.ndarray
    ball_score: np.ndarray
    holders: np.ndarray
    holding_bodies: np.ndarray
    touches: tuple[Touch, ...]


def told_of(play: Play, error: SeenError, rng: np.random.Generator) -> Told:
    """What the chain would tell of a possession."""
    step_s = float(np.median(np.diff(play.t_s))) if len(play.t_s) > 1 else 0.08
    shape = play.places_ft.shape[:2]
    filled = smooth(rng, shape, 0.1, step_s) > _above(error.filled_share)
    uneven = np.sqrt(0.5) * rng.standard_normal(shape[1]) + np.sqrt(0.5) * smooth(rng, shape, 1.0, step_s)
    scale = np.exp(error.uneven * uneven) * np.where(filled, error.filled_worse, 1.0)
    off = np.empty(play.places_ft.shape)
    for axis, spread in enumerate((error.along_ft, error.away_ft)):
        stays = np.sqrt(error.stays) * rng.standard_normal(shape[1])
        off[..., axis] = (
            spread * scale * (stays + np.sqrt(1 - error.stays) * smooth(rng, shape, error.forgets_s, step_s))
        )
    drift = np.gradient(off, step_s, axis=0) if shape[0] > 1 else np.zeros_like(off)
    lost, broken = _losses(play, error, rng, step_s)
    places = np.where(lost[..., None], np.nan, play.places_ft + off)
    velocities = np.where(lost[..., None], np.nan, play.velocities_ft_s + error.velocity_share * drift)
    names, name_teams = _names(play, broken, error, rng, step_s)
    touches = _touches(play, error, rng)
    bodies = _holding(play.t_s, touches)
    bodies[rng.random(len(bodies)) < error.unheld_share] = NOBODY
    bodies = np.where((bodies >= 0) & ~lost[np.arange(len(bodies)), bodies], bodies, NOBODY)
    ball, seen, score = _ball(play, places, bodies, error, rng, step_s)
    moments = np.arange(len(bodies))
    return Told(
        places,
        velocities,
        error.sure_ft + 0.04 * scale**2,
        ~filled,
        names,
        name_teams,
        ball,
        seen,
        score,
        np.where(bodies >= 0, names[moments, bodies], NOBODY),
        bodies,
        tuple(_named(touch, play.t_s, names) for touch in touches),
    )


def smooth(rng: np.random.Generator, shape: tuple[int, ...], forgets_s: float, step_s: float) -> np.ndarray:
    """Smooth noise of variance 1 along the first axis: the Matern process of order 3/2, whose correlation after t is
    (1 + t/tau) exp(-t/tau); a critically damped oscillator driven by white noise, sampled."""
    keeps = np.exp(-step_s / forgets_s)
    warm = int(6 * forgets_s / step_s) + 1
    white = rng.standard_normal((shape[0] + warm, *shape[1:])) * np.sqrt((1 - keeps**2) ** 3 / (1 + keeps**2))
    return np.asarray(lfilter([1.0], [1.0, -2 * keeps, keeps**2], white, axis=0)[warm:])


def _above(share: float) -> float:
    """The value that a standard normal exceeds with this probability."""
    return NormalDist().inv_cdf(1 - share)


def _losses(
    play: Play, error: SeenError, rng: np.random.Generator, step_s: float
) -> tuple[np.ndarray, list[tuple[int, int]]]:
    """Who is not found when, and (moment, body) of those who come back under another name."""
    count, bodies = play.places_ft.shape[:2]
    lost = np.zeros((count, bodies), dtype=bool)
    broken: list[tuple[int, int]] = []
    for body in range(bodies):
        if play.teams[body] == OFFICIAL:
            lost[:, body] = rng.random() >= error.officials_seen
            continue
        for _ in range(rng.poisson(error.losses_per_min * count * step_s / 60)):
            length = max(1, round(error.loss_s * np.exp(error.loss_spread * rng.standard_normal()) / step_s))
            begin = int(rng.integers(1 - length, count))
            end = begin + length
            lost[max(begin, 0) : max(end, 0), body] = True
            if length * step_s >= error.broken_from_s and begin > 0 and end < count:
                broken.append((end, body))
    return lost, broken


def _names(
    play: Play, broken: Sequence[tuple[int, int]], error: SeenError, rng: np.random.Generator, step_s: float
) -> tuple[np.ndarray, np.ndarray]:
    """The name of every body at every moment, and the team of every name: that of most of its moments."""
    count, bodies = play.places_ft.shape[:2]
    names = np.tile(np.arange(bodies), (count, 1))
    many = bodies
    for moment, body in sorted(broken):
        names[moment:, body] = many
        many += 1
    players = np.flatnonzero(play.teams != OFFICIAL)
    for _ in range(rng.poisson(error.swaps_per_min * len(players) * count * step_s / 60)):
        begin = int(rng.integers(count))
        pair = _close_pair(play, begin, players, error, rng)
        if pair is None:
            continue
        end = count
        if rng.random() < error.swap_back:
            end = begin + max(1, round(error.swap_back_s * np.exp(0.7 * rng.standard_normal()) / step_s))
        one, other = pair
        names[begin:end, [one, other]] = names[begin:end, [other, one]]
    teams = np.full(many, OFFICIAL)
    for name in range(many):
        own = np.broadcast_to(play.teams, names.shape)[names == name]
        teams[name] = np.bincount(own + 1, minlength=3).argmax() - 1 if len(own) else OFFICIAL
    return names, teams


def _close_pair(
    play: Play, moment: int, players: np.ndarray, error: SeenError, rng: np.random.Generator
) -> tuple[int, int] | None:
    """Two bodies near each other, more readily of one team."""
    here = play.places_ft[moment, players]
    one, other = np.triu_indices(len(players), 1)
    close = np.linalg.norm(here[one] - here[other], axis=1) < error.swap_reach_ft
    same = play.teams[players[one]] == play.teams[players[other]]
    weight = close * np.where(same, 1.0, error.swap_across)
    if not weight.sum():
        return None
    k = rng.choice(len(weight), p=weight / weight.sum())
    return int(players[one[k]]), int(players[other[k]])


def _touches(play: Play, error: SeenError, rng: np.random.Generator) -> list[Touch]:
    """The ball's story as it is told: holds given to others, passes missed with them, edges moved, strays."""
    whose = _given_away(play, error, rng)
    story: list[Touch] = []
    current = NOBODY
    for number, touch in enumerate(play.touches):
        if touch.kind == "hold":
            current = whose.get(number, touch.by if touch.by is not None else NOBODY)
            last = story[-1] if story else None
            if last is not None and last.kind == "hold" and last.by == current:
                story[-1] = replace(last, end_s=touch.end_s)
            else:
                story.append(replace(touch, by=current))
        elif touch.kind == "dribble":
            story.append(replace(touch, by=current))
        elif touch.kind in ("pass", "handoff"):
            to = next(
                (whose.get(k, t.by) for k, t in enumerate(play.touches) if k > number and t.kind == "hold"), touch.to
            )
            if to != current:
                story.append(replace(touch, by=current, to=to))
        else:
            story.append(replace(touch, by=current if touch.kind == "shot" and current >= 0 else touch.by))
    return _strayed(play, _edges_moved(story, error, rng), error, rng)


def _given_away(play: Play, error: SeenError, rng: np.random.Generator) -> dict[int, int]:
    """Holds after a pass that are told of somebody else: the passer, or the receiver's nearest teammate."""
    whose: dict[int, int] = {}
    before: Touch | None = None
    passed = False
    for number, touch in enumerate(play.touches):
        passed = passed or touch.kind in ("pass", "handoff")
        if touch.kind != "hold" or touch.by is None:
            continue
        if passed and before is not None and before.by is not None and rng.random() < error.hold_given_away:
            mate = _nearest(play, (touch.start_s + touch.end_s) / 2, touch.by, own_team=True)
            whose[number] = before.by if rng.random() < 0.5 or mate is None else mate
        before, passed = touch, False
    return whose


def _nearest(play: Play, t_s: float, body: int, *, own_team: bool) -> int | None:
    """The nearest other player, of the same team if asked."""
    k = min(int(np.searchsorted(play.t_s, t_s)), len(play.t_s) - 1)
    others = [
        n
        for n in range(len(play.teams))
        if n != body and play.teams[n] != OFFICIAL and (not own_team or play.teams[n] == play.teams[body])
    ]
    if not others:
        return None
    away = np.linalg.norm(play.places_ft[k, others] - play.places_ft[k, body], axis=1)
    return others[int(away.argmin())]


def _edges_moved(story: Sequence[Touch], error: SeenError, rng: np.random.Generator) -> list[Touch]:
    """Holds begin early and end late; what is between them follows."""
    moved = list(story)
    for k, touch in enumerate(story):
        early, late = error.edge_spread_s * rng.standard_normal(2) + (error.catch_early_s, error.release_late_s)
        if touch.kind != "hold":
            continue
        before, after = (moved[k - 1] if k else None), (story[k + 1] if k + 1 < len(story) else None)
        start_s, end_s = touch.start_s, touch.end_s
        if before is not None and before.kind in ("pass", "handoff"):
            start_s = float(np.clip(start_s - early, before.start_s + 0.04, end_s - 0.04))
            moved[k - 1] = replace(before, end_s=start_s)
        if after is not None and after.kind in ("pass", "handoff", "shot"):
            end_s = float(np.clip(end_s + late, start_s + 0.04, max(after.end_s - 0.04, start_s + 0.04)))
            moved[k + 1] = replace(after, start_s=end_s)
        moved[k] = replace(touch, start_s=start_s, end_s=end_s)
    return moved


def _strayed(play: Play, story: Sequence[Touch], error: SeenError, rng: np.random.Generator) -> list[Touch]:
    """Short holds of a bystander inside somebody's hold."""
    told: list[Touch] = []
    for touch in story:
        told.append(touch)
        length_s = touch.end_s - touch.start_s
        stray_s = float(error.stray_s * np.exp(0.5 * rng.standard_normal()))
        if touch.kind != "hold" or touch.by is None or stray_s > 0.7 * length_s:
            continue
        if rng.random() > error.strays_per_min * length_s / 60:
            continue
        begin_s = touch.start_s + float(rng.uniform(0.1, 0.9)) * (length_s - stray_s)
        end_s = begin_s + stray_s
        other = _nearest(play, begin_s, touch.by, own_team=False)
        if other is None:
            continue
        kind = "pass" if play.teams[other] == play.teams[touch.by] else "loose"
        told[-1] = replace(touch, end_s=begin_s)
        told += [
            Touch(kind, begin_s, begin_s + 0.04, touch.by, other if kind == "pass" else None),
            Touch("hold", begin_s + 0.04, end_s, other),
            Touch(kind, end_s, end_s + 0.04, other, touch.by if kind == "pass" else None),
            replace(touch, start_s=end_s + 0.04),
        ]
    return told


def _holding(t_s: np.ndarray, touches: Sequence[Touch]) -> np.ndarray:
    """The body that holds the ball at every moment."""
    holding = np.full(len(t_s), NOBODY)
    for touch in touches:
        if touch.kind == "hold" and touch.by is not None:
            holding[np.searchsorted(t_s, touch.start_s) : np.searchsorted(t_s, touch.end_s)] = touch.by
    return holding


def _ball(
    play: Play, places: np.ndarray, bodies: np.ndarray, error: SeenError, rng: np.random.Generator, step_s: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The ball's place as told, whether it was seen itself, and how sure."""
    count = len(play.t_s)
    held = bodies >= 0
    scale = error.ball_free_ft * np.exp(error.ball_uneven * smooth(rng, (count, 1), 0.5, step_s))
    ball = play.ball_ft.copy()
    ball[:, :2] += scale * smooth(rng, (count, 2), 0.3, step_s)
    ball[held, :2] = places[np.flatnonzero(held), bodies[held]]
    ball[:, 2] += error.height_ft * smooth(rng, (count,), 0.3, step_s)
    ball[smooth(rng, (count,), 0.5, step_s) > _above(1 - error.height_known), 2] = np.nan
    ball[rng.random(count) < np.where(held, error.ball_gap_held, error.ball_gap_free)] = np.nan
    seen = (smooth(rng, (count,), 0.2, step_s) < _above(1 - error.ball_seen)) & np.isfinite(ball[:, 0])
    score = np.where(seen, rng.beta(3.0, 3.0, count), rng.uniform(0.0, 0.15, count))
    return ball, seen, score


def _named(touch: Touch, t_s: np.ndarray, names: np.ndarray) -> Touch:
    """A touch with names for bodies: the holder's of its middle, the receiver's of its end."""

    def name(body: int | None, at_s: float) -> int | None:
        if body is None or body < 0:
            return None
        return int(names[min(int(np.searchsorted(t_s, at_s)), len(t_s) - 1), body])

    middle_s = (touch.start_s + touch.end_s) / 2
    return replace(touch, by=name(touch.by, middle_s), to=name(touch.to, touch.end_s))
