"""Who is who over whole shots: chains of pieces, what they show, and where paths are cut."""

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.players.identities import (
    Features,
    LookSpace,
    evidence,
    exchange,
    fit_looks,
    pair_ratios,
    stature_features,
)
from pipeline.players.pieces import crowding, cut_at_encounters, look_parts, piece_looks
from pipeline.players.settings import IdentitySettings, StitchSettings
from pipeline.players.sightings import Sightings

IDENTITIES = IdentitySettings()


def features_of(readings, precision=4.0):
    readings = np.asarray(readings, dtype=float)
    shape = np.full_like(readings, precision)
    return Features(shape, shape * readings, np.zeros(len(readings)), np.zeros((len(readings), 0)))


def crossing(bodies, cuts, seed=0, noise=0.3):
    """Pieces of `bodies` bodies between `cuts` + 1 moments at which all met, and each piece's body."""
    rng = np.random.default_rng(seed)
    looks = rng.normal(0, 1, (bodies, 6))
    first, last, who = [], [], []
    for part in range(cuts + 1):
        for body in rng.permutation(bodies):
            first.append(10 * part)
            last.append(10 * part + 9)
            who.append(body)
    who = np.array(who)
    return (
        np.array(first),
        np.array(last),
        who,
        features_of(looks[who] + rng.normal(0, noise, (len(who), 6)), 1 / noise**2),
    )


def test_evidence_is_the_integral_over_the_bodys_own_value():
    readings, precision = np.array([0.7, 1.1, -0.2]), np.array([2.0, 0.5, 3.0])
    grid = np.linspace(-12, 12, 200_001)
    log = -0.5 * grid**2 - 0.5 * np.log(2 * np.pi)
    alone = 0.0
    for r, p in zip(readings, precision, strict=True):
        log = log - 0.5 * p * (r - grid) ** 2
        alone -= 0.5 * p * r**2
    numeric = np.log(np.trapezoid(np.exp(log), grid)) - alone
    sums = (np.array([precision.sum()]), np.array([(precision * readings).sum()]))
    assert evidence(*sums, np.float64(0), np.zeros(0)) == pytest.approx(numeric)


@pytest.mark.parametrize(("odds", "numbers"), [(3.0, [1.0, -2.0, 0.5]), (-800.0, [900.0, 0.0]), (0.0, [0.0, 0.0, 0.0])])
def test_evidence_is_the_mean_over_teams_and_over_numbers(odds, numbers):
    none = np.zeros(1)
    team = np.logaddexp(odds / 2, -odds / 2) - np.log(2)
    number = np.logaddexp.reduce(numbers) - np.log(len(numbers))
    assert evidence(none, none, np.float64(odds), np.array(numbers)) == pytest.approx(team + number)


def two_meet(odds, numbers):
    """Bodies A and B before and after they met, looks unread: how the pieces A1, B1, A2, B2 are joined."""
    first, last = np.array([0, 0, 10, 10]), np.array([9, 9, 19, 19])
    links = np.where(first[None] > last[:, None], 0.0, -np.inf)
    links[0, 3] = links[1, 2] = 2.0  # by motion they exchanged
    unread = np.zeros((4, 1))
    features = Features(unread, unread, np.asarray(odds, dtype=float), np.asarray(numbers, dtype=float))
    return sorted(exchange([[0, 3], [1, 2]], first, last, links, features))


def test_nobody_changes_his_team_or_number_while_two_meet():
    quiet, silent = [0.0] * 4, np.zeros((4, 0))
    assert two_meet(quiet, silent) == [[0, 3], [1, 2]]
    assert two_meet([6, -6, 6, -6], silent) == [[0, 2], [1, 3]]
    twelve, seven = [3.0, -1.0, 0.0], [-1.0, 3.0, 0.0]
    assert two_meet(quiet, [twelve, seven, twelve, seven]) == [[0, 2], [1, 3]]
    assert two_meet(quiet, [twelve, [0, 0, 0], [0, 0, 0], [0, 0, 0]]) == [[0, 3], [1, 2]]  # one reading tells nothing


@given(st.lists(st.floats(-3, 3), min_size=2, max_size=2), st.floats(0.1, 30))
def test_pairs_alike_count_for_one_body_and_unread_ones_say_nothing(readings, precision):
    said = features_of(np.array(readings)[:, None], precision)
    ratio = pair_ratios(said)
    assert ratio == pytest.approx(ratio.T)
    twins = pair_ratios(features_of([[readings[0]]] * 2, precision))
    assert twins[0, 1] >= ratio[0, 1] - 1e-9 or abs(readings[1]) > abs(readings[0])
    assert pair_ratios(features_of([[0.0], [1.0]], 0.0)) == pytest.approx(np.zeros((2, 2)))


@pytest.mark.parametrize("bodies", [2, 3, 5])
def test_bodies_that_went_round_are_put_right(bodies):
    first, last, who, features = crossing(bodies, cuts=4, seed=bodies)
    links = np.where(first[None] > last[:, None], 0.0, -np.inf)
    chains = [list(range(k, len(who), bodies)) for k in range(bodies)]  # in the order of the pieces, not of bodies
    found = exchange(chains, first, last, links, features)
    assert sorted(p for chain in found for p in chain) == list(range(len(who)))
    assert all(len(set(who[chain])) == 1 for chain in found)


def test_motion_that_is_sure_outweighs_looks():
    first, last, _, features = crossing(2, cuts=1, seed=3)
    chains = [[0, 2], [1, 3]]
    links = np.where(first[None] > last[:, None], -60.0, -np.inf)
    for chain in chains:
        links[chain[0], chain[1]] = 0.0
    assert sorted(exchange(chains, first, last, links, features)) == chains


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000))
def test_exchanges_find_the_best_of_all_for_two_meetings(seed):
    rng = np.random.default_rng(seed)
    first, last, _, features = crossing(3, cuts=1, seed=seed, noise=1.0)
    links = np.where(first[None] > last[:, None], rng.normal(0, 2, (6, 6)), -np.inf)

    def worth(chains):
        total = sum(links[c[0], c[1]] for c in chains)
        return total + sum(evidence(*(v[c].sum(axis=0) for v in features.sums())) for c in chains)

    best = max(worth([[k, 3 + p[k]] for k in range(3)]) for p in permutations(range(3)))
    found = exchange([[0, 3], [1, 4], [2, 5]], first, last, links, features)
    if all(len(c) == 2 for c in found):
        assert worth(found) == pytest.approx(best)


def test_looks_are_learnt_from_the_film():
    rng = np.random.default_rng(0)
    bodies = rng.normal(0, 1, (10, 3))  # three directions tell bodies apart
    mixing = rng.normal(0, 1, (3, 12))
    stretches = []
    for _ in range(40):
        own = bodies[rng.integers(10)] @ mixing
        nuisance = rng.normal(0, 3, (8, 1)) * np.eye(12)[0]
        stretches.append(own + rng.normal(0, 0.2, (8, 12)) + nuisance)
    space = fit_looks(stretches, 12.0, IDENTITIES)
    assert isinstance(space, LookSpace)
    seen = space.features(bodies @ mixing, np.full(10, 30.0), IDENTITIES)
    other = space.features((bodies @ mixing)[::-1], np.full(10, 30.0), IDENTITIES)
    both = Features(*(np.concatenate(pair) for pair in zip(seen.sums(), other.sums(), strict=True)))
    ratio = pair_ratios(both)
    assert np.mean(ratio[np.arange(10), 19 - np.arange(10)] > 0) == 1
    assert np.median(ratio[np.arange(10), 10 + (np.arange(10) + 3) % 10]) < 0
    assert fit_looks(stretches[:2], 12.0, IDENTITIES) is None


def test_statures_speak_by_their_sightings():
    stature = np.array([0.1, 0.1, -0.1, np.nan])
    features = stature_features(stature, np.array([300.0, 300.0, 300.0, 300.0]), StitchSettings())
    ratio = pair_ratios(features)
    assert ratio[0, 1] > 0 > ratio[0, 2]
    assert ratio[0, 3] == 0
    short = stature_features(stature, np.array([300.0, 10.0, 300.0, 300.0]), StitchSettings())
    assert pair_ratios(short)[0, 1] == 0


def two_paths(apart_ft, frames=60):
    """Two bodies that meet half-way, `apart_ft` off each other, with boxes of 40 by 100 pixels at 20 px a foot."""
    times = np.arange(frames) / 12.5
    x = np.linspace(0, 30, frames)
    place = np.stack(
        [np.column_stack([x, np.full(frames, 10.0)]), np.column_stack([30 - x, np.full(frames, 10 + apart_ft)])], 1
    )
    position = place.reshape(-1, 2)
    corners = np.column_stack(
        [20 * position[:, 0] - 20, 300 + 8 * position[:, 1] - 100, 20 * position[:, 0] + 20, 300 + 8 * position[:, 1]]
    )
    count = len(position)
    sightings = Sightings(
        moment=np.repeat(np.arange(frames), 2),
        times_s=times,
        position=position,
        covariance=np.tile(0.1 * np.eye(2), (count, 1, 1)),
        log_size=np.zeros((count, 2)),
        size_sigma=np.full((count, 2), 0.05),
        stature=np.zeros(count),
        kit=np.zeros((count, 6)),
        score=np.ones(count),
        official=np.zeros(count),
    )
    return sightings, corners, [np.arange(0, count, 2), np.arange(1, count, 2)]


def test_paths_are_cut_once_where_bodies_meet():
    sightings, corners, rows = two_paths(1.0)
    near = crowding(sightings, corners, IDENTITIES)
    pieces = cut_at_encounters(sightings, rows, near, IDENTITIES)
    assert len(pieces) == 4
    assert sorted(np.concatenate(pieces).tolist()) == list(range(len(sightings)))
    assert all(28 <= sightings.moment[p[0]] <= 31 for p in pieces if sightings.moment[p[0]])
    far, corners, rows = two_paths(20.0)
    assert len(cut_at_encounters(far, rows, crowding(far, corners, IDENTITIES), IDENTITIES)) == 2


def test_a_path_that_ends_beside_another_cuts_it():
    sightings, corners, rows = two_paths(3.5)
    rows = [rows[0][:30], rows[1]]
    pieces = cut_at_encounters(sightings, rows, crowding(sightings, corners, IDENTITIES), IDENTITIES)
    assert len(pieces) >= 3


def test_covered_sightings_do_not_show_their_body():
    sightings, corners, rows = two_paths(1.0)
    near = crowding(sightings, corners, IDENTITIES)
    behind = rows[0]  # farther up the picture
    assert near.covered[behind].max() > 0.6
    assert near.covered[rows[1]].max() == 0
    shown = np.zeros((len(sightings), 6))
    shown[behind[near.covered[behind] >= IDENTITIES.clear_share]] = 50.0
    looks, counts = piece_looks(shown, rows, near, IDENTITIES)
    assert np.all(looks == 0)
    assert counts[0] < counts[1] == len(rows[1])
    assert all(np.all(part == 0) for part in look_parts(sightings, shown, rows, near, IDENTITIES))
