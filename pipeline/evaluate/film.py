"""How well one film was seen: a game's tables against the truth of the same film.

Frames are joined by presentation time: a found frame belongs to the nearest true frame, if that is within
half a true frame. Everything is measured on analysed frames that the truth calls live, and only on what the true
camera has in its picture. Every number comes with its count; a number with nothing to measure is null.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from pydantic import BaseModel, ConfigDict, Field
from scipy.optimize import linear_sum_assignment

from pipeline.ball.tables import BALL, POSSESSIONS, TOUCHES
from pipeline.court.camera import Camera, NoCourt, camera_from_row
from pipeline.court.rule_books import RULE_BOOKS, RuleBook
from pipeline.court.tables import CAMERAS
from pipeline.errors import DataError
from pipeline.evaluate.clock import clock_scores
from pipeline.evaluate.touch_scores import counted, possession_scores, touch_scores
from pipeline.evaluate.tracking_scores import SequenceMatch, floor_similarity, iou, score_sequences
from pipeline.film.tables import CLOCK, FRAMES, SHOTS
from pipeline.players.tables import BOXES, TRACKS
from pipeline.spacing.tables import FAULTS
from pipeline.tables import TableSpec


class FilmScoreSettings(BaseModel):
    """What counts as right when a film is scored."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    grid_ft: float = Field(4.0, gt=0, description="Spacing of the floor points at which the court error is measured.")
    body_reach_ft: float = Field(6.0, gt=0, description="A found body farther from a true one is another body.")
    box_iou: float = Field(0.5, gt=0, le=1, description="Least overlap of a detection with a true box.")
    least_box_score: float = Field(0.4, ge=0, le=1, description="Detections counted; the tracker's strong score.")
    edge_ft: float = Field(1.0, ge=0, description="Bodies farther outside the boundary are not on the floor.")
    boundary_s: float = Field(
        0.5, gt=0, description="A shot boundary is right within this time; a wipe takes about as long."
    )
    clock_s: float = Field(1.0, gt=0, description="A game clock is right within this time of the true one.")
    event_s: float = Field(1.0, gt=0, description="A candidate is right within this time of a true one of its kind.")
    pass_s: float = Field(
        0.5, gt=0, description="A pass is right when its start or end is within this time of the true one's."
    )
    possession_overlap: float = Field(
        0.5, gt=0, le=1, description="A possession is right from this overlap in time on."
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Truth:
    """The truth on its own frames."""

    times_s: np.ndarray
    frames: np.ndarray
    live: np.ndarray
    shot: np.ndarray
    cameras: Mapping[int, Camera]
    book: RuleBook


@dataclass(frozen=True, slots=True, eq=False)
class _Joined:
    """Analysed live frames: position i belongs to found frame ``found[i]`` and true frame ``truth[i]``."""

    found: np.ndarray
    truth: np.ndarray
    shot: np.ndarray


def _quantiles(values: Sequence[float] | np.ndarray) -> dict[str, float | int | None]:
    data = np.asarray(values, dtype=np.float64)
    if not len(data):
        return {"median": None, "p95": None, "count": 0}
    return {"median": float(np.median(data)), "p95": float(np.quantile(data, 0.95)), "count": len(data)}


def match_times(found_s: np.ndarray, true_s: np.ndarray, reach_s: float) -> list[tuple[int, int]]:
    """Pairs of found and true moments, one to one, as many as can be and then as near as can be."""
    if not len(found_s) or not len(true_s):
        return []
    away = np.abs(np.asarray(found_s)[:, None] - np.asarray(true_s)[None])
    gain = np.where(away <= reach_s + 1e-9, 2.0 * reach_s - away + 1e-6, 0.0)
    rows, columns = linear_sum_assignment(-gain)
    return [(int(r), int(c)) for r, c in zip(rows, columns, strict=True) if gain[r, c] > 0]


def nearest_frames(found_s: np.ndarray, true_s: np.ndarray) -> np.ndarray:
    """Index of the true frame of each found time, -1 where none is within half a true frame."""
    if not len(true_s):
        return np.full(len(found_s), -1, dtype=np.int64)
    step = float(np.median(np.diff(true_s))) if len(true_s) > 1 else 0.04
    after = np.clip(np.searchsorted(true_s, found_s), 1, max(len(true_s) - 1, 1))
    before = after - 1
    after = np.minimum(after, len(true_s) - 1)
    nearest = np.where(np.abs(found_s - true_s[before]) <= np.abs(found_s - true_s[after]), before, after)
    return np.where(np.abs(found_s - true_s[nearest]) <= 0.5 * step + 1e-6, nearest, -1)


def _live_at(shots: pa.Table, times_s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Whether each time is in a live shot, and in which shot (-1 none)."""
    live, shot = np.zeros(len(times_s), dtype=bool), np.full(len(times_s), -1, dtype=np.int64)
    for row in shots.to_pylist():
        inside = (times_s >= row["start_s"]) & (times_s < row["end_s"])
        live[inside], shot[inside] = row["live"], row["shot"]
    return live, shot


def _read_truth(folder: Path) -> tuple[_Truth, dict[str, pa.Table]]:
    if not folder.is_dir():
        raise DataError(f"{folder} is no folder; give the truth folder that the simulator wrote beside the film.")
    specs: tuple[TableSpec, ...] = (SHOTS, FRAMES, CAMERAS, BOXES, TRACKS)
    missing = [s.path(folder).name for s in specs if not s.path(folder).is_file()]
    if missing:
        raise DataError(f"{folder} lacks {', '.join(missing)}; it is no complete truth folder of the simulator.")
    tables = {s.name: s.read(folder) for s in specs}
    for spec in (CLOCK, BALL, TOUCHES, POSSESSIONS, FAULTS):
        if spec.path(folder).is_file():
            tables[spec.name] = spec.read(folder)
    frames = tables["frames"].sort_by("frame")
    times = frames["t_s"].to_numpy()
    live, shot = _live_at(tables["shots"], times)
    cameras = _cameras(tables["cameras"])
    names = [n for n in tables["cameras"]["rule_book"].to_pylist() if n in RULE_BOOKS]
    book = RULE_BOOKS[max(set(names), key=names.count)] if names else RULE_BOOKS["nba"]
    return _Truth(times, frames["frame"].to_numpy(), live, shot, cameras, book), tables


def _cameras(table: pa.Table) -> dict[int, Camera]:
    found = {}
    for row in table.to_pylist():
        camera = camera_from_row(row)
        if not isinstance(camera, NoCourt):
            found[int(row["frame"])] = camera
    return found


def _floor_grid(book: RuleBook, step_ft: float) -> np.ndarray:
    x, y = np.meshgrid(np.arange(0, book.length_ft + 0.1, step_ft), np.arange(0, book.width_ft + 0.1, step_ft))
    return np.column_stack([x.ravel(), y.ravel()])


def _in_picture(camera: Camera, places_ft: np.ndarray) -> np.ndarray:
    if not len(places_ft):
        return np.zeros(0, dtype=bool)
    px = camera.project_floor(places_ft)
    with np.errstate(invalid="ignore"):
        return np.all((px >= 0) & (px <= np.asarray(camera.size_px)), axis=1)


def _on_floor(places_ft: np.ndarray, book: RuleBook, edge_ft: float) -> np.ndarray:
    with np.errstate(invalid="ignore"):
        return np.all(
            (places_ft >= -edge_ft) & (places_ft <= np.array([book.length_ft, book.width_ft]) + edge_ft), axis=1
        )


def court_error(
    joined: _Joined, truth: _Truth, found: Mapping[int, Camera], settings: FilmScoreSettings
) -> dict[str, Any]:
    """Distance in feet between where the true and the found camera put the visible floor.

    In every registered live frame the floor points of a grid that the true camera shows are taken as pixels of the
    picture and through the found camera back to the floor. A point that the found camera puts beyond the horizon counts
    as 100 ft off.
    """
    grid = _floor_grid(truth.book, settings.grid_ft)
    per_frame, every = [], []
    registered = 0
    for found_frame, true_index in zip(joined.found, joined.truth, strict=True):
        true_camera = truth.cameras.get(int(truth.frames[true_index]))
        camera = found.get(int(found_frame))
        if camera is None or true_camera is None:
            continue
        registered += 1
        points = grid[_in_picture(true_camera, grid)]
        if not len(points):
            continue
        away = np.linalg.norm(camera.to_floor(true_camera.project_floor(points)) - points, axis=1)
        away = np.where(np.isfinite(away), away, 100.0)
        every.append(away)
        per_frame.append(float(np.median(away)))
    scores = _quantiles(np.concatenate(every) if every else [])
    return {
        "median_ft": scores["median"],
        "p95_ft": scores["p95"],
        "points": scores["count"],
        "frame_median_p95_ft": _quantiles(per_frame)["p95"],
        "registered": registered / len(joined.found) if len(joined.found) else None,
        "live_frames": len(joined.found),
        "registered_frames": registered,
    }


@dataclass(frozen=True, slots=True, eq=False)
class _Bodies:
    """Bodies of one frame."""

    ids: np.ndarray
    place: np.ndarray
    team: np.ndarray
    official: np.ndarray
    observed: np.ndarray


def _by_frame(table: pa.Table) -> dict[int, _Bodies]:
    kept = table.filter(pc.is_in(table["role"], value_set=pa.array(["player", "official"]))).sort_by("frame")
    frame = kept["frame"].to_numpy()
    ids = kept["track"].to_numpy().astype(np.int64)
    place = np.column_stack([kept["x_ft"].to_numpy(), kept["y_ft"].to_numpy()]).reshape(-1, 2)
    team = kept["team"].to_numpy()
    official = np.array([r == "official" for r in kept["role"].to_pylist()], dtype=bool)
    observed = kept["observed"].to_numpy(zero_copy_only=False)
    found = {}
    for value in np.unique(frame):
        a, b = np.searchsorted(frame, [value, value + 1])
        found[int(value)] = _Bodies(ids[a:b], place[a:b], team[a:b], official[a:b], observed[a:b])
    return found


def _only(bodies: _Bodies, which: np.ndarray) -> _Bodies:
    return _Bodies(*(getattr(bodies, n)[which] for n in ("ids", "place", "team", "official", "observed")))


def _pairs(true: np.ndarray, found: np.ndarray, reach_ft: float) -> list[tuple[int, int]]:
    """Nearest places one to one within reach: total closeness is greatest."""
    if not len(true) or not len(found):
        return []
    gain = np.clip(reach_ft - np.linalg.norm(true[:, None] - found[None], axis=2), 0, None)
    rows, columns = linear_sum_assignment(-gain)
    return [(int(r), int(c)) for r, c in zip(rows, columns, strict=True) if gain[r, c] > 0]


def players_scores(
    joined: _Joined, truth: _Truth, true_tracks: pa.Table, found_tracks: pa.Table, settings: FilmScoreSettings
) -> dict[str, Any]:
    """Positions, who is there, identities, teams and officials, on the floor and in the picture.

    ``on_floor`` is of players and officials alike. ``players_on_floor`` is of players: found ones on the floor against
    all true players in the picture, true ones on the floor against all found. ``officials_kept_out`` is the share of
    true bodies in the picture that are no players, frame by frame, which no found player stands for: a found player
    stands for the true player it is paired with, or else for the nearest other body within reach.
    """
    nothing = _Bodies(*(np.zeros(0, int), np.zeros((0, 2)), np.zeros(0, int), np.zeros(0, bool), np.zeros(0, bool)))
    true_frames, found_frames = _by_frame(true_tracks), _by_frame(found_tracks)
    error: list[float] = []
    error_observed: list[float] = []
    error_official: list[float] = []
    right = found_count = true_count = 0
    other_rows = others_as_players = 0
    player_counts = np.zeros(4, dtype=np.int64)
    team_pairs: list[tuple[int, int]] = []
    by_shot: dict[int, list[tuple[np.ndarray, np.ndarray, np.ndarray]]] = {}
    for found_frame, true_index, shot in zip(joined.found, joined.truth, joined.shot, strict=True):
        camera = truth.cameras.get(int(truth.frames[true_index]))
        if camera is None:
            continue
        true = true_frames.get(int(truth.frames[true_index]), nothing)
        found = found_frames.get(int(found_frame), nothing)
        everyone = _only(true, _in_picture(camera, true.place))
        true = _only(everyone, _on_floor(everyone.place, truth.book, settings.edge_ft))
        found = _only(found, _in_picture(camera, found.place))
        pairs = _pairs(true.place, found.place, settings.body_reach_ft)
        right += len(pairs)
        found_count += len(found.ids)
        true_count += len(true.ids)
        counts, others = _players_and_others(everyone, found, truth.book, settings)
        player_counts += counts
        other_rows += others[0]
        others_as_players += others[1]
        for t, f in pairs:
            away = float(np.linalg.norm(true.place[t] - found.place[f]))
            if true.official[t]:
                error_official.append(away)
            else:
                error.append(away)
                if found.observed[f]:
                    error_observed.append(away)
            if not true.official[t] and not found.official[f]:
                team_pairs.append((int(true.team[t]), int(found.team[f])))
        players, shown = _only(true, ~true.official), _only(found, ~found.official)
        similarity = floor_similarity(players.place, shown.place, settings.body_reach_ft)
        by_shot.setdefault(int(shot), []).append((players.ids, shown.ids, similarity))
    sequences = {
        str(shot): SequenceMatch(tuple(r[0] for r in rows), tuple(r[1] for r in rows), tuple(r[2] for r in rows))
        for shot, rows in by_shot.items()
    }
    identity = score_sequences(sequences) if sequences else {}
    teams = np.array(team_pairs, dtype=np.int64).reshape(-1, 2)
    straight, crossed = int(np.sum(teams[:, 0] == teams[:, 1])), int(np.sum(teams[:, 0] == 1 - teams[:, 1]))
    return {
        "position_ft": _quantiles(error),
        "position_observed_ft": _quantiles(error_observed),
        "official_position_ft": _quantiles(error_official),
        "on_floor": counted(right, found_count, true_count),
        "players_on_floor": _shares(player_counts),
        "identity": {
            "HOTA": identity.get("HOTA"),
            "AssA": identity.get("AssA"),
            "DetA": identity.get("DetA"),
            "IDF1": identity.get("IDF1"),
            "switches": identity.get("switches"),
            "shots": len(sequences),
            "truth": identity.get("truth", 0),
            "found": identity.get("found", 0),
            "similarity": f"max(0, 1 - distance / {settings.body_reach_ft:g} ft)",
        },
        "team": {"right": max(straight, crossed) / len(teams) if len(teams) else None, "count": len(teams)},
        "officials_kept_out": {
            "share": 1 - others_as_players / other_rows if other_rows else None,
            "count": other_rows,
        },
    }


def _players_and_others(
    true: _Bodies, found: _Bodies, book: RuleBook, settings: FilmScoreSettings
) -> tuple[np.ndarray, tuple[int, int]]:
    """One frame's counts of players, and of other bodies.

    Returns
    -------
    ndarray of shape (4,)
        True players on the floor that were found, true players on the floor; found players on the floor that are true
        players, found players on the floor.
    tuple of int
        Other bodies in the picture, and those that a found player stands for.
    """
    players, others = _only(true, ~true.official), _only(true, true.official)
    shown = _only(found, ~found.official)
    pairs = _pairs(players.place, shown.place, settings.body_reach_ft)
    matched_true, matched_found = np.zeros(len(players.ids), dtype=bool), np.zeros(len(shown.ids), dtype=bool)
    for t, f in pairs:
        matched_true[t] = matched_found[f] = True
    there = _on_floor(players.place, book, settings.edge_ft)
    here = _on_floor(shown.place, book, settings.edge_ft)
    let_in = _pairs(others.place, shown.place[~matched_found], settings.body_reach_ft)
    counts = np.array([(matched_true & there).sum(), there.sum(), (matched_found & here).sum(), here.sum()])
    return counts, (len(others.ids), len(let_in))


def _shares(counts: np.ndarray) -> dict[str, float | int | None]:
    """Recall and precision of players from the counts of :func:`_players_and_others`."""
    right_true, true, right_found, found = (int(c) for c in counts)
    return {
        "precision": right_found / found if found else None,
        "recall": right_true / true if true else None,
        "found": found,
        "truth": true,
    }


def detection_scores(
    joined: _Joined, truth: _Truth, true_boxes: pa.Table, found_boxes: pa.Table, settings: FilmScoreSettings
) -> dict[str, Any]:
    """Detections against true boxes in live frames, by overlap: bodies on the floor as one, ball and ring apart."""
    result = {}
    for name, classes in (("bodies", ("player", "official")), ("ball", ("ball",)), ("ring", ("ring",))):
        true, found = (_corners_by_frame(t, classes) for t in (true_boxes, found_boxes))
        right = found_count = true_count = 0
        for found_frame, true_index in zip(joined.found, joined.truth, strict=True):
            camera = truth.cameras.get(int(truth.frames[true_index]))
            if camera is None:
                continue
            t = true.get(int(truth.frames[true_index]), np.zeros((0, 5)))
            f = found.get(int(found_frame), np.zeros((0, 5)))
            f = f[f[:, 4] >= settings.least_box_score]
            if name == "bodies":
                t, f = (_feet_inside(b, camera, truth.book, settings) for b in (t, f))
            overlap = iou(t[:, :4], f[:, :4])
            rows, columns = linear_sum_assignment(-np.where(overlap >= settings.box_iou, overlap, 0.0))
            right += int(np.sum(overlap[rows, columns] >= settings.box_iou))
            found_count += len(f)
            true_count += len(t)
        result[name] = counted(right, found_count, true_count)
    return result


def _corners_by_frame(table: pa.Table, classes: Sequence[str]) -> dict[int, np.ndarray]:
    kept = table.filter(pc.is_in(table["class"], value_set=pa.array(list(classes)))).sort_by("frame")
    names = ("x1_px", "y1_px", "x2_px", "y2_px", "score")
    values = np.column_stack([kept[n].to_numpy().astype(np.float64) for n in names]).reshape(-1, 5)
    frame = kept["frame"].to_numpy()
    return {int(v): values[np.searchsorted(frame, v) : np.searchsorted(frame, v + 1)] for v in np.unique(frame)}


def _feet_inside(boxes: np.ndarray, camera: Camera, book: RuleBook, settings: FilmScoreSettings) -> np.ndarray:
    if not len(boxes):
        return boxes
    feet = camera.to_floor(np.column_stack([(boxes[:, 0] + boxes[:, 2]) / 2, boxes[:, 3]]))
    return boxes[_on_floor(feet, book, settings.edge_ft)]


def shot_scores(true_shots: pa.Table, found_shots: pa.Table, times_s: np.ndarray, reach_s: float) -> dict[str, Any]:
    """Shot boundaries by time, and live view by true frame."""
    true_cuts = np.sort(true_shots["start_s"].to_numpy())[1:]
    found_cuts = np.sort(found_shots["start_s"].to_numpy())[1:]
    boundaries = counted(len(match_times(found_cuts, true_cuts, reach_s)), len(found_cuts), len(true_cuts))
    true_live, _ = _live_at(true_shots, times_s)
    found_live, _ = _live_at(found_shots, times_s)
    live = counted(int(np.sum(true_live & found_live)), int(found_live.sum()), int(true_live.sum()))
    return {"boundaries": boundaries, "live": live}


def _kinds_told(truth_folder: Path) -> frozenset[str] | None:
    """Kinds of faults that a truth tells: all (None) beside a table of the doubtful ones, else the paint alone.

    Films made before the simulator told every fault have no such table.
    """
    return None if (truth_folder / "faults_unsure.parquet").is_file() else frozenset({"crowded_paint"})


def candidate_scores(
    true_faults: pa.Table, found_faults: pa.Table, reach_s: float, told: frozenset[str] | None = None
) -> dict[str, Any]:
    """Fault candidates against true faults, by kind and time, one to one.

    Parameters
    ----------
    true_faults, found_faults : pa.Table
        ``faults`` tables.
    reach_s : float
        A candidate is right within this time of a true one.
    told : frozenset of str, optional
        The kinds that the truth tells at all; others that were found count neither way. All when left out.
    """
    kinds = sorted(set(true_faults["kind"].to_pylist()) | set(found_faults["kind"].to_pylist()))
    if told is not None:
        kinds = [kind for kind in kinds if kind in told]
    per_kind = {}
    for kind in kinds:
        true, found = (t.filter(pc.equal(t["kind"], kind))["t_s"].to_numpy() for t in (true_faults, found_faults))
        per_kind[kind] = counted(len(match_times(found, true, reach_s)), len(found), len(true))
    total = [sum(int(s[key] or 0) for s in per_kind.values()) for key in ("right", "found", "truth")]
    return {"all": counted(*total), "kinds": per_kind, "told": None if told is None else sorted(told)}


def ball_scores(
    joined: _Joined,
    truth: _Truth,
    true: Mapping[str, pa.Table],
    found: Mapping[str, pa.Table],
    settings: FilmScoreSettings,
) -> dict[str, Any]:
    """Holder per frame, touches and possessions. A found track is the true actor it is nearest to in most frames."""
    actor_of = _track_actors(joined, truth, true["tracks"], found["tracks"], settings)
    true_holder = dict(zip(true["ball"]["frame"].to_pylist(), true["ball"]["holder"].to_pylist(), strict=True))
    found_holder = dict(zip(found["ball"]["frame"].to_pylist(), found["ball"]["holder"].to_pylist(), strict=True))
    held = right = 0
    for found_frame, true_index in zip(joined.found, joined.truth, strict=True):
        actor = true_holder.get(int(truth.frames[true_index]))
        if actor is None:
            continue
        held += 1
        track = found_holder.get(int(found_frame))
        right += track is not None and actor_of.get(int(track)) == actor
    result: dict[str, Any] = {"holder": {"right": right / held if held else None, "held_frames": held}}
    if "touches" in true and "touches" in found:
        rows = [r for r in true["touches"].to_pylist() if _inside_live(r, truth)]
        result |= touch_scores(found["touches"].to_pylist(), rows, actor_of, settings.pass_s)
    if "possessions" in true and "possessions" in found and truth.live.any():
        rows = [r for r in true["possessions"].to_pylist() if _inside_live(r, truth)]
        result |= possession_scores(found["possessions"].to_pylist(), rows, settings.possession_overlap)
    return result


def _inside_live(row: Mapping[str, Any], truth: _Truth) -> bool:
    """Whether a stretch of time lies, by its middle, in live view."""
    middle = 0.5 * (row["start_s"] + row["end_s"])
    nearest = int(np.argmin(np.abs(truth.times_s - middle)))
    return bool(truth.live[nearest])


def _track_actors(
    joined: _Joined, truth: _Truth, true_tracks: pa.Table, found_tracks: pa.Table, settings: FilmScoreSettings
) -> dict[int, int]:
    votes: dict[int, dict[int, int]] = {}
    true_frames, found_frames = _by_frame(true_tracks), _by_frame(found_tracks)
    for found_frame, true_index in zip(joined.found, joined.truth, strict=True):
        true, found = true_frames.get(int(truth.frames[true_index])), found_frames.get(int(found_frame))
        if true is None or found is None:
            continue
        for t, f in _pairs(true.place, found.place, settings.body_reach_ft):
            count = votes.setdefault(int(found.ids[f]), {})
            count[int(true.ids[t])] = count.get(int(true.ids[t]), 0) + 1
    return {track: max(sorted(count), key=lambda actor: count[actor]) for track, count in votes.items()}


def number_scores(
    joined: _Joined, truth: _Truth, true_tracks: pa.Table, found_tracks: pa.Table, settings: FilmScoreSettings
) -> dict[str, Any]:
    """Jersey numbers of found player tracks that follow a true player: how many have one, and how many are right.

    ``time_with_number`` is the share of their rows; a track is the true actor it is nearest to in most frames.
    """
    worn = dict(zip(true_tracks["track"].to_pylist(), true_tracks["jersey"].to_pylist(), strict=True))
    actor_of = _track_actors(joined, truth, true_tracks, found_tracks, settings)
    given: dict[int, str | None] = {}
    rows: dict[int, int] = {}
    players = found_tracks.filter(pc.equal(found_tracks["role"], "player"))
    for track, jersey in zip(players["track"].to_pylist(), players["jersey"].to_pylist(), strict=True):
        if worn.get(actor_of.get(track, -1)) is not None:
            given[track] = jersey
            rows[track] = rows.get(track, 0) + 1
    known = [track for track, jersey in given.items() if jersey is not None]
    right = sum(given[track] == worn[actor_of[track]] for track in known)
    return {
        "tracks": len(given),
        "with_number": len(known) / len(given) if given else None,
        "right": right / len(known) if known else None,
        "wrong": len(known) - right,
        "time_with_number": sum(rows[t] for t in known) / sum(rows.values()) if rows else None,
    }


def evaluate_film(game_folder: Path, truth_folder: Path, settings: FilmScoreSettings | None = None) -> dict[str, Any]:
    """Score a game's tables against the truth of its film.

    Parameters
    ----------
    game_folder : Path
        A game in a library (its ``tables`` folder is read), or a folder of tables.
    truth_folder : Path
        Truth tables as the simulator writes them beside a film.

    Returns
    -------
    dict
        ``court``, ``players``, ``numbers``, ``detection``, ``shots``, ``clock``, ``ball`` and ``candidates``, each
        with counts; ``clock``, ``ball`` or ``candidates`` is null where a table of theirs is missing on either side.
    """
    settings = settings or FilmScoreSettings()
    truth, true = _read_truth(truth_folder)
    tables = game_folder / "tables" if (game_folder / "tables").is_dir() else game_folder
    found = {s.name: s.read(tables) for s in (SHOTS, FRAMES, CAMERAS, BOXES, TRACKS)}
    for spec in (CLOCK, BALL, TOUCHES, POSSESSIONS, FAULTS):
        if spec.path(tables).is_file():
            found[spec.name] = spec.read(tables)
    joined = join_frames(found["frames"], truth)
    has_ball = "ball" in true and "ball" in found
    has_faults = "faults" in true and "faults" in found
    return {
        "court": court_error(joined, truth, _cameras(found["cameras"]), settings),
        "players": players_scores(joined, truth, true["tracks"], found["tracks"], settings),
        "numbers": number_scores(joined, truth, true["tracks"], found["tracks"], settings),
        "detection": detection_scores(joined, truth, true["boxes"], found["boxes"], settings),
        "shots": shot_scores(true["shots"], found["shots"], truth.times_s, settings.boundary_s),
        "clock": _clock(true, found, truth, settings),
        "ball": ball_scores(joined, truth, true, found, settings) if has_ball else None,
        "candidates": candidate_scores(true["faults"], found["faults"], settings.event_s, _kinds_told(truth_folder))
        if has_faults
        else None,
        "analysed_live_frames": len(joined.found),
    }


def _clock(
    true: Mapping[str, pa.Table], found: Mapping[str, pa.Table], truth: _Truth, settings: FilmScoreSettings
) -> dict[str, Any] | None:
    if "clock" not in true or "clock" not in found:
        return None
    clock = found["clock"].sort_by("frame")
    nearest = nearest_frames(clock["t_s"].to_numpy(), truth.times_s)
    return clock_scores(true["clock"].sort_by("frame"), clock, nearest, settings.clock_s)


def join_frames(frames: pa.Table, truth: _Truth) -> _Joined:
    """Analysed frames that the truth calls live, with their true frames."""
    times = frames["t_s"].to_numpy()
    nearest = nearest_frames(times, truth.times_s)
    kept = (nearest >= 0) & truth.live[np.maximum(nearest, 0)]
    return _Joined(frames["frame"].to_numpy()[kept], nearest[kept], truth.shot[nearest[kept]])
