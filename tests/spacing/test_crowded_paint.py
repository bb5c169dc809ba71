"""Paint counts and the crowded-paint fault on made-up play whose counts are known."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom

from pipeline.actions.events import Event, events_from_table
from pipeline.actions.recognisers import find_actions
from pipeline.actions.settings import ActionSettings
from pipeline.actions.view_building import possession_views
from pipeline.court.rule_books import rule_book
from pipeline.players.tables import TRACKS
from pipeline.spacing.arrivals import arrivals
from pipeline.spacing.fault_files import read_fault
from pipeline.spacing.faults import find_faults
from pipeline.spacing.measures import spacing_table
from pipeline.spacing.paint import others_in_paint, paint_probability, probability_of_at_least
from pipeline.spacing.rules import Severity, as_file, sentence_of, severity_of
from pipeline.spacing.scene import scene
from pipeline.spacing.settings import SpacingSettings, shipped_faults
from tests.actions.made_up import tables_of

RULES = ActionSettings()
MEASURING = SpacingSettings()
CROWDED = next(rule for rule in shipped_faults().library if rule.name == "crowded_paint")
SPOTS = [(-3.0, -5.0), (2.0, 6.0), (6.0, -6.0), (9.0, 5.0), (1.0, -2.0), (12.0, 2.0), (4.0, 4.0), (10.0, -4.0), (-4, 3)]
"""Places in the paint of every rule book with a 16 ft lane."""


def drive_play(inside: int, *, book="nba", end="left", step_s=0.08, mirror=1, leave_s: float | None = None):
    """The handler (0) drives down the middle at 14 ft/s; ``inside`` others wait in the paint, the rest far out."""
    court = rule_book(book)
    t = np.arange(0, 4 + 1e-9, step_s)
    u = np.clip(26 - (t - 1.0) * 14, 3, 26)
    uv = np.empty((len(t), 10, 2))
    uv[:, 0] = np.column_stack([u, np.full(len(t), 0.5 * mirror)])
    order = [5, 1, 6, 7, 2, 8, 3, 9, 4]
    for n, who in enumerate(order):
        spot = SPOTS[n] if n < inside else (30.0 + n, 12.0)
        uv[:, who] = np.array(spot) * (1, mirror)
    if leave_s is not None:
        uv[t >= leave_s, 5] = (20.0, 15.0 * mirror)
    return tables_of(t, uv, uv[:, 0] + (0.0, 0.5), [(0, 0.0, float(t[-1]))], end=end, book=court), court


def at_least(count):
    """The shipped rule with another threshold."""
    return read_fault(as_file(CROWDED).replace("count >= 5", f"count >= {count}"), "made up")


def run(p, court, rule=CROWDED, measuring=MEASURING):
    tables = (p.tracks, p.ball, p.touches, p.possessions)
    events = events_from_table(find_actions(*tables, court, RULES))
    views = possession_views(*tables, court, RULES)
    return events_from_table(find_faults(views, events, (rule,), measuring)), views


@pytest.mark.parametrize("inside", range(10))
def test_the_count_decides(inside):
    found, _ = run(*drive_play(inside))
    assert len(found) == (inside >= 5)
    if found:
        fault = found[0]
        assert fault.kind == "crowded_paint"
        assert fault.measures["count"] == inside
        assert fault.measures["attackers"] + fault.measures["defenders"] == inside
        assert fault.t_s == pytest.approx(1.0 + 12.25 / 14, abs=0.081)
        assert fault.start_s <= fault.t_s <= fault.end_s
        assert fault.actors[0] == ("handler", 0)
        assert len(fault.actors) == inside + 1
        assert severity_of(fault, CROWDED) == (Severity.SEVERE if inside >= 7 else Severity.FAULT)
        assert sentence_of(fault, CROWDED) == f"{inside} others stand in the paint as the handler enters the paint."


@pytest.mark.parametrize("end", ["left", "right"])
@pytest.mark.parametrize("mirror", [1, -1])
@pytest.mark.parametrize("step_s", [0.04, 0.08, 0.12])
def test_end_side_and_frame_rate_do_not_matter(end, mirror, step_s):
    found, _ = run(*drive_play(6, end=end, mirror=mirror, step_s=step_s))
    assert [f.measures["count"] for f in found] == [6]
    assert not run(*drive_play(4, end=end, mirror=mirror, step_s=step_s))[0]


def test_a_narrow_lane_counts_fewer():
    _, (wide,) = run(*drive_play(9, book="nba"))
    _, (narrow,) = run(*drive_play(9, book="nfhs"))
    assert others_in_paint(wide, 0.5)[0].sum() == 9
    assert others_in_paint(narrow, 0.5)[0].sum() == 9  # all within 6 ft of the middle, the lane's lines belong to it
    spot = narrow.uv_ft[0, 1].copy()
    assert abs(spot[1]) == 6.0


def test_one_who_leaves_before_the_handler_arrives_does_not_count():
    entry_s = 1.0 + 12.25 / 14
    assert not run(*drive_play(5, leave_s=entry_s - 0.3))[0]
    assert run(*drive_play(5, leave_s=entry_s + 0.4))[0]


def test_the_count_must_last_around_the_moment():
    entry_s = 1.0 + 12.25 / 14
    p, court = drive_play(5, leave_s=entry_s + 0.06, step_s=0.04)
    assert not run(p, court)[0]
    assert run(p, court, measuring=SpacingSettings(around_s=0.0))[0]


def test_the_threshold_stands_in_the_file():
    assert len(run(*drive_play(4), at_least(4))[0]) == 1
    assert not run(*drive_play(3), at_least(4))[0]


def test_unknown_teams_count_and_officials_do_not():
    p, court = drive_play(5)
    rows = p.tracks.to_pylist()
    for row in rows:
        if row["track"] == 5:
            row["team"] = -1
    tables = TRACKS.from_rows(rows)
    q = replace(p, tracks=tables)
    (fault,), views = run(q, court)
    assert fault.measures["unknown_team"] == 1
    assert ("in_paint", 5) in fault.actors
    table = spacing_table(views, MEASURING).to_pydict()
    sums = np.array(table["paint_attack"]) + table["paint_defence"] + np.array(table["paint_unknown"])
    assert sums[10] == 5
    for row in rows:
        if row["track"] == 5:
            row["role"] = "official"
    assert not run(replace(p, tracks=TRACKS.from_rows(rows)), court)[0]


def test_unsure_places_lower_the_score():
    p, court = drive_play(5)
    rows = p.tracks.to_pylist()
    (sure,), _ = run(p, court)
    for row in rows:
        row["sigma_ft"] = 1.0
    (unsure,), _ = run(replace(p, tracks=TRACKS.from_rows(rows)), court)
    assert sure.score > 0.95 > unsure.score > 0


@pytest.mark.parametrize(("unseen_s", "found"), [(0.5, 1), (1.2, 0)])
def test_a_corner_that_was_filled_in_is_not_known(unseen_s, found):
    p, court = drive_play(6)
    (view,) = possession_views(p.tracks, p.ball, p.touches, p.possessions, court, RULES)
    observed = view.observed.copy()
    observed[np.abs(view.t_s - 1.6) < unseen_s / 2, 0] = False
    at_16 = view.at(1.6)
    corner = Event(
        "corner_turned", 0, 0, 1.2, 1.9, float(view.t_s[at_16]), (("handler", 0), ("screener", 1)),
        view.court_place_ft(at_16, 0), view.end, {}, 1.0,
    )  # fmt: skip
    assert len(arrivals(scene(replace(view, observed=observed), [corner], MEASURING))) == found


def test_no_possession_no_spacing():
    assert spacing_table((), MEASURING).num_rows == 0
    assert find_faults((), (), (CROWDED,), MEASURING).num_rows == 0


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 9), st.integers(0, 9), st.floats(0, 1))
def test_equal_chances_give_the_binomial(count, events, chance):
    ours = probability_of_at_least(count, np.full(events, chance))
    assert ours == pytest.approx(binom.sf(count - 1, events, chance), abs=1e-9)


def test_chance_in_paint_agrees_with_drawing_many_places():
    _, (view,) = run(*drive_play(9))
    sigma = 2.0
    chances = paint_probability(view, 0, sigma, 0.5)
    rng = np.random.default_rng(0)
    drawn = view.uv_ft[0][None] + rng.normal(0, sigma, (20000, len(view.tracks), 2))
    u, v = drawn[..., 0], drawn[..., 1]
    inside = (u >= -5.75) & (u <= 14.25) & (np.abs(v) <= 8.5)
    assert chances == pytest.approx(inside.mean(axis=0), abs=0.015)
