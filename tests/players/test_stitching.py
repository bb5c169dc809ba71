"""Tracklets and stitching on small hand-made scenes."""

import numpy as np
import pytest

from pipeline.players.association import size_ratio, student_log_density, tracklets
from pipeline.players.motion import MotionModel
from pipeline.players.settings import AssociationSettings, StitchSettings
from pipeline.players.sightings import Population, Sightings
from pipeline.players.stitching import (
    close_gaps,
    exchange_futures,
    fill_capacity,
    link_ratios,
    paths_of,
    stature_evidence,
)

MODEL = MotionModel((6.8, 5.0), 1.5)
POPULATION = Population(5000.0, (0.25, 0.12))
ASSOCIATION = AssociationSettings()
STITCHING = StitchSettings(slack=0.3)


def scene(paths, rate=25.0, noise=0.1, seed=0, kits=None):
    """Sightings of paths (F, 2) with NaN where unseen; and the path of each sighting."""
    rng = np.random.default_rng(seed)
    frames = len(paths[0])
    moment, position, who = [], [], []
    for k in range(frames):
        for name, path in enumerate(paths):
            if np.isfinite(path[k]).all():
                moment.append(k)
                position.append(path[k] + rng.normal(0, noise, 2))
                who.append(name)
    count = len(moment)
    who = np.array(who, dtype=int)
    kit = np.full((count, 6), np.nan) if kits is None else np.asarray(kits, float)[who] + rng.normal(0, 3, (count, 6))
    sightings = Sightings(
        moment=np.array(moment, dtype=int),
        times_s=np.arange(frames) / rate,
        position=np.array(position).reshape(-1, 2),
        covariance=np.tile(noise**2 * np.eye(2), (count, 1, 1)),
        log_size=np.tile(np.log([2.5, 6.3]), (count, 1)) + rng.normal(0, 0.02, (count, 2)),
        size_sigma=np.full((count, 2), 0.05),
        stature=np.zeros(count),
        kit=kit,
        score=np.full(count, 0.8),
        official=np.zeros(count),
    )
    return sightings, who


def line(start, end, frames=50):
    return np.linspace(start, end, frames)


def ratios_of(sightings, rows, longest=5.0):
    return link_ratios(
        sightings,
        paths_of(sightings, rows, MODEL),
        MODEL,
        STITCHING,
        ASSOCIATION,
        POPULATION,
        longest_gap_s=longest,
        top_speed=30.0,
    )


def test_crossing_bodies_keep_their_way():
    sightings, who = scene([line((0, 0), (20, 4)), line((20, 0), (0, 4)), line((0, 20), (20, 20))])
    rows = tracklets(sightings, MODEL, ASSOCIATION, POPULATION)
    rows = close_gaps(rows, ratios_of(sightings, rows), STITCHING.least_ratio)
    assert len(rows) == 3
    for own in rows:
        assert len(set(who[own])) == 1


def test_the_order_of_sightings_in_a_frame_does_not_matter():
    sightings, who = scene([line((0, 0), (20, 4)), line((20, 0), (0, 4)), line((5, 9), (9, 9))], seed=3)
    order = np.lexsort((-np.arange(len(sightings)), sightings.moment))
    names = ("moment", "position", "covariance", "log_size", "size_sigma", "stature", "kit", "score", "official")
    turned = Sightings(times_s=sightings.times_s, **{n: getattr(sightings, n)[order].copy() for n in names})
    plain = {frozenset(r.tolist()) for r in tracklets(sightings, MODEL, ASSOCIATION, POPULATION)}
    other = {frozenset(order[r].tolist()) for r in tracklets(turned, MODEL, ASSOCIATION, POPULATION)}
    assert plain == other
    assert len(who) == sum(len(p) for p in plain)


def test_mirrored_scene_gives_the_same_tracklets():
    paths = [line((0, 0), (20, 4)), line((20, 0), (0, 4))]
    sightings, _ = scene(paths, noise=0.0)
    mirrored, _ = scene([p * [-1, 1] for p in paths], noise=0.0)
    plain = [r.tolist() for r in tracklets(sightings, MODEL, ASSOCIATION, POPULATION)]
    assert plain == [r.tolist() for r in tracklets(mirrored, MODEL, ASSOCIATION, POPULATION)]


def test_a_gap_is_bridged_by_motion_and_not_to_the_nearer_stranger():
    walking = line((0, 0), (20, 0))
    walking[20:30] = np.nan
    stranger = line((8, 3), (8, 3))
    stranger[:24] = np.nan
    sightings, who = scene([walking, stranger])
    rows = tracklets(sightings, MODEL, ASSOCIATION, POPULATION)
    rows = close_gaps(rows, ratios_of(sightings, rows), STITCHING.least_ratio)
    assert len(rows) == 2
    assert all(len(set(who[r])) == 1 for r in rows)


def test_nobody_outruns_the_top_speed():
    first, second = line((0, 0), (1, 0)), line((40, 0), (41, 0))
    first[20:] = np.nan
    second[:25] = np.nan
    sightings, _ = scene([first, second])
    rows = tracklets(sightings, MODEL, ASSOCIATION, POPULATION)
    assert np.isneginf(ratios_of(sightings, rows)).all()


def test_kits_decide_where_motion_cannot():
    red, white = [40, 60, 30, 40, 60, 30], [90, 0, 0, 90, 0, 0]
    # two meet and vanish, two appear there: equally likely by motion
    paths = [line((10, 5), (10, 5)) for _ in range(4)]
    paths[0][:25], paths[1][:25] = line((0, 3), (9.8, 4.9), 25), line((0, 7), (9.8, 5.1), 25)
    paths[0][25:], paths[1][25:], paths[2][:35], paths[3][:35] = (np.nan,) * 4
    paths[3] = paths[3] + [0, 0.5]
    sightings, who = scene(paths, kits=[red, white, white, red])
    rows = tracklets(sightings, MODEL, ASSOCIATION, POPULATION)
    rows = fill_capacity(sightings, paths_of(sightings, rows, MODEL), ratios_of(sightings, rows), 2, STITCHING)
    assert sorted(tuple(sorted(set(who[r].tolist()))) for r in rows) == [(0, 3), (1, 2)]


def test_capacity_joins_what_must_be_one_and_leaves_out_what_nobody_can_be():
    far = line((0, 0), (0, 0), 100)
    back = line((15, 0), (15, 0), 100)
    far[30:], back[:90] = np.nan, np.nan
    false = line((30, 30), (30, 30), 100)
    false[:10], false[13:] = np.nan, np.nan
    steady = line((0, 20), (10, 20), 100)
    sightings, who = scene([far, back, steady, false])
    rows = tracklets(sightings, MODEL, ASSOCIATION, POPULATION)
    ratios = ratios_of(sightings, rows, longest=np.inf)
    paths = paths_of(sightings, rows, MODEL)
    joined = fill_capacity(sightings, paths, ratios, 2, STITCHING)
    assert sorted(tuple(sorted(set(who[r].tolist()))) for r in joined) == [(0, 1), (2,)]
    roomy = fill_capacity(sightings, paths, np.full_like(ratios, -np.inf), 4, STITCHING)
    assert len(roomy) == 4


def test_weak_detections_go_on_with_a_track_but_begin_none():
    sightings, _ = scene([line((0, 0), (10, 0)), line((0, 20), (10, 20))])
    score = np.where((sightings.position[:, 1] > 10) | (sightings.moment % 3 == 0), 0.2, 0.8)
    names = ("moment", "position", "covariance", "log_size", "size_sigma", "stature", "kit", "official")
    weak = Sightings(times_s=sightings.times_s, score=score, **{n: getattr(sightings, n).copy() for n in names})
    rows = tracklets(weak, MODEL, ASSOCIATION, POPULATION)
    used = np.concatenate(rows)
    assert (weak.position[used, 1] < 10).all()
    assert len(used) >= 48


def test_nothing_and_one():
    empty, _ = scene([np.full((5, 2), np.nan)])
    assert tracklets(empty, MODEL, ASSOCIATION, POPULATION) == []
    assert close_gaps([], np.zeros((0, 0)), 0.0) == []
    assert fill_capacity(empty, paths_of(empty, [], MODEL), np.zeros((0, 0)), 3, STITCHING) == []
    alone = np.full((5, 2), np.nan)
    alone[2] = [1, 1]
    one, _ = scene([alone])
    assert [r.tolist() for r in tracklets(one, MODEL, ASSOCIATION, POPULATION)] == [[0]]


def test_student_density_integrates_to_one_and_tends_to_the_normal():
    grid = np.linspace(-60, 60, 24001)
    density = np.exp(student_log_density(grid**2, np.ones_like(grid), 1, 5.0))
    assert np.trapezoid(density, grid) == pytest.approx(1, abs=1e-4)
    normal = -0.5 * grid**2 - 0.5 * np.log(2 * np.pi)
    near = np.abs(grid) < 3
    many = student_log_density(grid**2, np.ones_like(grid), 1, 1e6)
    np.testing.assert_allclose(many[near], normal[near], atol=1e-4)


def test_equal_sizes_speak_for_one_body_and_odd_ones_against():
    variance, broad = np.array([[0.01, 0.01]]), np.array([[0.2, 0.2]])
    assert size_ratio(np.zeros((1, 2)), variance, broad, ASSOCIATION)[0] > 1
    assert size_ratio(np.full((1, 2), 1.0), variance, broad, ASSOCIATION)[0] < 0


def test_stature_evidence_is_the_integral_over_the_bodys_own_stature():
    statures, lengths = np.array([0.06, 0.03, np.nan, -0.5]), np.array([300.0, 150.0, 90.0, 3.0])
    own = np.linspace(-1, 1, 200001)
    noise = STITCHING.stature_within / np.sqrt(lengths[:2] / STITCHING.stature_block)
    density = np.exp(-0.5 * (own / STITCHING.stature_between) ** 2) / STITCHING.stature_between
    for value, sigma in zip(statures[:2], noise, strict=True):
        density = density * np.exp(-0.5 * ((value - own) / sigma) ** 2) / sigma
    wanted = np.log(np.trapezoid(density, own) / np.sqrt(2 * np.pi))
    assert stature_evidence(statures, lengths, STITCHING) == pytest.approx(wanted, abs=1e-6)
    assert stature_evidence(statures[2:], lengths[2:], STITCHING) == 0


def test_futures_are_exchanged_when_statures_say_so():
    tall, small = [line((0, k), (5, k), 300) for k in (0, 10)]
    tall_again, small_again = tall.copy(), small.copy()
    tall[140:], small[140:], tall_again[:160], small_again[:160] = (np.nan,) * 4
    sightings, who = scene([tall, small, tall_again, small_again])
    stature = np.array([0.08, -0.08, 0.07, -0.07])[who]
    names = ("moment", "position", "covariance", "log_size", "size_sigma", "kit", "score", "official")
    sightings = Sightings(
        times_s=sightings.times_s, stature=stature, **{n: getattr(sightings, n).copy() for n in names}
    )
    rows = [np.flatnonzero(who == name) for name in range(4)]
    paths = paths_of(sightings, rows, MODEL)
    first = sightings.moment[[r[0] for r in rows]]
    last = sightings.moment[[r[-1] for r in rows]]
    found = exchange_futures([[0, 3], [1, 2]], first, last, np.zeros((4, 4)), paths, STITCHING)
    assert sorted(found) == [[0, 2], [1, 3]]
    motion = np.zeros((4, 4))
    motion[0, 3] = motion[1, 2] = 20.0
    assert exchange_futures([[0, 3], [1, 2]], first, last, motion, paths, STITCHING) == [[0, 3], [1, 2]]
