"""Flights: every pass and shot that could have been, and how well the detections follow it.

From a body that may have the ball at one frame to a body, or a ring, that may have it at a later one, the ball's
way is known up to small errors: free fall from hands to hands, or by way of the floor. Each such way is laid into
the picture and scored by the detections along it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import IntEnum

import numpy as np
from scipy.ndimage import maximum_filter1d

from pipeline.ball.evidence import PICTURE_FT2, Evidence
from pipeline.ball.settings import BallSettings, FlightSettings, StorySettings

GRAVITY_FT_S2 = 32.17
BALL_RADIUS_FT = 0.39


class FlightKind(IntEnum):
    """How a ball goes through the air."""

    PASS = 0
    BOUNCE = 1
    SHOT = 2
    REBOUND = 3
    DROP = 4


NET_FT_S, NET_FT, RESTITUTION = 6.5, 1.5, 0.62
"""A made shot leaves the net so fast after so long a fall; a bounce gives back this share of the speed. Starting
values, common practice, no source."""


@dataclass(frozen=True, slots=True, eq=False)
class Flights:
    """S flights of one shot, in order of their last frame.

    Attributes
    ----------
    start, end : (S,) int ndarray
        Last frame in the hands before, first frame in the hands (or at the ring) after.
    by, to : (S,) int ndarray
        Columns of the bodies; N or N + 1 for the left and right ring.
    kind : (S,) int ndarray of :class:`FlightKind`
    value : (S,) ndarray
        Summed log ratios of the frames between.
    """

    start: np.ndarray
    end: np.ndarray
    by: np.ndarray
    to: np.ndarray
    kind: np.ndarray
    value: np.ndarray


def free_fall(start_ft: np.ndarray, end_ft: np.ndarray, seconds: np.ndarray, share: np.ndarray) -> np.ndarray:
    """Places (S, 3) on free flights from start to end (S, 3) at a share of their time, 0..1."""
    place = start_ft + (end_ft - start_ft) * share[:, None]
    place[:, 2] += 0.5 * GRAVITY_FT_S2 * seconds**2 * share * (1 - share)
    return place


def bounced_fall(
    start_ft: np.ndarray, end_ft: np.ndarray, seconds: np.ndarray, share: np.ndarray, bounce_at: float
) -> np.ndarray:
    """The same by way of the floor, which is met at the share ``bounce_at`` of the time and way."""
    floor = start_ft + (end_ft - start_ft) * bounce_at
    floor[:, 2] = BALL_RADIUS_FT
    down = free_fall(start_ft, floor, seconds * bounce_at, np.minimum(share / bounce_at, 1))
    up = free_fall(floor, end_ft, seconds * (1 - bounce_at), np.maximum((share - bounce_at) / (1 - bounce_at), 0))
    return np.where((share < bounce_at)[:, None], down, up)


def net_fall(start_ft: np.ndarray, end_ft: np.ndarray, seconds: np.ndarray, share: np.ndarray) -> np.ndarray:
    """The same from the ring through the net, straight down, and off the floor until hands come to it."""
    steps = np.arange(0.0, 3.0, 0.01)
    through = NET_FT / NET_FT_S
    falls = np.maximum(steps - through, 0)
    low = NET_FT_S * falls + 0.5 * GRAVITY_FT_S2 * falls**2
    room = float(start_ft[0, 2]) - NET_FT - BALL_RADIUS_FT if len(start_ft) else 1.0
    lands = through + (np.sqrt(NET_FT_S**2 + 2 * GRAVITY_FT_S2 * room) - NET_FT_S) / GRAVITY_FT_S2
    up = RESTITUTION * np.sqrt(NET_FT_S**2 + 2 * GRAVITY_FT_S2 * room)
    after = np.maximum(steps - lands, 0)
    bounce = np.abs(up * after - 0.5 * GRAVITY_FT_S2 * after**2)
    drop = np.where(steps < through, NET_FT_S * steps, NET_FT + low)
    height = np.where(steps < lands, drop, room + NET_FT - bounce)  # below the ring
    now = share * seconds
    way = np.clip((now - 0.3) / np.maximum(seconds - 0.3, 0.05), 0, 1)[:, None]
    place = start_ft + (end_ft - start_ft) * way
    taken = np.clip((now - (seconds - 0.25)) / 0.25, 0, 1)
    place[:, 2] = (1 - taken) * (start_ft[:, 2] - np.interp(now, steps, height)) + taken * end_ft[:, 2]
    return place


def possible_flights(evidence: Evidence, fit: np.ndarray, settings: BallSettings) -> Flights:
    """All flights of a shot that bodies, speeds and free fall allow, scored.

    Parameters
    ----------
    evidence : Evidence
    fit : (K, N) ndarray
        From :func:`~pipeline.ball.evidence.hold_fit`.
    settings : BallSettings
    """
    rules = settings.flight
    strength = _strength(evidence, fit, rules)
    may = strength >= rules.plausible_fit
    passes = _pass_ends(evidence, strength, rules)
    shots = _shot_ends(evidence, may, rules)
    rebounds = _rebound_ends(evidence, rules)
    parts = {
        FlightKind.PASS: passes,
        FlightKind.BOUNCE: passes,
        FlightKind.SHOT: shots,
        FlightKind.REBOUND: tuple(
            part[_lasts(evidence, rebounds) >= rules.shortest_rebound_s - 1e-9] for part in rebounds
        ),
        FlightKind.DROP: rebounds,
    }
    start, end, by, to = (np.concatenate(part) for part in zip(*parts.values(), strict=True))
    kind = np.repeat([int(k) for k in parts], [len(part[0]) for part in parts.values()])
    every = Flights(start, end, by, to, kind, np.zeros(len(start)))
    kept = np.flatnonzero(_followed(evidence, every, settings))
    kept = kept[np.argsort(end[kept], kind="stable")]
    every = Flights(start[kept], end[kept], by[kept], to[kept], kind[kept], np.zeros(len(kept)))
    value = _values(evidence, every, settings) - np.where(every.kind == FlightKind.BOUNCE, rules.bounce_cost, 0.0)
    blind = np.where(every.by >= may.shape[1], rules.blind_rebound_cost, rules.blind_end_cost)
    value -= np.where(_blind_end(every, may), blind, 0.0)
    return replace(every, value=value)


def _lasts(evidence: Evidence, ends: tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]) -> np.ndarray:
    """Seconds from start to end, (S,)."""
    return evidence.times_s[ends[1]] - evidence.times_s[ends[0]]


def _blind_end(flights: Flights, may: np.ndarray) -> np.ndarray:
    """Flights at one of whose players no ball is seen about then, (S,)."""
    count = may.shape[1]
    by, to = (np.minimum(ends, count - 1) for ends in (flights.by, flights.to))
    thrown = (flights.by >= count) | may[flights.start, by]
    caught = (flights.to >= count) | may[flights.end, to]
    return ~(thrown & caught)


def _strength(evidence: Evidence, fit: np.ndarray, settings: FlightSettings) -> np.ndarray:
    """How well the best detection within ``plausible_s`` is in each body's hands, (F, N)."""
    frames, count = evidence.bodies.place_ft.shape[:2]
    best = np.full((frames, count), -np.inf)
    aside, height = evidence.beside[:, :count, 0], evidence.beside[:, :count, 1]
    with np.errstate(invalid="ignore"):
        reach = (np.abs(aside) <= settings.catch_ft) & (height > -1.0) & (height <= settings.catch_up_ft)
    # a ball just thrown or about to be caught is near its man, if not in his hands yet
    thrown = np.where(reach & (evidence.gain[:, None] >= 0.0), settings.plausible_fit, -np.inf)
    np.maximum.at(best, evidence.moment, np.maximum(fit + evidence.gain[:, None], thrown))
    width = 2 * max(round(settings.plausible_s / max(evidence.step_s, 1e-3)), 1) + 1
    near = maximum_filter1d(np.maximum(best, -99.0), width, axis=0, mode="constant", cval=-99.0) if frames else best
    return np.where(np.isfinite(evidence.bodies.place_ft[..., 0]), near, -np.inf)


def _pass_ends(
    evidence: Evidence, strength: np.ndarray, settings: FlightSettings
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    times, place, step = evidence.times_s, evidence.bodies.place_ft, evidence.step_s
    frames, teams, official = len(times), evidence.bodies.teams, evidence.bodies.official
    # to an opponent or an official the ball goes rarely: only where both ends are well seen
    rare = (teams[:, None] >= 0) & (teams[None] >= 0) & (teams[:, None] != teams[None])
    rare |= official[:, None] | official[None]
    others = ~np.eye(len(teams), dtype=bool)  # nobody passes to himself
    may, well = strength >= settings.plausible_fit, strength >= settings.rare_fit
    mates = (teams[:, None] >= 0) & (teams[:, None] == teams[None])
    there = np.isfinite(place[..., 0])

    def blind(span: int) -> bool:
        return settings.blind_end_s[0] <= span * step <= settings.blind_end_s[1]

    found: list[tuple[np.ndarray, ...]] = [(np.zeros(0, np.int64),) * 4]
    longest = int(settings.longest_s / max(step, 1e-3)) + 1
    for span in range(2, min(longest, frames - 1) + 1):
        lasts = times[span:] - times[:-span]
        seconds = np.maximum(lasts - step, 0.5 * step)
        thrown, caught = may[:-span, :, None], may[span:, None, :]
        ends = thrown & caught & (~rare | (well[:-span, :, None] & well[span:, None, :]))
        if blind(span):
            ends |= (thrown | caught) & mates & (there[:-span, :, None] & there[span:, None, :])
        start, by, to = np.nonzero(ends & others)
        kept = lasts[start] <= settings.longest_s
        start, by, to = start[kept], by[kept], to[kept]
        length = np.linalg.norm(place[start + span, to] - place[start, by], axis=1)
        speed = length / seconds[start]
        near = (length < 2 * settings.body_sigma_ft + 4.0) & (seconds[start] < 0.5)
        kept = (speed <= settings.fastest_ft_s) & ((speed >= settings.slowest_ft_s) | near)
        found.append((start[kept], start[kept] + span, by[kept], to[kept]))
    start, end, by, to = (np.concatenate(part) for part in zip(*found, strict=True))
    return start, end, by, to


def _shot_ends(
    evidence: Evidence, may: np.ndarray, settings: FlightSettings
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """From everybody to a ring: where a ball is seen beside it, from those too at whom none was seen."""
    times, place, step = evidence.times_s, evidence.bodies.place_ft, evidence.step_s
    frames, count = may.shape
    there = np.isfinite(place[..., 0]) & ~evidence.bodies.official
    found: list[tuple[np.ndarray, ...]] = [(np.zeros(0, np.int64),) * 4]
    a, b = settings.shortest_shot_s, settings.longest_shot_s
    longest = int((b[0] + b[1] * settings.longest_shot_ft) / max(step, 1e-3)) + 1
    for ring in (0, 1):
        away = np.linalg.norm(place - evidence.rings_ft[ring, :2], axis=2)
        shoots = there & (away <= settings.longest_shot_ft)
        seen = _at_ring(evidence, ring)
        for span in range(2, min(longest, frames - 1) + 1):
            start, by = np.nonzero(shoots[:-span] & (may[:-span] | seen[span:, None]))
            seconds = times[start + span] - times[start] - 0.5 * step
            length = away[start, by]
            kept = (seconds >= a[0] + a[1] * length) & (seconds <= b[0] + b[1] * length)
            start, by = start[kept], by[kept]
            found.append((start, start + span, by, np.full(len(start), count + ring)))
    start, end, by, to = (np.concatenate(part) for part in zip(*found, strict=True))
    return start, end, by, to


def _at_ring(evidence: Evidence, ring: int) -> np.ndarray:
    """Whether a ball is seen beside a ring about each frame, (F,)."""
    frames, count = len(evidence.times_s), len(evidence.bodies.names)
    aside, above = evidence.beside[:, count + ring, 0], evidence.beside[:, count + ring, 1]
    with np.errstate(invalid="ignore"):
        near = (np.abs(aside) < 3.0) & (np.abs(above - evidence.rings_ft[ring, 2]) < 3.0)
    seen = np.zeros(frames, dtype=bool)
    seen[evidence.moment[near]] = True
    return maximum_filter1d(seen, 7) if frames else seen


def _rebound_ends(
    evidence: Evidence, settings: FlightSettings
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """From a ring that has a ball beside it to the bodies about it."""
    times, place, step = evidence.times_s, evidence.bodies.place_ft, evidence.step_s
    frames, count = place.shape[:2]
    there = np.isfinite(place[..., 0])
    found: list[tuple[np.ndarray, ...]] = [(np.zeros(0, np.int64),) * 4]
    longest = int(settings.longest_rebound_s / max(step, 1e-3)) + 1
    for ring in (0, 1):
        at_ring = _at_ring(evidence, ring)
        away = np.linalg.norm(place - evidence.rings_ft[ring, :2], axis=2)
        takes = there & (away <= 25.0)
        for span in range(3, min(longest, frames - 1) + 1):
            start, to = np.nonzero(takes[span:] & at_ring[:-span, None])
            kept = times[start + span] - times[start] <= settings.longest_rebound_s
            start, to = start[kept], to[kept]
            found.append((start, start + span, np.full(len(start), count + ring), to))
    start, end, by, to = (np.concatenate(part) for part in zip(*found, strict=True))
    return start, end, by, to


def flight_places(
    evidence: Evidence, flights: Flights, which: np.ndarray, moment: np.ndarray, settings: FlightSettings
) -> tuple[np.ndarray, np.ndarray]:
    """Places (M, 3) of flights ``which`` (M,) at frames ``moment`` (M,), and how much of their time is over (M,)."""
    times, step = evidence.times_s, evidence.step_s
    count = len(evidence.bodies.names)
    start, end, by, to = (getattr(flights, n)[which] for n in ("start", "end", "by", "to"))
    shot, rebound = to >= count, by >= count
    begins = times[start] + np.where(rebound, 0.0, 0.5 * step)
    seconds = np.maximum(times[end] - np.where(shot, 0.0, 0.5 * step) - begins, 0.5 * step)
    share = np.clip((times[moment] - begins) / seconds, 0, 1)
    height = np.where(shot, settings.shot_height_ft, settings.pass_height_ft)
    last = np.where(rebound, settings.rebound_height_ft, settings.pass_height_ft)
    from_ft = np.column_stack([evidence.bodies.place_ft[start, np.minimum(by, count - 1)], height])
    to_ft = np.column_stack([evidence.bodies.place_ft[end, np.minimum(to, count - 1)], last])
    from_ft[rebound] = evidence.rings_ft[by[rebound] - count]
    to_ft[shot] = evidence.rings_ft[to[shot] - count]
    place = free_fall(from_ft, to_ft, seconds, share)
    low = flights.kind[which] == FlightKind.BOUNCE
    place[low] = bounced_fall(from_ft[low], to_ft[low], seconds[low], share[low], settings.bounce_at)
    made = flights.kind[which] == FlightKind.DROP
    place[made] = net_fall(from_ft[made], to_ft[made], seconds[made], share[made])
    return place, share


def _followed(evidence: Evidence, flights: Flights, settings: BallSettings) -> np.ndarray:
    """Flights of which a detection is seen about halfway, or that are too short to tell; (S,) bool."""
    spans = flights.end - flights.start
    good = spans <= 3
    middle = flights.start + spans // 2
    for near in (middle, middle + 1, middle - 1):
        left = np.flatnonzero(~good)
        score = _frame_scores(evidence, flights, left, near[left], settings)
        good[left] = score > -_hidden(flights, left, settings.story)
    return good


def _values(evidence: Evidence, flights: Flights, settings: BallSettings) -> np.ndarray:
    """Summed log ratios of all frames in the air, (S,)."""
    spans = flights.end - flights.start - 1
    which = np.repeat(np.arange(len(spans)), spans)
    first = np.cumsum(spans) - spans
    moment = flights.start[which] + 1 + np.arange(len(which)) - first[which]
    score = _frame_scores(evidence, flights, which, moment, settings) - settings.story.flying
    return settings.story.weight * np.bincount(which, score, minlength=len(spans))


def _hidden(flights: Flights, which: np.ndarray, costs: StorySettings) -> np.ndarray:
    """Cost of a frame of flights ``which`` (M,) in which the ball is not seen: passes are thrown before bodies."""
    passed = (flights.kind[which] == FlightKind.PASS) | (flights.kind[which] == FlightKind.BOUNCE)
    return np.where(passed, costs.hidden_pass, costs.hidden_flying)


def _frame_scores(
    evidence: Evidence, flights: Flights, which: np.ndarray, moment: np.ndarray, every: BallSettings
) -> np.ndarray:
    """Log ratio of each flight ``which`` (M,) at frame ``moment`` (M,): its best detection, or its being hidden."""
    settings, costs = every.flight, every.story
    result = np.zeros(len(which))
    order = np.argsort(moment, kind="stable")
    which, moment = which[order], moment[order]
    place, share = flight_places(evidence, flights, which, moment, settings)
    count = len(evidence.bodies.names)
    ends = [
        np.where(f[which] >= count, settings.ring_sigma_ft, settings.body_sigma_ft) for f in (flights.by, flights.to)
    ]
    rises = [
        np.where(f[which] >= count, settings.ring_sigma_ft, settings.height_sigma_ft) for f in (flights.by, flights.to)
    ]
    middle = (2 * settings.middle_sigma_ft * share * (1 - share)) ** 2
    across, upwards = (np.sqrt(((1 - share) * s[0]) ** 2 + (share * s[1]) ** 2 + middle) for s in (ends, rises))
    density = np.log(PICTURE_FT2 / (every.evidence.clutter * 2 * np.pi * across * upwards))
    hidden = _hidden(flights, which, costs)
    bounds = np.searchsorted(moment, np.arange(len(evidence.times_s) + 1))
    for k, view in evidence.views.items():
        a, b = bounds[k], bounds[k + 1]
        if a == b:
            continue
        inner = (place[a:b] - view.centre_ft) @ view.rotation().T
        depth = np.maximum(inner[:, 2], 1e-3)
        px = view.lens.distort(view.lens.centre_px + view.focal_px * inner[:, :2] / depth[:, None])
        with np.errstate(invalid="ignore"):
            inside = np.all((px >= 0) & (px <= np.asarray(view.size_px)), axis=1)
        best = np.where(inside, -hidden[a:b], 0.0)
        scale = depth / view.focal_px
        for row in range(evidence.rows(k).start, evidence.rows(k).stop):
            off = (evidence.centre_px[row] - px) * scale[:, None]
            miss = (off[:, 0] / across[a:b]) ** 2 + (off[:, 1] / upwards[a:b]) ** 2
            best = np.fmax(best, evidence.gain[row] + density[a:b] - 0.5 * miss)
        result[order[a:b]] = best
    return result
