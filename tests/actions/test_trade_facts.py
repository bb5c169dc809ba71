"""Facts of the trade as check values: common practice, no source.

Each is played on a made-up floor and judged by the shipped recognisers, fault files and set files.
"""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.actions.events import Event
from pipeline.actions.recognisers import actions_in
from pipeline.actions.view_building import possession_views
from pipeline.court.rule_books import NBA
from pipeline.sets.definition import Emphasis, Words
from pipeline.settings import Settings
from pipeline.spacing.faults import faults_of
from pipeline.spacing.rules import severity_of
from pipeline.spacing.scene import scene
from tests.actions.made_up import along, play, times

SETTINGS = Settings()
FREE_THROW_LINE_U_FT = 13.75


def judged(paths: dict[int, np.ndarray], t_s: np.ndarray, holds: tuple) -> tuple[list[Event], list[Event]]:
    """Actions and faults of a made-up possession."""
    tables = play(paths, t_s, holds=holds)
    (view,) = possession_views(
        tables.tracks, tables.ball, tables.touches, tables.possessions, NBA, SETTINGS.actions
    )  # fmt: skip
    actions = actions_in(view, SETTINGS.actions)
    return actions, faults_of(scene(view, actions, SETTINGS.spacing), SETTINGS.faults.library)


def severity(fault: Event) -> str:
    rule = next(one for one in SETTINGS.faults.library if one.name == fault.kind)
    return severity_of(fault, rule).value


def emphasis(name: str, point: str) -> Emphasis:
    definition = next(one for one in SETTINGS.set_library.definitions if one.name == name)
    return next(one for one in definition.emphases if one.name == point)


def graded(one: Emphasis, value: float | str) -> str:
    """Good, poor, or between."""

    def holds(limit) -> bool:
        return value in limit.words if isinstance(limit, Words) else limit.holds(value)

    return "good" if any(map(holds, one.good)) else "poor" if any(map(holds, one.poor)) else "between"


def wing_catch(u_ft: float, v_ft: float = 18.0) -> tuple[Event, list[Event]]:
    """A pass from the top to a wing who catches at a point; the pass and the pushed-out faults."""
    t_s = times(end_s=6.0)
    paths = {
        0: np.tile([27.0, 0.0], (len(t_s), 1)),
        1: np.tile([u_ft, v_ft], (len(t_s), 1)),
        2: np.tile([18.0, -18.0], (len(t_s), 1)),
        3: np.tile([5.0, -20.0], (len(t_s), 1)),
        4: np.tile([3.0, 9.0], (len(t_s), 1)),
        5: np.tile([23.0, 0.0], (len(t_s), 1)),
        6: np.tile([u_ft - 8, v_ft - 4], (len(t_s), 1)),
        7: np.tile([14.0, -14.0], (len(t_s), 1)),
        8: np.tile([4.0, -14.0], (len(t_s), 1)),
        9: np.tile([3.0, 6.0], (len(t_s), 1)),
    }
    actions, faults = judged(paths, t_s, ((0, 0.0, 2.5), (1, 3.2, 6.0)))
    (caught,) = [e for e in actions if e.kind == "pass"]
    return caught, [f for f in faults if f.kind == "pushed_out_catch"]


def test_a_catch_at_the_free_throw_line_extended_is_good():
    caught, faults = wing_catch(FREE_THROW_LINE_U_FT)
    assert faults == []
    assert caught.measures["catch_above_line_ft"] == pytest.approx(0.0, abs=0.3)
    assert graded(emphasis("weak_side_motion", "return_catch"), caught.measures["catch_ring_ft"]) == "good"


@pytest.mark.parametrize(("ring_ft", "said"), [(28.4, "fault"), (29.5, "fault"), (30.5, "severe"), (34.5, "severe")])
def test_28_feet_and_more_is_pushed_out_and_30_to_35_severe(ring_ft, said):
    caught, faults = wing_catch(float(np.sqrt(ring_ft**2 - 18.0**2)))
    assert caught.measures["catch_ring_ft"] == pytest.approx(ring_ft, abs=0.3)
    assert [severity(f) for f in faults] == [said]
    assert graded(emphasis("weak_side_motion", "return_catch"), caught.measures["catch_ring_ft"]) == "poor"


def test_27_feet_is_not_pushed_out():
    assert wing_catch(float(np.sqrt(27.0**2 - 18.0**2)))[1] == []


def test_a_post_catch_at_ten_feet_is_a_missed_chance():
    point = emphasis("weak_side_motion", "post_catch")
    assert [graded(point, ft) for ft in (6.0, 10.0, 12.0)] == ["good", "poor", "poor"]


def test_a_side_ball_screen_that_is_not_iced_is_the_aim():
    for name in ("weak_side_motion", "side_ball_screen"):
        point = emphasis(name, "iced")
        assert graded(point, "iced") == "poor"
        assert {graded(point, word) for word in ("over", "under", "switch", "trap")} == {"good"}


def corner(*, spread: bool) -> list[Event]:
    """A handler comes off a screen at the top and goes at the ring; two teammates wait in the paint or are spread.

    Their defenders stay with them, and the wing's helps in the paint: five others in it, or one.
    """
    t_s = times(end_s=5.0)
    low = {3: (4.0, -21.0), 8: (5.0, -16.0), 4: (4.0, 21.0), 9: (5.0, 16.0)} if spread else {
        3: (2.0, -5.0), 8: (5.0, -5.5), 4: (3.0, 5.5), 9: (6.0, 5.0)
    }  # fmt: skip
    paths = {n: np.tile(place, (len(t_s), 1)) for n, place in low.items()}
    paths[2] = np.tile([12.0, -20.0], (len(t_s), 1))
    paths[7] = np.tile([8.0, -6.5], (len(t_s), 1))
    paths[0] = along(t_s, (0, 26, 12), (2.0, 26, 8), (3.2, 18, -3), (4.4, 6, -1), (5, 2, -1))
    paths[1] = along(t_s, (0, 20, -6), (1.2, 21.2, 2.4), (5, 21.2, 2.4))
    paths[5] = along(t_s, (0, 23, 11), (2.0, 23, 6), (2.6, 22.5, 4.6), (5, 17, 3))
    paths[6] = along(t_s, (0, 17, -5), (1.2, 20, 2), (5, 20, 2))
    actions, faults = judged(paths, t_s, ((0, 0.0, 5.0),))
    assert {e.actor("handler") for e in actions if e.kind == "corner_turned"} == {0}
    return [f for f in faults if f.kind == "crowded_paint"]


def test_five_others_in_the_paint_as_the_corner_is_turned_are_a_fault_and_one_is_none():
    assert [fault.measures["count"] for fault in corner(spread=False)] == [5.0]
    assert corner(spread=True) == []
