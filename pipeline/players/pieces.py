"""Pieces: paths cut wherever two bodies may have exchanged names, and what each piece shows of its body.

Where two boxes overlap, or one body comes or goes beside another, association decides by motion alone and may be wrong
in both directions of time. There both paths are cut; :mod:`pipeline.players.identities` then decides with everything
the pieces on both sides show.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from pipeline.players.body_looks import STRIPES
from pipeline.players.settings import IdentitySettings
from pipeline.players.sightings import Sightings
from pipeline.players.tables import KIT_LENGTH, LOOK_LENGTH

KIT_SCALE = 100.0
"""CIELAB units of a kit to one unit of a look."""


@dataclass(frozen=True, slots=True, eq=False)
class Crowding:
    """How near other bodies' boxes are, for every sighting of a shot.

    Attributes
    ----------
    first, second : (M,) ndarray of int
        Sightings of one moment whose bodies are near each other in the picture or on the floor; first < second.
    nearness : (M,) ndarray
        Overlap of the boxes as a share of the smaller, plus a share for nearness on the floor: where it is greatest,
        an exchange is likeliest.
    covered : (N,) ndarray
        Largest share of each box that one box in front of it covers.
    """

    first: np.ndarray
    second: np.ndarray
    nearness: np.ndarray
    covered: np.ndarray


def crowding(sightings: Sightings, boxes_px: np.ndarray, settings: IdentitySettings) -> Crowding:
    """Find neighbours among sightings with boxes (N, 4) in pixels."""
    bounds = np.searchsorted(sightings.moment, np.arange(len(sightings.times_s) + 1))
    covered = np.zeros(len(sightings))
    firsts, seconds, values = [np.zeros(0, np.int64)], [np.zeros(0, np.int64)], [np.zeros(0)]
    for begin, end in pairwise(bounds):
        own = boxes_px[begin:end]
        if len(own) < 2:
            continue
        low = np.maximum(own[:, None, :2], own[None, :, :2])
        high = np.minimum(own[:, None, 2:], own[None, :, 2:])
        inner = np.prod(np.clip(high - low, 0, None), axis=2)
        area = np.prod(own[:, 2:] - own[:, :2], axis=1)
        np.fill_diagonal(inner, 0.0)
        in_front = own[None, :, 3] > own[:, None, 3]
        covered[begin:end] = np.max(np.where(in_front, inner / area[:, None], 0.0), axis=1)
        shared = inner / np.minimum(area[:, None], area[None])
        place = sightings.position[begin:end]
        apart = np.linalg.norm(place[:, None] - place[None], axis=2)
        a, b = np.nonzero(np.triu((shared >= settings.overlap) | (apart <= settings.reach_ft), 1))
        firsts.append(a + begin)
        seconds.append(b + begin)
        values.append(shared[a, b] + np.clip(1 - apart[a, b] / settings.reach_ft, 0, 1))
    return Crowding(np.concatenate(firsts), np.concatenate(seconds), np.concatenate(values), covered)


def cut_at_encounters(
    sightings: Sightings,
    rows: list[np.ndarray],
    near: Crowding,
    settings: IdentitySettings,
    turned: Sequence[int] = (),
) -> list[np.ndarray]:
    """Cut paths where two of them may have exchanged bodies.

    Once in every encounter, where the two are nearest; where another path begins or ends beside one; and where what a
    path wears turned, with those beside it then.

    Parameters
    ----------
    rows : list of (n_i,) int ndarray
        Sightings of each path, increasing.
    near : Crowding
    turned : sequence of int
        Sightings from which on a path wears the other team's clothes.

    Returns
    -------
    list of ndarray
        The pieces, ordered by their first sighting.
    """
    path_of = np.full(len(sightings), -1, dtype=np.int64)
    for name, own in enumerate(rows):
        path_of[own] = name
    cuts: set[int] = set()
    pa, pb = path_of[near.first], path_of[near.second]
    kept = np.flatnonzero((pa >= 0) & (pb >= 0) & (pa != pb))
    low, high = np.minimum(pa, pb)[kept], np.maximum(pa, pb)[kept]
    moment = sightings.moment[near.first[kept]]
    order = np.lexsort((moment, high, low))
    kept, low, high, moment = kept[order], low[order], high[order], moment[order]
    times = sightings.times_s[moment]
    new = (np.diff(low) != 0) | (np.diff(high) != 0) | (np.diff(times) > settings.encounter_s)
    for meeting in np.split(kept, np.flatnonzero(new) + 1):
        if len(meeting):
            nearest = meeting[int(np.argmax(near.nearness[meeting]))]
            cuts.update((int(near.first[nearest]), int(near.second[nearest])))
    bounds = np.searchsorted(sightings.moment, np.arange(len(sightings.times_s) + 1))
    for row in [*(int(row) for own in rows for row in (own[0], own[-1])), *turned]:
        here = np.arange(bounds[sightings.moment[row]], bounds[sightings.moment[row] + 1])
        apart = np.linalg.norm(sightings.position[here] - sightings.position[row], axis=1)
        cuts.update(here[(apart <= settings.lost_ft) & (here != row)].tolist())
    cuts.update(turned)
    pieces = []
    for own in rows:
        places = [k for k, row in enumerate(own.tolist()) if k > 0 and row in cuts]
        pieces.extend(np.split(own, places))
    return sorted(pieces, key=lambda r: int(r[0]))


def sighting_looks(look: np.ndarray, kit: np.ndarray) -> np.ndarray:
    """What every sighting shows, as one vector: (N, L) shares and (N, 6) kits to (N, F); NaN where unread.

    Without any look in the shot the kits alone.
    """
    kits = kit / KIT_SCALE
    return np.concatenate([look, kits], axis=1) if look.shape[1] else kits


def _means(shown: np.ndarray, rows: np.ndarray, clear: np.ndarray) -> tuple[np.ndarray, int]:
    """Mean over the clear sightings among ``rows``, and how many they are."""
    own = rows[clear[rows]]
    return (shown[own].mean(axis=0) if len(own) else np.full(shown.shape[1], np.nan)), len(own)


def piece_looks(
    shown: np.ndarray, pieces: list[np.ndarray], near: Crowding, settings: IdentitySettings
) -> tuple[np.ndarray, np.ndarray]:
    """Mean look of each piece over its clear sightings, (T, F), NaN with too few; and how many they are, (T,)."""
    clear = np.isfinite(shown).all(axis=1) & (near.covered < settings.clear_share)
    looks = np.full((len(pieces), shown.shape[1]), np.nan)
    counts = np.zeros(len(pieces))
    for name, own in enumerate(pieces):
        mean, counts[name] = _means(shown, own, clear)
        if counts[name] >= settings.look_from:
            looks[name] = mean
    return looks, counts


def look_parts(
    sightings: Sightings, shown: np.ndarray, rows: list[np.ndarray], near: Crowding, settings: IdentitySettings
) -> list[np.ndarray]:
    """Looks of the parts of long unbroken stretches: for each stretch (parts, F), to learn from."""
    clear = np.isfinite(shown).all(axis=1) & (near.covered < settings.clear_share)
    stretches = []
    for own in rows:
        times = sightings.time[own]
        if times[-1] - times[0] < settings.fit_from_s:
            continue
        part = np.floor((times - times[0]) / settings.fit_step_s).astype(np.int64)
        stretch = np.floor((times - times[0]) / settings.fit_most_s).astype(np.int64)
        for number in np.unique(stretch):
            means = []
            for piece in np.unique(part[stretch == number]):
                mean, count = _means(shown, own[(part == piece) & (stretch == number)], clear)
                if count >= settings.look_from:
                    means.append(mean)
            if len(means) >= 2:
                stretches.append(np.array(means))
    return stretches


def worn(shown: np.ndarray, rows: np.ndarray, near: Crowding, settings: IdentitySettings) -> np.ndarray:
    """Mean of what one body wears, over its clear sightings among ``rows``: jersey and shorts only, NaN if unread."""
    clear = np.isfinite(shown).all(axis=1) & (near.covered < settings.clear_share)
    return clothes(_means(shown, rows, clear)[0])


def clothes(shown: np.ndarray) -> np.ndarray:
    """Of what is shown (..., F), jersey and shorts: the second to the fifth of eight stripes, and the kits."""
    if shown.shape[-1] == KIT_LENGTH:
        return shown
    stripe = LOOK_LENGTH // STRIPES
    return np.concatenate([shown[..., stripe : 5 * stripe], shown[..., LOOK_LENGTH:]], axis=-1)
