"""One shot followed from frame to frame: what association and short gaps give, before it is known who is who."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pyarrow as pa

from pipeline.court.camera import Camera
from pipeline.court.rule_books import RuleBook
from pipeline.players.association import tracklets
from pipeline.players.motion import MotionModel
from pipeline.players.pieces import Crowding, crowding, sighting_looks
from pipeline.players.placing import BODY_HEIGHT_FT, EDGE_PX, PlacedBoxes, box_array, kit_array, look_array, on_court
from pipeline.players.settings import AssociationSettings, TrackSettings
from pipeline.players.sightings import Population, Sightings
from pipeline.players.stitching import Paths, close_gaps, link_ratios, paths_of, stature_ratios
from pipeline.players.teams import UNSURE, TeamKits, track_team

STATURE_SPREAD = (0.25, 0.12)
"""Spread of log width and log height of boxes in feet over bodies and postures."""


@dataclass(frozen=True, slots=True, eq=False)
class LinkWeights:
    """Log-likelihood ratios of links between the paths of one shot.

    Attributes
    ----------
    frames, cameras, sightings
        As in :class:`FollowedShot`.
    model : MotionModel
    population : Population
    settings : TrackSettings
    """

    frames: np.ndarray
    cameras: Mapping[int, Camera]
    sightings: Sightings
    model: MotionModel
    population: Population
    settings: TrackSettings

    def __call__(self, paths: Paths, longest_gap_s: float, association: AssociationSettings) -> np.ndarray:
        """Ratios of all pairs of paths, (T, T), for gaps up to the longest."""
        return link_ratios(
            self.sightings,
            paths,
            self.model,
            self.settings.stitching,
            association,
            self.population,
            longest_gap_s=longest_gap_s,
            top_speed=self.settings.motion.top_speed_ft_s,
            in_view=self.in_view,
        )

    def in_view(self, moments: np.ndarray, positions: np.ndarray) -> np.ndarray:
        """Which places (N, 2) are within the picture of their moments (N,)."""
        seen = np.zeros(len(moments), dtype=bool)
        for moment in np.unique(moments):
            camera = self.cameras.get(int(self.frames[moment]))
            if camera is None:
                continue
            own = moments == moment
            px = camera.project_floor(positions[own])
            with np.errstate(invalid="ignore"):
                seen[own] = np.all((px > 0) & (px < np.asarray(camera.size_px)), axis=1)
        return seen


@dataclass(frozen=True, slots=True, eq=False)
class FollowedShot:
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
    ratios : LinkWeights
        Of links between paths, by motion, size and kit.
    """

    frames: np.ndarray
    book: RuleBook
    sightings: Sightings
    corners: np.ndarray
    shown: np.ndarray
    near: Crowding
    cameras: Mapping[int, Camera]
    rows: list[np.ndarray]
    ratios: LinkWeights


def follow_shot(
    boxes: pa.Table,
    placed: PlacedBoxes,
    frames: np.ndarray,
    times_s: np.ndarray,
    book: RuleBook,
    settings: TrackSettings,
    teams: TeamKits | None,
    cameras: Mapping[int, Camera],
) -> FollowedShot:
    """Follow bodies from frame to frame and close short gaps."""
    table = boxes.take(pa.array(placed.row))
    corners = box_array(table)
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
    model = motion_model(settings)
    margin = 2 * settings.placing.margin_ft
    population = Population((book.length_ft + margin) * (book.width_ft + margin), STATURE_SPREAD)

    ratios = LinkWeights(frames, cameras, sightings, model, population, settings)
    rows = tracklets(sightings, model, settings.association, population)
    for _ in range(2):
        paths = paths_of(sightings, rows, model)
        weighed = ratios(paths, settings.stitching.short_gap_s, settings.association)
        weighed = np.where(other_team(sightings, paths, settings, teams), -np.inf, weighed)
        rows = close_gaps(rows, weighed + stature_ratios(paths, settings.stitching), settings.stitching.least_ratio)
    rows = [r for r in rows if _worth_following(sightings, r, settings)]
    rows = [r for r in rows if _stands_on_court(sightings.position[r], book, settings)]
    shown = sighting_looks(look_array(table), sightings.kit)
    return FollowedShot(frames, book, sightings, corners, shown, near, cameras, rows, ratios)


def motion_model(settings: TrackSettings) -> MotionModel:
    motion = settings.motion
    return MotionModel((motion.speed_along_ft_s, motion.speed_across_ft_s), motion.keeps_s)


def other_team(sightings: Sightings, paths: Paths, settings: TrackSettings, teams: TeamKits | None) -> np.ndarray:
    """Which pairs of paths wear different teams' kits, (T, T)."""
    worn = np.array([track_team(sightings.kit[own], teams, settings.teams) for own in paths.rows], dtype=np.int64)
    official = np.nan_to_num(paths.official) >= settings.official_share
    known = (worn != UNSURE) & (paths.kits >= 5) & ~official
    return known[:, None] & known[None, :] & (worn[:, None] != worn[None, :])


def is_official(shot: FollowedShot, own: np.ndarray, settings: TrackSettings) -> bool:
    return bool(np.mean(shot.sightings.official[own]) >= settings.official_share)


def _worth_following(sightings: Sightings, rows: np.ndarray, settings: TrackSettings) -> bool:
    """Enough sightings, close enough together, to be a body and no false alarm."""
    span = int(sightings.moment[rows[-1]] - sightings.moment[rows[0]]) + 1
    stitching = settings.stitching
    return len(rows) >= stitching.fewest_sightings and len(rows) >= stitching.least_density * span


def _stands_on_court(place_ft: np.ndarray, book: RuleBook, settings: TrackSettings) -> bool:
    return bool(on_court(place_ft, book, settings.placing.edge_ft).mean() >= settings.placing.inside_share)
