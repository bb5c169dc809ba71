"""Which number a track wears: all readings of its torso vote.

A reading is right with the probability that the reader gives it; if not, it is likelier to show a part of the number
worn (a hidden digit) or to share a digit with it than to be anything. Readings of one track are far from independent
(the same fold, the same blur), so each counts for less than one (``reading_weight``), and none can say more against a
number than ``least_likelihood``. The posterior over all numbers, or those of the team's roster, decides (Bayes' rule
with a uniform prior); a track whose readings are few or disagree wears an unknown number.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from pipeline.players.settings import VotingSettings
from pipeline.players.tables import NUMBERS_SEEN, TRACKS

NUMBERS = ("00", *(str(n) for n in range(100)))
"""Every number that a rule book allows a player."""

BOX_NAMES = ("x1_px", "y1_px", "x2_px", "y2_px")


@dataclass(frozen=True, slots=True)
class WornNumber:
    """What the readings of one track come to.

    Attributes
    ----------
    track : int
    number : str
        The likeliest.
    probability : float
        Of it, given all readings.
    readings, agreeing : int
        How many there are, and how many show this number.
    support : float
        Sum of the agreeing readings' scores.
    """

    track: int
    number: str
    probability: float
    readings: int
    agreeing: int
    support: float


def read_of_track(tracks: pa.Table, numbers_seen: pa.Table, settings: VotingSettings) -> np.ndarray:
    """The track whose box each reading was taken from, (N,); -1 where it belongs to none.

    A reading's box is that of a detection, and so is a track's in every frame where it was observed: the track with the
    greatest overlap in the reading's frame has it.
    """
    found = np.full(numbers_seen.num_rows, -1, dtype=np.int64)
    observed = tracks.filter(tracks["observed"]).sort_by("frame")
    if not observed.num_rows or not numbers_seen.num_rows:
        return found
    boxes = np.column_stack([observed[n].to_numpy(zero_copy_only=False) for n in BOX_NAMES]).astype(np.float64)
    row = box_of_reading(observed["frame"].to_numpy(), boxes, numbers_seen, settings)
    return np.where(row >= 0, observed["track"].to_numpy()[row], -1)


def box_of_reading(
    frames: np.ndarray, boxes: np.ndarray, numbers_seen: pa.Table, settings: VotingSettings
) -> np.ndarray:
    """The box (M, 4), in order of its frame (M,), that each reading was taken from, (N,); -1 where none."""
    found = np.full(numbers_seen.num_rows, -1, dtype=np.int64)
    own = np.column_stack([numbers_seen[n].to_numpy() for n in BOX_NAMES]).astype(np.float64)
    for row, frame in enumerate(numbers_seen["frame"].to_numpy()):
        first, last = np.searchsorted(frames, [frame, frame + 1])
        if first == last:
            continue
        near = boxes[first:last]
        inner = np.minimum(near[:, 2:], own[row, 2:]) - np.maximum(near[:, :2], own[row, :2])
        shared = np.prod(np.clip(inner, 0, None), axis=1)
        areas = np.prod(near[:, 2:] - near[:, :2], axis=1) + np.prod(own[row, 2:] - own[row, :2])
        overlap = shared / np.maximum(areas - shared, 1e-9)
        best = int(np.argmax(overlap))
        if overlap[best] >= settings.same_box_iou:
            found[row] = first + best
    return found


def likelihoods(text: str, numbers: Sequence[str], settings: VotingSettings) -> np.ndarray:
    """How likely a wrong reading shows ``text`` where each of the numbers is worn, (K,)."""

    def of(number: str) -> float:
        if len(text) == 1 and len(number) == 2 and text in number:
            return settings.part_share
        if len(text) == 2 and len(number) == 1 and number in text:
            return settings.part_share / 3
        same = len(text) == len(number) and any(a == b for a, b in zip(text, number, strict=True))
        return settings.near_share if same else 1 / len(NUMBERS)

    return np.array([of(number) for number in numbers])


def number_ratios(texts: Sequence[str], scores: np.ndarray, settings: VotingSettings) -> np.ndarray:
    """How much likelier each reading is where each number is worn than at large, in logarithms, (N, K + 1).

    The K numbers are the different ones among ``texts``; the last column is that none of them is worn.
    """
    numbers = tuple(dict.fromkeys(texts))
    found = np.zeros((len(texts), len(numbers) + 1))
    for row, (text, score) in enumerate(zip(texts, scores, strict=True)):
        right = np.array([score if text == number else 0.0 for number in numbers])
        each = right + (1 - score) * likelihoods(text, numbers, settings)
        each = np.append(np.maximum(each, settings.least_likelihood / len(NUMBERS)), settings.noise_share)
        found[row] = settings.reading_weight * np.log(each / each.mean())
    return found


def vote(
    texts: Sequence[str], scores: np.ndarray, numbers: Sequence[str], settings: VotingSettings
) -> tuple[str, float] | None:
    """The likeliest of the numbers given the readings, and its probability; None without numbers or readings.

    One more hypothesis stands beside the numbers: something is worn that none of them is, and readings are noise. Where
    it wins there is no number either.
    """
    if not len(texts) or not len(numbers):
        return None
    total = np.zeros(len(numbers) + 1)
    for text, score in zip(texts, scores, strict=True):
        wrong = (1 - score) * likelihoods(text, numbers, settings)
        right = np.array([score if text == number else 0.0 for number in numbers])
        each = np.maximum(right + wrong, settings.least_likelihood / len(NUMBERS))
        total += settings.reading_weight * np.log(np.append(each, settings.noise_share))
    share = np.exp(total - total.max())
    share /= share.sum()
    best = int(np.argmax(share))
    return (numbers[best], float(share[best])) if best < len(numbers) else None


def worn_numbers(
    tracks: pa.Table,
    numbers_seen: pa.Table,
    rosters: Mapping[int, Sequence[str]],
    settings: VotingSettings | None = None,
) -> dict[int, WornNumber]:
    """What each player's readings come to, believed or not, by track; tracks without readings are left out.

    Parameters
    ----------
    tracks, numbers_seen : pa.Table
        As `tables` declares them.
    rosters : mapping of team (0, 1) to numbers
        A team with a roster wears nothing else; a team without one may wear any number.
    """
    settings = settings or VotingSettings()
    tracks, numbers_seen = TRACKS.check(tracks), NUMBERS_SEEN.check(numbers_seen)
    owner = read_of_track(tracks, numbers_seen, settings)
    texts = np.array(numbers_seen["text"].to_pylist(), dtype=object)
    scores = numbers_seen["score"].to_numpy().astype(np.float64)
    found = {}
    for track, (team, role) in _sides(tracks).items():
        own = np.flatnonzero((owner == track) & (scores >= settings.least_score))
        if role != "player" or not len(own):
            continue
        numbers = tuple(rosters.get(team, ())) or NUMBERS
        if team not in (0, 1) and all(rosters.get(t) for t in (0, 1)):
            numbers = tuple(dict.fromkeys([*rosters[0], *rosters[1]]))
        won = vote(list(texts[own]), scores[own], numbers, settings)
        if won is None:
            continue
        agreeing = own[texts[own] == won[0]]
        found[track] = WornNumber(track, *won, len(own), len(agreeing), float(scores[agreeing].sum()))
    return found


def _sides(tracks: pa.Table) -> dict[int, tuple[int, str]]:
    """Team and role of each track."""
    names, first = np.unique(tracks["track"].to_numpy(), return_index=True)
    chosen = tracks.take(pa.array(first))
    sides = zip(chosen["team"].to_pylist(), chosen["role"].to_pylist(), strict=True)
    return {int(name): side for name, side in zip(names, sides, strict=True)}


def believed(worn: WornNumber, settings: VotingSettings) -> bool:
    """Whether a track's readings are enough, agree, and leave no likely other number."""
    return (
        worn.agreeing >= settings.fewest_readings
        and worn.agreeing >= settings.least_share * worn.readings
        and worn.support >= settings.least_support
        and worn.probability >= settings.least_probability
    )


def with_jerseys(
    tracks: pa.Table,
    numbers_seen: pa.Table,
    rosters: Mapping[int, Sequence[str]],
    settings: VotingSettings | None = None,
) -> pa.Table:
    """Tracks with their ``jersey`` filled in where the readings are believed; see :func:`worn_numbers`.

    Of two tracks of one team that are on the floor at the same time only one can wear a number: the one with far more
    support, or else neither.
    """
    settings = settings or VotingSettings()
    kept = {t: w for t, w in worn_numbers(tracks, numbers_seen, rosters, settings).items() if believed(w, settings)}
    if not kept:
        return tracks
    sides = _sides(tracks)
    track_of_row, frame_of_row = tracks["track"].to_numpy(), tracks["frame"].to_numpy()
    frames = {t: np.unique(frame_of_row[track_of_row == t]) for t in kept}
    refused: set[int] = set()
    for first in kept:
        for second in kept:
            if second <= first or kept[first].number != kept[second].number or sides[first][0] != sides[second][0]:
                continue
            if not len(np.intersect1d(frames[first], frames[second])):
                continue
            weak, strong = sorted((first, second), key=lambda t: kept[t].support)
            refused.add(weak)
            if kept[strong].support < settings.least_lead * kept[weak].support:
                refused.add(strong)
    jerseys = {t: w.number for t, w in kept.items() if t not in refused}
    column = pa.array([jerseys.get(int(t)) for t in track_of_row], pa.string())
    return tracks.set_column(tracks.schema.get_field_index("jersey"), tracks.schema.field("jersey"), column)
