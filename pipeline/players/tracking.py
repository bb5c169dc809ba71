"""Tracking on the court: boxes and cameras of a film become tracks in feet.

Per shot and offline. Every box's feet are put on the floor through the frame's camera, with the error
that the picture leaves there (a pixel at the far sideline is many inches, at the near one few); bodies are
associated in feet, where the camera's motion is gone, stitched over gaps with ten players and three
officials at most, given teams and roles, and smoothed over the whole shot.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.court.camera import Camera, NoCourt, camera_from_row
from pipeline.court.rule_books import RULE_BOOKS, RuleBook
from pipeline.court.tables import CAMERAS
from pipeline.film.tables import SHOTS
from pipeline.players.association import tracklets
from pipeline.players.identities import LookSpace, exchange, fit_looks, pair_ratios, stature_features
from pipeline.players.motion import MotionModel, inverse_2x2, smooth
from pipeline.players.pieces import Crowding, crowding, cut_at_encounters, look_parts, piece_looks, sighting_looks, worn
from pipeline.players.settings import AssociationSettings, PlacingSettings, TrackSettings
from pipeline.players.sightings import Population, Sightings
from pipeline.players.stitching import (
    Paths,
    capacity_chains,
    close_gaps,
    joined,
    link_ratios,
    paths_of,
    stature_ratios,
)
from pipeline.players.tables import BOXES, KIT_LENGTH, LOOK_LENGTH, TRACKS
from pipeline.players.teams import UNSURE, TeamKits, fit_teams, kit_lean, split_teams, track_team

BODY_HEIGHT_FT = 6.0
"""Height of the stick that is set up at a body's feet to measure how many pixels a foot is there."""

USUAL_BOX_FT = 6.3
"""Height of the box of a player at play: median over 40,000 boxes of rendered films, 6.3 to 6.6 by film."""

EDGE_PX = 3.0
"""A box that comes this near the picture's lower edge is cut by it."""

CUT_DOUBT = 9.0
"""How much more the variance of a place is whose feet lie below the picture."""

STATURE_SPREAD = (0.25, 0.12)
"""Spread of log width and log height of boxes in feet over bodies and postures."""


PARENT_SAYS = 12.0
"""Sightings that a path counts for when one of its pieces is judged: about a second."""


@dataclass(frozen=True, slots=True, eq=False)
class PlacedBoxes:
    """Boxes of bodies with their place on the floor.

    Attributes
    ----------
    row : (N,) int
        Row of each in the table given.
    frame : (N,) int
    place_ft : (N, 2)
    covariance_ft : (N, 2, 2)
    px_per_ft : (N,)
        Upright, at the feet.
    """

    row: np.ndarray
    frame: np.ndarray
    place_ft: np.ndarray
    covariance_ft: np.ndarray
    px_per_ft: np.ndarray


SOLE_FT = 0.65
"""How far the lowest pixel of a standing body lies from its middle, towards the camera: half a shoe and half a
stance. Median over 1,977 true boxes of the three one-possession sample clips: 0.65, 0.70 and 0.80 ft."""


def feet_on_court(
    boxes_px: np.ndarray,
    camera: Camera,
    stance_ft: float | np.ndarray = PlacingSettings.model_fields["stance_ft"].default,
    across: np.ndarray | None = None,
) -> np.ndarray:
    """Where the bodies in boxes stand.

    The bottom of a box is the sole that is nearest to the camera. The middle of the body is half a shoe and half a
    stance behind it, which a camera that looks down from the side would otherwise put too near.

    Parameters
    ----------
    boxes_px : (N, 4) ndarray
        x1, y1, x2, y2 in coded (lens-bent) pixels. N may be 0.
    camera : Camera
    stance_ft : float or (N,) ndarray
        How far behind, along the floor away from the camera.
    across : (N,) ndarray, optional
        How far right of the box's middle, in heights of the box.

    Returns
    -------
    (N, 2) ndarray
        Court feet; NaN at or beyond the horizon.
    """
    middle = (boxes_px[:, 0] + boxes_px[:, 2]) / 2
    if across is not None:
        middle = middle + across * (boxes_px[:, 3] - boxes_px[:, 1])
    soles = camera.to_floor(np.column_stack([middle, boxes_px[:, 3]]))
    away = soles - camera.centre_ft[:2]
    behind = np.reshape(stance_ft, (-1, 1))
    return soles + behind * away / np.linalg.norm(away, axis=1, keepdims=True)


def below_the_edge(boxes_px: np.ndarray, camera: Camera) -> tuple[np.ndarray, np.ndarray]:
    """Boxes that the picture's lower edge cuts, lengthened to where the feet of a body of usual height would be.

    Parameters
    ----------
    boxes_px : (N, 4) ndarray
    camera : Camera

    Returns
    -------
    (N, 4) ndarray
        The boxes; those that are not cut unchanged.
    (N,) bool ndarray
        Which are cut.
    """
    cut = boxes_px[:, 3] >= camera.size_px[1] - EDGE_PX
    whole = boxes_px.copy()
    for _ in range(4 if cut.any() else 0):  # the nearer the feet, the taller the body: settles in a few rounds
        middle = (whole[cut, 0] + whole[cut, 2]) / 2
        place = camera.to_floor(np.column_stack([middle, whole[cut, 3]]))
        floor, head = (np.column_stack([place, np.full(len(place), z)]) for z in (0.0, USUAL_BOX_FT))
        tall = np.linalg.norm(camera.project(head) - camera.project(floor), axis=1)
        lower = whole[cut, 1] + tall
        whole[cut, 3] = np.where(np.isfinite(lower), np.maximum(lower, boxes_px[cut, 3]), whole[cut, 3])
    return whole, cut


def floor_errors(boxes_px: np.ndarray, camera: Camera, settings: TrackSettings) -> np.ndarray:
    """Covariance of :func:`feet_on_court`, (N, 2, 2) in square feet: picture errors through the floor's Jacobian."""
    placing = settings.placing
    feet = np.column_stack([(boxes_px[:, 0] + boxes_px[:, 2]) / 2, boxes_px[:, 3]])
    here = camera.to_floor(feet)
    beside = camera.to_floor(feet + np.array([1.0, 0.0])) - here
    below = here - camera.to_floor(feet - np.array([0.0, 1.0]))
    below_other = camera.to_floor(feet + np.array([0.0, 1.0])) - here
    below = np.where(np.isfinite(below), below, below_other)
    jacobian = np.stack([beside, below], axis=2)
    size = boxes_px[:, 2:] - boxes_px[:, :2]
    sigma = np.column_stack([placing.across_sigma * size[:, 0], placing.down_sigma * size[:, 1]])
    sigma = np.maximum(sigma, 1.0)
    covariance = np.einsum("nij,nj,nkj->nik", jacobian, sigma**2, jacobian)
    covariance[:, [0, 1], [0, 1]] += placing.floor_sigma_ft**2
    return covariance


def _box_array(boxes: pa.Table) -> np.ndarray:
    names = ("x1_px", "y1_px", "x2_px", "y2_px")
    return np.column_stack([boxes[n].to_numpy(zero_copy_only=False).astype(np.float64) for n in names]).reshape(-1, 4)


def kit_array(boxes: pa.Table) -> np.ndarray:
    """Kits of a boxes table, (N, 6); NaN where null."""
    kits = np.full((boxes.num_rows, KIT_LENGTH), np.nan)
    column = boxes["kit_lab"].combine_chunks()
    known = np.flatnonzero(column.is_valid().to_numpy(zero_copy_only=False))
    if len(known):
        kits[known] = column.drop_null().flatten().to_numpy(zero_copy_only=False).reshape(-1, KIT_LENGTH)
    return kits


def look_array(boxes: pa.Table) -> np.ndarray:
    """Looks of a boxes table as shares' square roots, (N, LOOK_LENGTH), NaN where null; (N, 0) where all are null."""
    column = boxes["look"].combine_chunks()
    known = np.flatnonzero(column.is_valid().to_numpy(zero_copy_only=False))
    if not len(known):
        return np.zeros((boxes.num_rows, 0))
    looks = np.full((boxes.num_rows, LOOK_LENGTH), np.nan)
    looks[known] = column.drop_null().flatten().to_numpy(zero_copy_only=False).reshape(-1, LOOK_LENGTH) / 255
    return looks


def place_boxes(boxes: pa.Table, cameras: Mapping[int, Camera], book: RuleBook, settings: TrackSettings) -> PlacedBoxes:
    """Put the players and officials of a boxes table on the floor.

    Left out: other classes, weak detections, frames without a camera, feet beyond the court's margin, and the
    weaker of two boxes on one body.
    """
    classes = boxes["class"].to_pylist()
    score = boxes["score"].to_numpy(zero_copy_only=False)
    frames = boxes["frame"].to_numpy(zero_copy_only=False)
    corners = _box_array(boxes)
    body = np.array([c in ("player", "official") for c in classes], dtype=bool)
    usable = body & (score >= settings.placing.least_score) & np.isfinite(corners).all(axis=1)
    usable &= (corners[:, 2] > corners[:, 0]) & (corners[:, 3] > corners[:, 1])
    behind_ft, across = _stances(boxes, settings.placing)
    doubtful = np.ones(len(corners))
    parts: list[tuple[np.ndarray, ...]] = []
    rows = np.flatnonzero(usable)
    rows = rows[np.lexsort((*corners[rows].T, -score[rows], frames[rows]))]
    bounds = np.flatnonzero(np.diff(frames[rows])) + 1
    low, high = -settings.placing.margin_ft, np.array([book.length_ft, book.width_ft]) + settings.placing.margin_ft
    for own in np.split(rows, bounds):
        camera = cameras.get(int(frames[own[0]])) if len(own) else None
        if camera is None:
            continue
        own = own[_single_bodies(corners[own], settings.placing.double_iou)]
        whole, cut = below_the_edge(corners[own], camera)
        corners[own] = whole
        place = feet_on_court(whole, camera, behind_ft[own], across[own])
        doubtful[own] = np.where(cut, CUT_DOUBT, 1.0)
        inside = np.all((place >= low) & (place <= high), axis=1)
        own, place = own[inside], place[inside]
        if not len(own):
            continue
        covariance = floor_errors(corners[own], camera, settings) * doubtful[own][:, None, None]
        foot = np.column_stack([place, np.zeros(len(own))])
        head = np.column_stack([place, np.full(len(own), BODY_HEIGHT_FT)])
        tall = np.linalg.norm(camera.project(head) - camera.project(foot), axis=1) / BODY_HEIGHT_FT
        good = np.isfinite(covariance).all(axis=(1, 2)) & np.isfinite(tall) & (tall > 0)
        parts.append((own[good], frames[own[good]], place[good], covariance[good], tall[good]))
    if not parts:
        return PlacedBoxes(
            np.zeros(0, np.int64), np.zeros(0, np.int64), np.zeros((0, 2)), np.zeros((0, 2, 2)), np.zeros(0)
        )
    return PlacedBoxes(*(np.concatenate(column) for column in zip(*parts, strict=True)))


def _stances(boxes: pa.Table, placing: PlacingSettings) -> tuple[np.ndarray, np.ndarray]:
    """Where bodies stand against their boxes' lower edges: behind in feet and across in box heights, (N,) each.

    Where the picture was not asked, the typical stance.
    """
    across = boxes["stands_across"].to_numpy(zero_copy_only=False).astype(np.float64)
    away = boxes["stands_away_ft"].to_numpy(zero_copy_only=False).astype(np.float64)
    bound = placing.across_bound
    shift = placing.away_share * np.clip(away - placing.away_typical_ft, -placing.away_bound_ft, placing.away_bound_ft)
    return (
        placing.stance_ft + np.where(np.isfinite(shift), shift, 0.0),
        np.where(np.isfinite(across), np.clip(across, -bound, bound), 0.0),
    )


def _single_bodies(corners: np.ndarray, most_iou: float) -> np.ndarray:
    """Rows that stay when, of two boxes that overlap more than ``most_iou``, the later goes. Strongest come first."""
    kept: list[int] = []
    area = np.prod(corners[:, 2:] - corners[:, :2], axis=1)
    for row in range(len(corners)):
        others = corners[kept]
        inner = np.prod(
            np.clip(np.minimum(others[:, 2:], corners[row, 2:]) - np.maximum(others[:, :2], corners[row, :2]), 0, None),
            axis=1,
        )
        if not np.any(inner > most_iou * (area[kept] + area[row] - inner)):
            kept.append(row)
    return np.array(kept, dtype=np.int64)


def _cameras_by_frame(cameras: pa.Table) -> dict[int, Camera]:
    found = {}
    for row in cameras.to_pylist():
        camera = camera_from_row(row)
        if not isinstance(camera, NoCourt):
            found[int(row["frame"])] = camera
    return found


def book_of(cameras: pa.Table) -> RuleBook:
    """The rule book that most frames of a cameras table name; NBA where none does."""
    named = [n for n in cameras["rule_book"].to_pylist() if n in RULE_BOOKS]
    if not named:
        return RULE_BOOKS["nba"]
    return RULE_BOOKS[max(sorted(set(named)), key=named.count)]


def track(
    boxes: pa.Table,
    cameras: pa.Table,
    shots: pa.Table,
    settings: TrackSettings | None = None,
    *,
    team_colours: np.ndarray | None = None,
    on_shot: Callable[[int, int], None] | None = None,
) -> pa.Table:
    """Tracks in feet of all live shots of a film.

    Parameters
    ----------
    boxes, cameras, shots : pa.Table
        As their rooms declare them. The cameras' rows are the analysed frames.
    team_colours : (2, 3) or (2, 6) ndarray, optional
        Jersey (and shorts) CIELAB of team 0 and 1, where staff gave them.
    on_shot : callable, optional
        Called with how many live shots are done and how many there are.

    Returns
    -------
    pa.Table
        The ``tracks`` table, ordered by shot, frame and track. The order of rows given does not matter.
    """
    settings = settings or TrackSettings()
    boxes, cameras, shots = BOXES.check(boxes), CAMERAS.check(cameras), SHOTS.check(shots)
    live = shots.filter(shots["live"])["shot"].to_pylist()
    if not live:
        return TRACKS.empty()
    book = book_of(cameras)
    grids: dict[int, tuple[np.ndarray, np.ndarray]] = {}
    placed: dict[int, tuple[pa.Table, PlacedBoxes]] = {}
    views: dict[int, dict[int, Camera]] = {}
    for shot in sorted(live):
        rows = cameras.filter(pc.equal(cameras["shot"], shot)).sort_by("frame")
        grids[shot] = (rows["frame"].to_numpy(), rows["t_s"].to_numpy())
        views[shot] = _cameras_by_frame(rows)
        own = boxes.filter(pc.equal(boxes["shot"], shot))
        placed[shot] = (own, place_boxes(own, views[shot], book, settings))
    teams = _film_teams(list(placed.values()), book, settings, team_colours)
    begun = {
        shot: _followed(own, here, *grids[shot], book, settings, teams, views[shot])
        for shot, (own, here) in placed.items()
        if len(here.row)
    }
    space = _look_space(list(begun.values()), settings)
    bodies: dict[int, list[np.ndarray]] = {}
    for done, shot in enumerate(sorted(live)):
        if on_shot:
            on_shot(done, len(live))
        if shot in begun:
            bodies[shot] = _identified(begun[shot], settings, teams, space)
    sides = _sides(begun, bodies, settings, teams)
    columns: list[dict[str, Any]] = []
    name = 0
    for shot, paths in bodies.items():
        for own, team in zip(paths, sides[shot], strict=True):
            column = _columns(begun[shot], own, team, settings)
            column["track"] = np.full(len(column["frame"]), name, dtype=np.int32)
            column["shot"] = np.full(len(column["frame"]), shot, dtype=np.int32)
            columns.append(column)
            name += 1
    if on_shot:
        on_shot(len(live), len(live))
    if not columns:
        return TRACKS.empty()
    tables = [TRACKS.from_columns(column) for column in columns]
    return pa.concat_tables(tables).sort_by([("shot", "ascending"), ("frame", "ascending"), ("track", "ascending")])


def _on_court(place_ft: np.ndarray, book: RuleBook, edge_ft: float) -> np.ndarray:
    return np.all((place_ft >= -edge_ft) & (place_ft <= np.array([book.length_ft, book.width_ft]) + edge_ft), axis=1)


def _film_teams(
    placed: list[tuple[pa.Table, PlacedBoxes]], book: RuleBook, settings: TrackSettings, colours: np.ndarray | None
) -> TeamKits | None:
    """Kits of the two teams over the whole film, from players' boxes on the court."""
    kits = [np.zeros((0, KIT_LENGTH))]
    for table, here in placed:
        if not len(here.row):
            continue
        chosen = table.take(pa.array(here.row))
        player = np.array([c == "player" for c in chosen["class"].to_pylist()], dtype=bool)
        strong = chosen["score"].to_numpy(zero_copy_only=False) >= settings.association.strong_score
        inside = _on_court(here.place_ft, book, 0.0)
        kits.append(kit_array(chosen)[player & strong & inside])
    return fit_teams(np.concatenate(kits), settings.teams, prior=colours)


@dataclass(frozen=True, slots=True, eq=False)
class _Followed:
    """One shot followed from frame to frame, before it is known who is who.

    Attributes
    ----------
    frames : (F,) ndarray of int
    book : RuleBook
    sightings : Sightings
    corners : (N, 4) ndarray
        Boxes of the sightings, pixels.
    shown : (N, F) ndarray
        What each shows of its body.
    near : Crowding
    cameras : mapping of int to Camera
        By frame.
    rows : list of ndarray
        Sightings of each path.
    ratios : callable
        Paths and the longest gap to the log-likelihood ratios of links by motion, size and kit.
    """

    frames: np.ndarray
    book: RuleBook
    sightings: Sightings
    corners: np.ndarray
    shown: np.ndarray
    near: Crowding
    cameras: Mapping[int, Camera]
    rows: list[np.ndarray]
    ratios: Callable[[Paths, float, AssociationSettings], np.ndarray]


def _followed(
    boxes: pa.Table,
    placed: PlacedBoxes,
    frames: np.ndarray,
    times_s: np.ndarray,
    book: RuleBook,
    settings: TrackSettings,
    teams: TeamKits | None,
    cameras: Mapping[int, Camera],
) -> _Followed:
    """Follow bodies from frame to frame and close short gaps."""
    table = boxes.take(pa.array(placed.row))
    corners = _box_array(table)
    size = (corners[:, 2:] - corners[:, :2]) / placed.px_per_ft[:, None]
    score = table["score"].to_numpy(zero_copy_only=False).astype(np.float64)
    lowest = np.array([cameras[frame].size_px[1] for frame in placed.frame.tolist()])
    cut = corners[:, 3] >= lowest - EDGE_PX
    sightings = Sightings(
        moment=np.searchsorted(frames, placed.frame),
        times_s=np.array(times_s, dtype=np.float64),
        position=placed.place_ft,
        covariance=placed.covariance_ft,
        log_size=np.log(size),
        size_sigma=np.full((len(score), 2), 0.05),
        stature=np.where(cut, np.nan, np.log(size[:, 1] / BODY_HEIGHT_FT)),
        kit=kit_array(table),
        score=score,
        official=np.array([float(c == "official") for c in table["class"].to_pylist()]),
    )
    near = crowding(sightings, corners, settings.identities)
    doubt = 1 + settings.placing.covered_doubt * near.covered
    sightings = replace(sightings, covariance=sightings.covariance * doubt[:, None, None])
    model = _motion_model(settings)
    margin = 2 * settings.placing.margin_ft
    population = Population((book.length_ft + margin) * (book.width_ft + margin), STATURE_SPREAD)

    def in_view(moments: np.ndarray, positions: np.ndarray) -> np.ndarray:
        seen = np.zeros(len(moments), dtype=bool)
        for moment in np.unique(moments):
            camera = cameras.get(int(frames[moment]))
            if camera is None:
                continue
            own = moments == moment
            px = camera.project_floor(positions[own])
            with np.errstate(invalid="ignore"):
                seen[own] = np.all((px > 0) & (px < np.asarray(camera.size_px)), axis=1)
        return seen

    def ratios(paths: Paths, longest_gap_s: float, association: AssociationSettings) -> np.ndarray:
        return link_ratios(
            sightings,
            paths,
            model,
            settings.stitching,
            association,
            population,
            longest_gap_s=longest_gap_s,
            top_speed=settings.motion.top_speed_ft_s,
            in_view=in_view,
        )

    rows = tracklets(sightings, model, settings.association, population)
    for _ in range(2):
        paths = paths_of(sightings, rows, model)
        weighed = ratios(paths, settings.stitching.short_gap_s, settings.association)
        weighed = np.where(_other_team(sightings, paths, settings, teams), -np.inf, weighed)
        rows = close_gaps(rows, weighed + stature_ratios(paths, settings.stitching), settings.stitching.least_ratio)
    rows = [r for r in rows if _worth_following(sightings, r, settings)]
    rows = [r for r in rows if _stands_on_court(sightings.position[r], book, settings)]
    shown = sighting_looks(look_array(table), sightings.kit)
    return _Followed(frames, book, sightings, corners, shown, near, cameras, rows, ratios)


def _motion_model(settings: TrackSettings) -> MotionModel:
    motion = settings.motion
    return MotionModel((motion.speed_along_ft_s, motion.speed_across_ft_s), motion.keeps_s)


def _other_team(sightings: Sightings, paths: Paths, settings: TrackSettings, teams: TeamKits | None) -> np.ndarray:
    """Which pairs of paths wear different teams' kits, (T, T)."""
    worn = np.array([track_team(sightings.kit[own], teams, settings.teams) for own in paths.rows], dtype=np.int64)
    official = np.nan_to_num(paths.official) >= settings.official_share
    known = (worn != UNSURE) & (paths.kits >= 5) & ~official
    return known[:, None] & known[None, :] & (worn[:, None] != worn[None, :])


def _look_space(shots: Sequence[_Followed], settings: TrackSettings) -> LookSpace | None:
    """How bodies of the film look, learnt from all its shots."""
    identities = settings.identities
    stretches = [
        part
        for shot in shots
        for part in look_parts(
            shot.sightings,
            shot.shown,
            [r for r in shot.rows if np.mean(shot.sightings.official[r]) < settings.official_share],
            shot.near,
            identities,
        )
    ]
    steps = [float(np.median(np.diff(shot.sightings.times_s))) for shot in shots if len(shot.frames) > 1]
    part = identities.fit_step_s / float(np.median(steps)) if steps else 1.0
    return fit_looks(stretches, part, identities)


def _identified(
    shot: _Followed, settings: TrackSettings, teams: TeamKits | None, space: LookSpace | None
) -> list[np.ndarray]:
    """Sightings of each body of one shot."""
    sightings, stitching = shot.sightings, settings.stitching
    model = _motion_model(settings)
    pieces = cut_at_encounters(sightings, shot.rows, shot.near, settings.identities)
    paths = paths_of(sightings, pieces, model)
    called = _called_official(shot, pieces)
    association = settings.association
    if space is not None:  # the kit is part of the look
        association = association.model_copy(update={"kit_weight": 0.0})
    ratios = shot.ratios(paths, stitching.longest_gap_s, association)
    if space is None:
        ratios = np.where(_other_team(sightings, paths, settings, teams), -np.inf, ratios)
    lengths = np.array([len(r) for r in pieces], dtype=np.float64)
    features = stature_features(paths.stature, lengths, stitching)
    if space is not None:
        looks, counts = piece_looks(shot.shown, pieces, shot.near, settings.identities)
        features = features.join(space.features(looks, counts, settings.identities))
    first = sightings.moment[[r[0] for r in pieces]]
    last = sightings.moment[[r[-1] for r in pieces]]
    official = called >= settings.official_share
    whole: list[np.ndarray] = []
    for group, capacity in ((~official, settings.players), (official, settings.officials)):
        members = np.flatnonzero(group)
        grouped, part = [pieces[m] for m in members], ratios[np.ix_(members, members)]
        mine = features.of(members)
        chains = capacity_chains(grouped, part, part + pair_ratios(mine), capacity, stitching)
        links = np.where(np.isfinite(part), np.maximum(part, -stitching.link_floor), -np.inf)
        bodies = joined(grouped, exchange(chains, first[members], last[members], links, mine))
        whole.extend(_no_more_than(bodies, shot, capacity))
    spans = [sightings.time[own[-1]] - sightings.time[own[0]] for own in whole]
    lasting = [own for own, span in zip(whole, spans, strict=True) if span >= settings.shortest_s]
    return sorted(lasting, key=lambda r: (int(r[0]), int(r[-1])))


def _no_more_than(bodies: list[np.ndarray], shot: _Followed, capacity: int) -> list[np.ndarray]:
    """Leave out bodies that are there mostly while ``capacity`` others are: of several the one least seen in play.

    In play is inside the boundary: who stands just outside it is a coach, a substitute or an official.
    """
    bodies = list(bodies)
    inside = _on_court(shot.sightings.position, shot.book, 0.0)
    while len(bodies) > capacity:
        spans = [(int(shot.sightings.moment[own[0]]), int(shot.sightings.moment[own[-1]]) + 1) for own in bodies]
        there = np.zeros(len(shot.frames), dtype=np.int64)
        for begin, end in spans:
            there[begin:end] += 1
        crowded = [k for k, (begin, end) in enumerate(spans) if np.mean(there[begin:end] > capacity) > 0.5]
        if not crowded:
            break
        del bodies[min(crowded, key=lambda k: (int(inside[bodies[k]].sum()), spans[k]))]
    return bodies


def _called_official(shot: _Followed, pieces: list[np.ndarray]) -> np.ndarray:
    """Share of each piece's sightings that are called an official; a short piece also asks the path it was cut from."""
    path_of = np.full(len(shot.sightings), -1, dtype=np.int64)
    for name, own in enumerate(shot.rows):
        path_of[own] = name
    whole = np.array([shot.sightings.official[own].mean() for own in shot.rows])
    said = np.array([shot.sightings.official[own].sum() for own in pieces])
    counts = np.array([len(own) for own in pieces])
    parent = whole[[path_of[own[0]] for own in pieces]]
    return (said + PARENT_SAYS * parent) / (counts + PARENT_SAYS)


def _is_official(shot: _Followed, own: np.ndarray, settings: TrackSettings) -> bool:
    return bool(np.mean(shot.sightings.official[own]) >= settings.official_share)


def _sides(
    shots: Mapping[int, _Followed],
    bodies: Mapping[int, list[np.ndarray]],
    settings: TrackSettings,
    teams: TeamKits | None,
) -> dict[int, list[int]]:
    """Team of every body of every shot, told over the whole film; -1 for officials and where nothing is known."""
    sides = {shot: [UNSURE] * len(paths) for shot, paths in bodies.items()}
    if teams is None:
        return sides
    players = [
        (shot, k)
        for shot, paths in bodies.items()
        for k, own in enumerate(paths)
        if not _is_official(shots[shot], own, settings)
    ]
    if not players:
        return sides
    paths = [(shots[shot], bodies[shot][k]) for shot, k in players]
    wears = np.array([worn(shot.shown, own, shot.near, settings.identities) for shot, own in paths])
    lean = np.array([kit_lean(shot.sightings.kit[own], teams, settings.teams) for shot, own in paths])
    weight = np.array([len(own) for _, own in paths], dtype=np.float64)
    of_shot = np.array([shot for shot, _ in players])
    begin = np.array([shot.sightings.moment[own[0]] for shot, own in paths])
    end = np.array([shot.sightings.moment[own[-1]] for shot, own in paths])
    shared = np.minimum(end[:, None], end[None]) - np.maximum(begin[:, None], begin[None])
    share = np.clip(shared + 1, 0, None) / (end - begin + 1)[:, None]
    together = np.where(of_shot[:, None] == of_shot[None], share, 0.0)
    told = split_teams(wears, weight, lean, together, settings.teams)
    for (shot, k), team in zip(players, told.tolist(), strict=True):
        sides[shot][k] = team
    return sides


def _worth_following(sightings: Sightings, rows: np.ndarray, settings: TrackSettings) -> bool:
    """Enough sightings, close enough together, to be a body and no false alarm."""
    span = int(sightings.moment[rows[-1]] - sightings.moment[rows[0]]) + 1
    stitching = settings.stitching
    return len(rows) >= stitching.fewest_sightings and len(rows) >= stitching.least_density * span


def _stands_on_court(place_ft: np.ndarray, book: RuleBook, settings: TrackSettings) -> bool:
    return bool(_on_court(place_ft, book, settings.placing.edge_ft).mean() >= settings.placing.inside_share)


def robust_smooth(
    model: MotionModel, times_s: np.ndarray, places: np.ndarray, covariances: np.ndarray, freedom: float
) -> tuple[np.ndarray, np.ndarray]:
    """Smooth one path whose errors have heavy tails.

    Errors are Student-distributed with ``freedom`` degrees: an error's covariance is its nominal one times
    (freedom + m²) / (freedom + 2), m its Mahalanobis length, repeated until settled (three rounds; Lange, Little &
    Taylor 1989, *JASA* 84).

    Parameters
    ----------
    times_s : (L,)
    places : (L, 2)
        NaN where unseen; the first is seen.
    covariances : (L, 2, 2)

    Returns
    -------
    states (L, 4), spreads (L, 4, 4)
    """
    seen = np.isfinite(places).all(axis=1)
    inverse, _ = inverse_2x2(covariances)
    inflated = covariances
    for _ in range(4):
        states, spreads = smooth(model, times_s[None], places[None], inflated[None])
        miss = np.where(seen[:, None], places - states[0, :, :2], 0.0)
        squared = np.einsum("ni,nij,nj->n", miss, inverse, miss)
        factor = np.maximum((freedom + squared) / (freedom + 2), 1.0)
        inflated = covariances * factor[:, None, None]
    return states[0], spreads[0]


def _behind_others(
    shot: _Followed, moments: np.ndarray, places_ft: np.ndarray, settings: TrackSettings
) -> dict[int, tuple[np.ndarray, np.ndarray]]:
    """Where an unseen body is if another's box hides it: behind that other, as seen from the camera.

    Two bodies in one line of sight become one box, and the one that is not seen is the farther one.

    Parameters
    ----------
    moments : (M,) ndarray of int
        At which it is not seen.
    places_ft : (M, 2) ndarray
        Where it is expected then.

    Returns
    -------
    dict of int to (ndarray of shape (2,), ndarray of shape (2, 2))
        By moment the place, and its covariance.
    """
    placing, sightings = settings.placing, shot.sightings
    found = {}
    for moment, place in zip(moments.tolist(), places_ft, strict=True):
        camera = shot.cameras.get(int(shot.frames[moment]))
        begin, end = np.searchsorted(sightings.moment, [moment, moment + 1])
        if camera is None or begin == end:
            continue
        foot, head = (camera.project(np.array([[*place, z]]))[0] for z in (0.0, USUAL_BOX_FT))
        tall = foot[1] - head[1]
        if not tall > 0:
            continue
        expected = np.array([foot[0] - 0.2 * tall, head[1], foot[0] + 0.2 * tall, foot[1]])
        boxes = shot.corners[begin:end]
        shared = np.clip(np.minimum(boxes[:, 2:], expected[2:]) - np.maximum(boxes[:, :2], expected[:2]), 0, None)
        hidden = shared.prod(axis=1) / (0.4 * tall**2)
        other = int(np.argmax(hidden))
        if hidden[other] < placing.hidden_share:
            continue
        before = sightings.position[begin + other]
        ray = before - camera.centre_ft[:2]
        ray = ray / np.linalg.norm(ray)
        beside = np.array([-ray[1], ray[0]])
        along, across = placing.hidden_along_ft, placing.hidden_across_ft
        covariance = along**2 * np.outer(ray, ray) + across**2 * np.outer(beside, beside)
        found[moment] = (before + placing.hidden_behind_ft * ray, covariance)
    return found


def _columns(shot: _Followed, rows: np.ndarray, team: int, settings: TrackSettings) -> dict[str, Any]:
    """One track: smoothed on every analysed frame from its first to its last sighting."""
    sightings, frames, corners = shot.sightings, shot.frames, shot.corners
    model = _motion_model(settings)
    first, last = int(sightings.moment[rows[0]]), int(sightings.moment[rows[-1]])
    grid = np.arange(first, last + 1)
    at = sightings.moment[rows] - first
    times = sightings.times_s[grid]
    places = np.full((len(grid), 2), np.nan)
    covariances = np.tile(np.eye(2), (len(grid), 1, 1))
    places[at], covariances[at] = sightings.position[rows], sightings.covariance[rows]
    states, spreads = robust_smooth(model, times, places, covariances, settings.placing.outlier_freedom)
    behind = _behind_others(shot, grid[~np.isfinite(places[:, 0])], states[~np.isfinite(places[:, 0]), :2], settings)
    if behind:
        for moment, (place, covariance) in behind.items():
            places[moment - first], covariances[moment - first] = place, covariance
        states, spreads = robust_smooth(model, times, places, covariances, settings.placing.outlier_freedom)
    sigma = np.sqrt(np.trace(spreads[:, :2, :2], axis1=1, axis2=2) / 2 + settings.placing.stance_sigma_ft**2)
    seen = np.zeros(len(grid), dtype=bool)
    seen[at] = True
    since = np.maximum.accumulate(np.where(seen, np.arange(len(grid)), 0))
    until = np.minimum.accumulate(np.where(seen, np.arange(len(grid)), len(grid) - 1)[::-1])[::-1]
    shown = seen | ((times[until] - times[since] <= settings.fill_s) & (sigma <= settings.fill_sigma_ft))
    official = _is_official(shot, rows, settings)
    box = np.full((len(grid), 4), np.nan)
    box[at] = corners[rows]
    score = np.full(len(grid), float(np.mean(sightings.score[rows])))
    score = score * np.clip(1 - sigma / settings.fill_sigma_ft, 0, 1)
    score[at] = sightings.score[rows]
    count = int(shown.sum())
    hidden = ~seen[shown]

    def pixels(column: int) -> pa.Array:
        return pa.array(box[shown, column].astype(np.float32), mask=hidden)

    return {
        "frame": frames[grid[shown]],
        "t_s": times[shown],
        "role": ["official" if official else "player"] * count,
        "team": np.full(count, team, dtype=np.int8),
        "jersey": pa.nulls(count, pa.string()),
        "x_ft": states[shown, 0],
        "y_ft": states[shown, 1],
        "vx_ft_s": states[shown, 2],
        "vy_ft_s": states[shown, 3],
        "sigma_ft": sigma[shown].astype(np.float32),
        "observed": seen[shown],
        "x1_px": pixels(0),
        "y1_px": pixels(1),
        "x2_px": pixels(2),
        "y2_px": pixels(3),
        "score": score[shown].astype(np.float32),
    }
