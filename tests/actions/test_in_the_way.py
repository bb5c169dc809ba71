"""How far a screener stands off the way of the defender whom he screens."""

import numpy as np
import pytest

from pipeline.actions.in_the_way import off_way_ft, to_triangle_ft
from pipeline.actions.screen_settings import InTheWaySettings
from pipeline.actions.view_building import possession_views
from tests.actions.made_up import NBA, RULES, along, play, times

RULE = InTheWaySettings()
GUARD_FT = (22.0, 0.0)


def view_of(paths, t_s):
    """The one possession of made-up paths."""
    p = play(paths, t_s)
    (view,) = possession_views(p.tracks, p.ball, p.touches, p.possessions, NBA, RULES)
    return view


def off_ft(screen_ft: tuple[float, float]) -> float:
    """The man runs to the right from v = 0 at 26 ft, 12 ft/s; his defender stands 4 ft nearer to the ring."""
    t = times(end_s=4.0)
    view = view_of(
        {0: along(t, (1.5, 26, 0), (3.5, 26, 24)), 1: along(t, (0, *screen_ft)), 5: along(t, (0, *GUARD_FT))}, t
    )
    column = {int(track): n for n, track in enumerate(view.tracks)}
    _, off = off_way_ft(view, (column[1], column[0], column[5]), view.at(1.9), RULE)
    return float(off.min())


@pytest.mark.parametrize(
    ("screen_ft", "least", "most"),
    [
        ((22.5, 2.0), 0.0, 0.0),  # between the defender and where his man goes
        ((20.0, 4.0), 1.5, 3.0),  # a step below that way
        ((15.0, 4.0), 4.0, 8.0),  # far below it
        ((22.0, -1.0), 1.0, RULE.off_ft),  # behind him, but bodies touch
        ((22.0, -3.0), 3.0, 4.0),  # behind him: he is past
    ],
)
def test_off_the_way(screen_ft, least, most):
    assert least - 1e-6 <= off_ft(screen_ft) <= most + 1e-6


def test_nobody_to_screen_is_not_known():
    t = times(end_s=2.0)
    view = view_of({0: along(t, (0, 26, 0)), 1: along(t, (0, 24, 2))}, t)
    moments, off = off_way_ft(view, (1, 0, -1), 5, RULE)
    assert len(moments) == len(off)
    assert np.isnan(off).all()


def test_distance_to_a_triangle():
    corners = [np.array([c], float) for c in ((0, 0), (4, 0), (0, 4))]
    for point, wanted in (((1, 1), 0.0), ((2, -3), 3.0), ((-3, -4), 5.0), ((4, 4), 2 * 2**0.5), ((0, 0), 0.0)):
        for order in (corners, corners[::-1]):
            assert to_triangle_ft(np.array([point], float), *order)[0] == pytest.approx(wanted)
    assert np.isnan(to_triangle_ft(np.array([[np.nan, 0.0]]), *corners)[0])
    line = [np.zeros((1, 2)), np.array([[4.0, 0.0]]), np.array([[4.0, 0.0]])]
    assert to_triangle_ft(np.array([[2.0, 1.0]]), *line)[0] == pytest.approx(1.0), "a triangle without area is a line"
