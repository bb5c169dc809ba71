"""Tracking on the court: boxes and cameras of a film become tracks in feet.

Per shot and offline. Every box's feet are put on the floor through the frame's camera, with the error
that the picture leaves there (a pixel at the far sideline is many inches, at the near one few); bodies are
associated in feet, where the camera's motion is gone, stitched over gaps with ten players and three
officials at most, given teams and roles, and smoothed over the whole shot.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.court.camera import Camera, NoCourt, camera_from_row
from pipeline.court.rule_books import RULE_BOOKS, RuleBook
from pipeline.court.tables import CAMERAS
from pipeline.crew import Spread, in_turn
from pipeline.film.tables import SHOTS
from pipeline.players.followed import FollowedShot, follow_shot, is_official, motion_model, other_team
from pipeline.players.identities import LookSpace, exchange, fit_looks, pair_ratios, stature_features
from pipeline.players.jersey_votes import box_of_reading, number_ratios
from pipeline.players.pieces import clothes, cut_at_encounters, look_parts, piece_looks, worn
from pipeline.players.placing import PlacedBoxes, kit_array, on_court, place_boxes
from pipeline.players.settings import TrackSettings, VotingSettings
from pipeline.players.stitching import capacity_chains, joined, paths_of
from pipeline.players.tables import BOXES, KIT_LENGTH, TRACKS
from pipeline.players.team_lean import TeamLean, fit_lean, turns
from pipeline.players.teams import UNSURE, TeamKits, fit_teams, kit_lean, split_teams
from pipeline.players.track_rows import track_columns

BODIES_TOGETHER = 4
"""Bodies of a shot whose rows are made together: one long shot is shared out as well."""

PARENT_SAYS = 12.0
"""Sightings that a path counts for when one of its pieces is judged: about a second."""


def track(
    boxes: pa.Table,
    cameras: pa.Table,
    shots: pa.Table,
    settings: TrackSettings | None = None,
    *,
    team_colours: np.ndarray | None = None,
    numbers_seen: pa.Table | None = None,
    voting: VotingSettings | None = None,
    on_shot: Callable[[int, int], None] | None = None,
    spread: Spread = in_turn,
) -> pa.Table:
    """Tracks in feet of all live shots of a film.

    Parameters
    ----------
    boxes, cameras, shots : pa.Table
        As their rooms declare them. The cameras' rows are the analysed frames.
    team_colours : (2, 3) or (2, 6) ndarray, optional
        Jersey (and shorts) CIELAB of team 0 and 1, where staff gave them.
    numbers_seen : pa.Table, optional
        Jersey numbers read in single pictures: bodies on which different ones were read are different bodies.
    voting : VotingSettings, optional
        How far they are believed.
    on_shot : callable, optional
        Called with how many live shots are done and how many there are.
    spread : Spread
        Shares out the shots; the result does not depend on it.

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
    grids: dict[int, pa.Table] = {}
    seen = []
    for shot in sorted(live):
        grids[shot] = cameras.filter(pc.equal(cameras["shot"], shot)).sort_by("frame")
        seen.append((boxes.filter(pc.equal(boxes["shot"], shot)), grids[shot]))
    placed = dict(zip(grids, spread(partial(_placed, book=book, settings=settings), seen), strict=True))
    teams = _film_teams(list(placed.values()), book, settings, team_colours)
    there = [shot for shot, (_, here) in placed.items() if len(here.row)]
    follow = partial(_followed, book=book, settings=settings, teams=teams)
    begun = dict(zip(there, spread(follow, [(*placed[shot], grids[shot]) for shot in there]), strict=True))
    space = _look_space(list(begun.values()), settings)
    lean = _team_lean(list(begun.values()), settings, teams)
    identify = partial(_identified, settings=settings, teams=teams, space=space, lean=lean)
    read = [_readings(shot, name, numbers_seen, voting or VotingSettings()) for name, shot in begun.items()]
    bodies: dict[int, list[np.ndarray]] = {}
    for shot, paths in zip(begun, spread(identify, list(zip(begun.values(), read, strict=True))), strict=True):
        bodies[shot] = paths
        if on_shot:
            on_shot(len(bodies), len(live))
    sides = _sides(begun, bodies, settings, teams)
    together = [
        (shot, list(zip(bodies[shot], sides[shot], strict=True))[k : k + BODIES_TOGETHER])
        for shot in bodies
        for k in range(0, len(bodies[shot]), BODIES_TOGETHER)
    ]
    written = spread(partial(_columns, settings=settings), [(begun[shot], some) for shot, some in together])
    tables: list[pa.Table] = []
    name = 0
    for (shot, _), columns in zip(together, written, strict=True):
        for column in columns:
            column["track"] = np.full(len(column["frame"]), name, dtype=np.int32)
            column["shot"] = np.full(len(column["frame"]), shot, dtype=np.int32)
            tables.append(TRACKS.from_columns(column))
            name += 1
    if on_shot:
        on_shot(len(live), len(live))
    if not tables:
        return TRACKS.empty()
    return pa.concat_tables(tables).sort_by([("shot", "ascending"), ("frame", "ascending"), ("track", "ascending")])


def _placed(
    shot: tuple[pa.Table, pa.Table], *, book: RuleBook, settings: TrackSettings
) -> tuple[pa.Table, PlacedBoxes]:
    """A shot's boxes, and where they stand by its cameras."""
    boxes, cameras = shot
    return boxes, place_boxes(boxes, _cameras_by_frame(cameras), book, settings)


def _followed(
    shot: tuple[pa.Table, PlacedBoxes, pa.Table], *, book: RuleBook, settings: TrackSettings, teams: TeamKits | None
) -> FollowedShot:
    """A shot's bodies followed from frame to frame."""
    boxes, here, cameras = shot
    times = (cameras["frame"].to_numpy(), cameras["t_s"].to_numpy())
    return follow_shot(boxes, here, *times, book, settings, teams, _cameras_by_frame(cameras))


def _columns(
    shot: tuple[FollowedShot, list[tuple[np.ndarray, int]]], *, settings: TrackSettings
) -> list[dict[str, Any]]:
    """Columns of the ``tracks`` table for some bodies of a shot, given their sightings and teams."""
    followed, bodies = shot
    return [track_columns(followed, own, team, settings) for own, team in bodies]


def book_of(cameras: pa.Table) -> RuleBook:
    """The rule book that most frames of a cameras table name; NBA where none does."""
    named = [n for n in cameras["rule_book"].to_pylist() if n in RULE_BOOKS]
    if not named:
        return RULE_BOOKS["nba"]
    return RULE_BOOKS[max(sorted(set(named)), key=named.count)]


def _cameras_by_frame(cameras: pa.Table) -> dict[int, Camera]:
    found = {}
    for row in cameras.to_pylist():
        camera = camera_from_row(row)
        if not isinstance(camera, NoCourt):
            found[int(row["frame"])] = camera
    return found


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
        inside = on_court(here.place_ft, book, 0.0)
        kits.append(kit_array(chosen)[player & strong & inside])
    return fit_teams(np.concatenate(kits), settings.teams, prior=colours)


def _look_space(shots: Sequence[FollowedShot], settings: TrackSettings) -> LookSpace | None:
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


def _team_lean(shots: Sequence[FollowedShot], settings: TrackSettings, teams: TeamKits | None) -> TeamLean | None:
    """How the film's sightings lean to its two teams, learnt from all its shots."""
    if teams is None:
        return None
    players = [(shot, r) for shot in shots for r in shot.rows if not is_official(shot, r, settings)]
    step = -(-sum(len(r) for _, r in players) // settings.lean.most_sightings) or 1
    some = [(shot, r[::step]) for shot, r in players]
    return fit_lean(
        [clothes(shot.shown[r]) for shot, r in some],
        [shot.near.covered[r] for shot, r in some],
        np.array([kit_lean(shot.sightings.kit[r], teams, settings.teams) for shot, r in some]),
        settings.lean,
        settings.teams,
    )


def _readings(
    shot: FollowedShot, name: int, numbers_seen: pa.Table | None, voting: VotingSettings
) -> tuple[np.ndarray, np.ndarray]:
    """Sightings (N,) of one shot on which a number was read, and what each reading says, (N, K)."""
    if numbers_seen is None:
        return np.zeros(0, dtype=np.int64), np.zeros((0, 0))
    own = numbers_seen.filter(pc.field("shot") == name)
    row = box_of_reading(shot.frames[shot.sightings.moment], shot.corners, own, voting)
    texts = [text for text, at in zip(own["text"].to_pylist(), row.tolist(), strict=True) if at >= 0]
    if not texts:
        return np.zeros(0, dtype=np.int64), np.zeros((0, 0))
    return row[row >= 0], number_ratios(texts, own["score"].to_numpy().astype(np.float64)[row >= 0], voting)


def _identified(
    seen: tuple[FollowedShot, tuple[np.ndarray, np.ndarray]],
    *,
    settings: TrackSettings,
    teams: TeamKits | None,
    space: LookSpace | None,
    lean: TeamLean | None,
) -> list[np.ndarray]:
    """Sightings of each body of one shot, given with its jersey numbers as :func:`_readings` has them."""
    shot, (read, said) = seen
    sightings, stitching = shot.sightings, settings.stitching
    model = motion_model(settings)
    odds, turned = np.zeros(len(sightings)), []
    if lean is not None:
        step_s = float(np.median(np.diff(sightings.times_s))) if len(sightings.times_s) > 1 else settings.lean.alike_s
        odds = lean.log_odds(clothes(shot.shown), shot.near.covered, settings.lean)
        odds = odds * np.where(sightings.official > 0.5, 0.0, min(step_s / settings.lean.alike_s, 1.0))
        turned = [int(own[k]) for own in shot.rows for k in turns(odds[own], settings.lean.change_cost)]
    pieces = cut_at_encounters(sightings, shot.rows, shot.near, settings.identities, turned)
    paths = paths_of(sightings, pieces, model)
    called = _called_official(shot, pieces)
    association = settings.association
    if space is not None:  # the kit is part of the look
        association = association.model_copy(update={"kit_weight": 0.0})
    ratios = shot.ratios(paths, stitching.longest_gap_s, association)
    if space is None:
        ratios = np.where(other_team(sightings, paths, settings, teams), -np.inf, ratios)
    lengths = np.array([len(r) for r in pieces], dtype=np.float64)
    features = stature_features(paths.stature, lengths, stitching)
    if space is not None:
        looks, counts = piece_looks(shot.shown, pieces, shot.near, settings.identities)
        features = features.join(space.features(looks, counts, settings.identities))
    piece_of = np.full(len(sightings), len(pieces), dtype=np.int64)
    for name, own in enumerate(pieces):
        piece_of[own] = name
    numbers = np.zeros((len(pieces) + 1, said.shape[1]))
    np.add.at(numbers, piece_of[read], said)
    features = replace(features, odds=np.array([odds[own].sum() for own in pieces]), numbers=numbers[:-1])
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


def _no_more_than(bodies: list[np.ndarray], shot: FollowedShot, capacity: int) -> list[np.ndarray]:
    """Leave out bodies that are there mostly while ``capacity`` others are: of several the one least seen in play.

    In play is inside the boundary: who stands just outside it is a coach, a substitute or an official.
    """
    bodies = list(bodies)
    inside = on_court(shot.sightings.position, shot.book, 0.0)
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


def _called_official(shot: FollowedShot, pieces: list[np.ndarray]) -> np.ndarray:
    """Share of each piece's sightings that are called an official; a short piece also asks the path it was cut from."""
    path_of = np.full(len(shot.sightings), -1, dtype=np.int64)
    for name, own in enumerate(shot.rows):
        path_of[own] = name
    whole = np.array([shot.sightings.official[own].mean() for own in shot.rows])
    said = np.array([shot.sightings.official[own].sum() for own in pieces])
    counts = np.array([len(own) for own in pieces])
    parent = whole[[path_of[own[0]] for own in pieces]]
    return (said + PARENT_SAYS * parent) / (counts + PARENT_SAYS)


def _sides(
    shots: Mapping[int, FollowedShot],
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
        if not is_official(shots[shot], own, settings)
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
