"""Which shots are live main-camera play, and which are replays, close-ups, crowd or graphics.

The vision pass gathers a row of evidence per analysed frame (:mod:`pipeline.film.evidence`); after it,
:func:`judge_shots` decides for all shots together:

1. What a shot shows follows from how much floor is in the picture, how many people there are and
   how large.
2. A film switches between two modes, live and replay. It mostly does so at wipes, and a replay
   shows signs: the score graphic is gone or shows another time than the game's, people move slowly,
   pictures are repeated; a game clock that runs is a sign of live play, one that stands is none of
   either (free throws). The likeliest
   course of modes over the whole film is found by dynamic programming (Viterbi, "Error bounds for
   convolutional codes", IEEE Trans. Inf. Theory 13, 1967), so that one weak sign does not decide.

Where the score graphic was read, the readings say when it is there and what its clock does. Else its
outlines, the edges that stay in place while the camera moves, say when it is there. A film without
one, without wipes, or with a camera that never moves is judged by the rest.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import pyarrow as pa

from pipeline.film.clock import ClockSigns, clock_signs
from pipeline.film.overlay import decode_thumb, find_overlay, split_columns
from pipeline.film.settings import LiveSettings
from pipeline.film.shots import Boundary, FoundShots, looks_alike
from pipeline.film.tables import EVIDENCE, FRAMES, SHOTS

OTHER_VIEWS_SAY = 0.25
"""How much the graphic of close-ups and the crowd says of live play and replays, against that of court views."""


@dataclass(frozen=True, slots=True)
class _ShotEvidence:
    """A shot's evidence in medians; NaN where nothing is known."""

    length_s: float
    rows: int
    floor_share: float
    people: float
    person_share: float
    largest_share: float
    people_motion: float
    change: float
    body_lengths_s: float  # people's motion in their own heights per second
    detail: float
    bug: float
    bug_read: bool
    clock_runs: bool
    clock_disagrees: bool
    repeats: float
    kind_in: str


def judge_shots(
    found: FoundShots, evidence: pa.Table, settings: LiveSettings | None = None, *, readings: pa.Table | None = None
) -> pa.Table:
    """Decide what every shot shows and whether it is live play.

    Parameters
    ----------
    found : FoundShots
        From :meth:`~pipeline.film.shots.ShotFinder.finish`.
    evidence : pa.Table
        :data:`~pipeline.film.tables.EVIDENCE`, in order of time.
    settings : LiveSettings, optional
    readings : pa.Table, optional
        :data:`~pipeline.film.tables.BUG_READINGS`, in order of time.

    Returns
    -------
    pa.Table
        :data:`~pipeline.film.tables.SHOTS`, without gaps or overlaps; empty for a film without frames.
    """
    limits = settings or LiveSettings()
    evidence = EVIDENCE.check(evidence)
    if not found.boundaries:
        return SHOTS.empty()
    starts = [b.t_s for b in found.boundaries]
    ends = [*starts[1:], found.end_s]
    columns = {n: evidence[n].to_numpy(zero_copy_only=False) for n in EVIDENCE.schema.names if n != "thumb"}
    shot_of = np.searchsorted(starts, columns["t_s"] + 1e-9, side="right") - 1
    gathered = [_gather(found, i, starts, ends, columns, shot_of == i, limits) for i in range(len(starts))]
    views = [_view(e, limits) for e in gathered]
    greys, seen_in = _thumbs(evidence, shot_of, columns["t_s"], starts, ends, limits)
    for i in _split_shots(greys, seen_in, np.array(ends) - np.array(starts)):
        if views[i][0] == "main":
            views[i] = ("other", 0.6, "Split screen: an upright line runs through all of it.")
    bug = _bug_presence(greys, seen_in, views)
    if readings is not None:
        inner = [(max(b.to_s, a) + limits.edge_s, c - limits.edge_s) for b, a, c in _inner(found.boundaries, ends)]
        signs_read = clock_signs(readings, inner)
        bug = np.where(np.isfinite(signs_read.shown), _against_usual(signs_read.shown, views), bug)
        gathered = [_with_clock(e, signs_read, i) for i, e in enumerate(gathered)]
    gathered = [replace(e, bug=float(bug[i])) for i, e in enumerate(gathered)]
    odds, signs = _replay_odds(gathered, views, limits)
    replay, margin = _modes(odds, _switch_costs(found.boundaries, limits))
    last_frame = int(found.frames[-1]) + 1
    frame_starts = [b.frame for b in found.boundaries]
    rows = []
    for i, item in enumerate(gathered):
        view, sure, why = views[i]
        live = view == "main" and not replay[i]
        score = sure
        if view == "main":
            score = sure / (1 + math.exp(-margin[i]))
            if replay[i]:
                view = "replay"
                why = f"Court view, but a replay: {_list(signs[i][0]) or 'it lies between wipes'}."
            elif item.length_s < limits.least_live_s:
                live, why = False, f"Court view of only {item.length_s:.1f} s."
            else:
                why = f"{why[:-1]}; {_list(signs[i][1]) or 'no sign of a replay'}."
        rows.append(
            {
                "shot": i,
                "start_s": starts[i],
                "end_s": ends[i],
                "start_frame": frame_starts[i],
                "end_frame": frame_starts[i + 1] if i + 1 < len(starts) else last_frame,
                "view": view,
                "live": live,
                "transition_in": found.boundaries[i].kind,
                "score": float(np.clip(score, 0, 1)),
                "reason": why,
            }
        )
    return SHOTS.from_rows(rows)


def frames_table(frames: np.ndarray, times_s: np.ndarray, shots: pa.Table) -> pa.Table:
    """The :data:`~pipeline.film.tables.FRAMES` table of the analysed frames.

    Parameters
    ----------
    frames, times_s : ndarray of shape (N,)
        Index and presentation time of the analysed frames, in order.
    shots : pa.Table
        :data:`~pipeline.film.tables.SHOTS`.
    """
    starts = shots["start_s"].to_numpy()
    numbers = shots["shot"].to_numpy()
    place = np.searchsorted(starts, np.asarray(times_s) + 1e-9, side="right") - 1
    return FRAMES.from_columns({"frame": frames, "t_s": times_s, "shot": numbers[place] if len(starts) else []})


def confirm_registered(
    shots: pa.Table, frame_shots: np.ndarray, registered: np.ndarray, settings: LiveSettings | None = None
) -> pa.Table:
    """Take back "live" from shots in which no court could be registered.

    Parameters
    ----------
    shots : pa.Table
        :data:`~pipeline.film.tables.SHOTS`.
    frame_shots : ndarray of shape (N,), int
        Shot of every frame that registration was tried on.
    registered : ndarray of shape (N,), bool
        Whether it has a camera.

    Returns
    -------
    pa.Table
        The table with ``live``, ``score`` and ``reason`` changed where needed.
    """
    limits = settings or LiveSettings()
    rows = SHOTS.check(shots).to_pylist()
    for row in rows:
        tried = np.asarray(registered)[np.asarray(frame_shots) == row["shot"]]
        if row["live"] and len(tried) and tried.mean() < limits.least_registered:
            row["live"] = False
            row["score"] = float(row["score"] * 0.5)
            row["reason"] = f"Looked like live play, but the court was found in only {tried.mean():.0%} of its frames."
    return SHOTS.from_rows(rows)


def _gather(
    found: FoundShots,
    place: int,
    starts: list[float],
    ends: list[float],
    columns: dict[str, np.ndarray],
    inside: np.ndarray,
    limits: LiveSettings,
) -> _ShotEvidence:
    boundary = found.boundaries[place]
    after = found.boundaries[place + 1].from_s if place + 1 < len(starts) else ends[place]
    t_s = columns["t_s"]
    kept = inside & (t_s >= boundary.to_s + limits.edge_s) & (t_s <= after - limits.edge_s)
    if not kept.any():
        kept = inside

    def middle(name: str) -> float:
        values = columns[name][kept].astype(np.float64)
        return float(np.nanmedian(values)) if np.isfinite(values).any() else math.nan

    share = columns["person_height_share"][kept].astype(np.float64)
    motion = columns["people_motion"][kept].astype(np.float64)
    # Motion of the frame after a cut is nonsense; medians over a few frames are too.
    pace = motion / share
    in_shot = (found.times_s >= max(boundary.to_s, starts[place]) + 0.05) & (found.times_s < min(after, ends[place]))
    change = found.change[in_shot]
    typical = float(np.percentile(change, 90)) if len(change) else 0.0
    return _ShotEvidence(
        length_s=ends[place] - starts[place],
        rows=int(kept.sum()),
        floor_share=middle("floor_share"),
        people=middle("people"),
        person_share=middle("person_height_share"),
        largest_share=middle("largest_person_share"),
        people_motion=middle("people_motion"),
        change=float(np.percentile(change, 75)) if len(change) else math.nan,
        body_lengths_s=float(np.nanmean(pace)) if np.isfinite(pace).sum() >= 3 else math.nan,
        detail=middle("detail"),
        bug=math.nan,
        bug_read=False,
        clock_runs=False,
        clock_disagrees=False,
        repeats=float((change < 0.2 * typical).mean()) if len(change) >= 10 and typical > 0.2 else 0.0,
        kind_in=boundary.kind,
    )


def _inner(boundaries: tuple[Boundary, ...], ends: list[float]) -> list[tuple[Boundary, float, float]]:
    """Each shot's boundary, where it starts, and where the transition out of it begins."""
    outs = [*(min(b.from_s, end) for b, end in zip(boundaries[1:], ends, strict=False)), ends[-1]]
    return [(b, b.t_s, out) for b, out in zip(boundaries, outs, strict=True)]


def _with_clock(item: _ShotEvidence, signs: ClockSigns, place: int) -> _ShotEvidence:
    return replace(
        item,
        bug_read=bool(np.isfinite(signs.shown[place])),
        clock_runs=bool(signs.runs[place]),
        clock_disagrees=bool(signs.disagrees[place]),
    )


def _against_usual(shown: np.ndarray, views: list[tuple[str, float, str]]) -> np.ndarray:
    """How much of the score graphic is in each shot, against what court views usually have."""
    court = np.array([view[0] == "main" for view in views]) & np.isfinite(shown)
    usual = float(np.percentile(shown[court], 75)) if court.any() else math.nan
    return shown / max(usual, 1e-6) if usual > 0.1 else np.full(len(shown), math.nan)


def _view(item: _ShotEvidence, limits: LiveSettings) -> tuple[str, float, str]:
    """View, how sure, and why."""
    if item.rows == 0:
        return "other", 0.0, "No frame of it was analysed."
    crowded = not item.people < limits.least_people  # unknown counts as enough
    small_people = not item.person_share > limits.most_person_share
    if item.floor_share >= limits.least_floor_share and crowded and small_people:
        sure = float(np.clip(0.6 + 2 * (item.floor_share - limits.least_floor_share), 0, 1))
        people = f", {item.people:.0f} people" if math.isfinite(item.people) else ""
        return "main", sure, f"Court view: {item.floor_share:.0%} floor{people}."
    if math.isnan(item.floor_share) and item.people >= max(6.0, limits.least_people) and small_people:
        return "main", 0.5, f"Court view by its {item.people:.0f} small people; the floor was not looked for."
    floor = f"{item.floor_share:.0%} floor, " if math.isfinite(item.floor_share) else ""
    if item.largest_share >= limits.closeup_person_share or item.person_share > limits.most_person_share:
        return "closeup", 0.9, f"Close-up: {floor}a person fills {item.largest_share:.0%} of the height."
    if item.floor_share >= limits.least_floor_share:
        return "other", 0.5, f"Floor but few people: {floor}{item.people:.0f} people."
    if item.change <= limits.still_change and not item.people > 0:
        return "graphics", 0.6, f"Graphic: {floor}nobody in it, and it stands still."
    if item.detail >= limits.crowd_detail and not item.people_motion > limits.crowd_motion:
        return "crowd", 0.6, f"Crowd: {floor}full of small detail."
    return "closeup", 0.5, f"Close-up: {floor}nobody small in it, and something large moves or the rest is blurred."


def _thumbs(
    evidence: pa.Table,
    shot_of: np.ndarray,
    t_s: np.ndarray,
    starts: list[float],
    ends: list[float],
    limits: LiveSettings,
) -> tuple[np.ndarray, np.ndarray]:
    """The small pictures that lie well inside a shot, (N, h, w), and their shots; none if their sizes differ."""
    kept = [
        (decode_thumb(data), int(shot_of[i]))
        for i, data in enumerate(evidence["thumb"].to_pylist())
        if data is not None and starts[shot_of[i]] + limits.edge_s <= t_s[i] <= ends[shot_of[i]] - limits.edge_s
    ]
    if len({grey.shape for grey, _ in kept}) != 1:
        return np.zeros((0, 1, 1), np.uint8), np.zeros(0, dtype=np.int64)
    return np.stack([grey for grey, _ in kept]), np.array([shot for _, shot in kept])


def _split_shots(greys: np.ndarray, shots: np.ndarray, lengths_s: np.ndarray) -> list[int]:
    """Shots with a line between two pictures. A line that most of the film has is its frame (bars at the sides)."""
    lines = {int(shot): split_columns(greys[shots == shot]) for shot in np.unique(shots)}
    if not lines:
        return []
    usual = sum(np.where(line, lengths_s[shot], 0.0) for shot, line in lines.items()) > 0.5 * lengths_s.sum()
    return [shot for shot, line in lines.items() if (line & ~usual).any()]


def _bug_presence(greys: np.ndarray, shots: np.ndarray, views: list[tuple[str, float, str]]) -> np.ndarray:
    """Presence of the film's overlay in each shot against its usual presence; NaN where unknown."""
    presence = np.full(len(views), math.nan)
    court = np.flatnonzero([views[shot][0] == "main" for shot in shots])
    overlay = find_overlay(greys[court[:: max(1, len(court) // 400)]]) if len(court) else None
    if overlay is None:
        return presence
    seen = np.array([overlay.presence(grey) for grey in greys])
    usual = float(np.median(seen[court]))
    for shot in np.unique(shots):
        presence[shot] = float(np.median(seen[shots == shot])) / max(usual, 1e-6)
    return presence


def _replay_odds(
    gathered: list[_ShotEvidence], views: list[tuple[str, float, str]], limits: LiveSettings
) -> tuple[np.ndarray, list[tuple[list[str], list[str]]]]:
    """Log odds of replay against live for each shot alone, with the signs for and against in words."""
    court = [e for e, v in zip(gathered, views, strict=True) if v[0] == "main"]
    pace = _weighted_median([e.body_lengths_s for e in court], [e.length_s for e in court])
    repeats = _weighted_median([e.repeats for e in court], [e.length_s for e in court])
    odds = np.zeros(len(gathered))
    signs: list[tuple[list[str], list[str]]] = []
    for i, (item, view) in enumerate(zip(gathered, views, strict=True)):
        pro: list[str] = []
        contra: list[str] = []
        weight = 0.0
        if item.clock_disagrees:
            weight += limits.clock_disagrees
            pro.append("its clock shows another time than the game's")
        elif item.bug < 0.5:
            weight += limits.bug_not_read if item.bug_read else limits.bug_missing
            pro.append("the score graphic is missing")
        elif item.bug > 0.75:
            weight -= limits.bug_present
            contra.append("the score graphic is there")
        if item.clock_runs:
            weight -= limits.clock_runs
            contra.append("the game clock runs")
        if view[0] != "main":
            weight *= OTHER_VIEWS_SAY  # the graphic comes and goes there in any mode
        else:
            weight -= limits.live_prior
            ratio = item.body_lengths_s / pace if pace > 0 else math.nan
            if ratio < limits.slow_ratio:
                weight += limits.slow_motion
                pro.append(f"people move at {ratio:.0%} of the usual speed")
            elif ratio > 0.85:
                weight -= limits.usual_motion
                contra.append("people move at the usual speed")
            if item.repeats > 0.3 and item.repeats > repeats + 0.2:
                weight += limits.repeated_pictures
                pro.append("its pictures are repeated")
            if item.length_s > limits.too_long_s:
                weight -= limits.too_long
                contra.append(f"it lasts {item.length_s:.0f} s")
        odds[i] = weight
        signs.append((pro, contra))
    return odds, signs


def _switch_costs(boundaries: tuple[Boundary, ...], limits: LiveSettings) -> list[tuple[float, float]]:
    """For each boundary, the costs of staying in the mode and of changing it."""
    costs: list[tuple[float, float]] = []
    wipes = [b for b in boundaries if b.kind == "wipe"]
    for boundary in boundaries:
        if boundary.kind == "wipe":
            others = [looks_alike(boundary.look, w.look) for w in wipes if w is not boundary]
            known = boundary.look.sum() == 0 or not others or max(others) >= limits.odd_wipe_share
            stays = limits.wipe_stays if known else limits.wipe_stays / 2
            costs.append((stays, limits.wipe_changes))
        elif boundary.kind == "dissolve":
            costs.append((limits.dissolve_stays, limits.dissolve_changes))
        else:
            costs.append((0.0, limits.cut_changes))
    return costs


def _modes(odds: np.ndarray, costs: list[tuple[float, float]]) -> tuple[np.ndarray, np.ndarray]:
    """Likeliest course of the modes, and for each shot how much likelier it is than the best course in the other.

    Parameters
    ----------
    odds : ndarray of shape (N,)
        Log odds of replay against live.
    costs : list of (stay, change), N long
        Costs at the boundary before each shot; the first is not used.

    Returns
    -------
    replay : ndarray of shape (N,), bool
    margin : ndarray of shape (N,)
        At least 0.
    """
    count = len(odds)
    emission = np.stack([-odds / 2, odds / 2], axis=1)
    forward, backward = np.zeros((count, 2)), np.zeros((count, 2))
    forward[0] = emission[0] + np.array([0.0, -1.0])  # films begin live more often than not
    for i in range(1, count):
        stay, change = costs[i]
        for mode in (0, 1):
            forward[i, mode] = emission[i, mode] + max(forward[i - 1, mode] - stay, forward[i - 1, 1 - mode] - change)
    for i in range(count - 2, -1, -1):
        stay, change = costs[i + 1]
        for mode in (0, 1):
            backward[i, mode] = max(
                backward[i + 1, mode] + emission[i + 1, mode] - stay,
                backward[i + 1, 1 - mode] + emission[i + 1, 1 - mode] - change,
            )
    total = forward + backward
    return total[:, 1] > total[:, 0], np.abs(total[:, 1] - total[:, 0])


def _weighted_median(values: list[float], weights: list[float]) -> float:
    known = [(v, w) for v, w in zip(values, weights, strict=True) if math.isfinite(v)]
    if not known:
        return math.nan
    ordered = sorted(known)
    reached = np.cumsum([w for _, w in ordered])
    return float(ordered[int(np.searchsorted(reached, reached[-1] / 2))][0])


def _list(words: list[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)
