"""How a clip goes through its film: held, slowed, or as it was."""

import numpy as np
import pytest

from pipeline.clips.pace import Freeze, Pace, Slow

TIMES = [10 + k / 25 for k in range(50)]


def test_as_it_was() -> None:
    pace = Pace(TIMES, 12.0)
    assert pace.length_s == pytest.approx(2.0)
    assert pace.at(11.0) == pytest.approx(1.0)
    assert list(pace.holds(11.0)) == []
    assert list(pace.runs()) == [(10.0, 12.0, 1.0, 0.0)]


def test_a_slow_stretch_is_longer_by_its_factor() -> None:
    pace = Pace(TIMES, 12.0, slow=Slow(10.5, 11.0, 4.0))
    assert pace.length_s == pytest.approx(2.0 + 3 * 0.5)
    assert [pace.at(t) for t in (10.5, 10.75, 11.0, 11.5)] == pytest.approx([0.5, 1.5, 2.5, 3.0])
    assert [(b, e, f) for b, e, f, _ in pace.runs()] == [(10.0, 10.5, 1.0), (10.5, 11.0, 4.0), (11.0, 12.0, 1.0)]


def test_a_slow_stretch_that_begins_before_the_clip() -> None:
    pace = Pace(TIMES, 12.0, slow=Slow(9.0, 10.5, 2.0))
    assert pace.length_s == pytest.approx(2.5)
    assert pace.at(10.0) == 0.0


def test_held_frames_come_first_and_then_run() -> None:
    pace = Pace(TIMES, 12.0, [Freeze(11.001, 0.8), Freeze(10.0, 0.5)], Slow(10.5, 11.5, 2.0))
    assert [freeze.t_s for freeze in pace.held] == pytest.approx([10.0, 11.04])
    assert list(pace.holds(10.0)) == pytest.approx([0.0, 0.1, 0.2, 0.3, 0.4])
    assert pace.at(10.0) == pytest.approx(0.5)
    held = list(pace.holds(pace.held[1].t_s))
    assert held[0] == pytest.approx(0.5 + 1.04 + 0.54)
    assert pace.at(pace.held[1].t_s) == pytest.approx(held[0] + 0.8)
    assert pace.length_s == pytest.approx(2.0 + 1.0 + 0.8 + 0.5)


def test_freezes_that_hold_nothing_are_left_out() -> None:
    pace = Pace(TIMES, 12.0, [Freeze(30.0, 1.0), Freeze(11.0, 0.0), Freeze(11.51, 0.3), Freeze(11.49, 0.6)])
    assert [(freeze.t_s, freeze.length_s) for freeze in pace.held] == [(pytest.approx(11.52), 0.6)]
    assert pace.length_s == pytest.approx(2.6)


def test_clip_time_never_goes_back() -> None:
    rng = np.random.default_rng(5)
    for _ in range(50):
        times = np.cumsum(rng.uniform(0.01, 0.08, 40)).tolist()
        freezes = [Freeze(float(t), float(rng.uniform(0, 1))) for t in rng.uniform(0, 3, 3)]
        slow = Slow(float(rng.uniform(0, 1)), float(rng.uniform(1, 2)), float(rng.uniform(1, 5)))
        pace = Pace(times, times[-1] + 0.04, freezes, slow)
        shown = [at for t in times for at in (*pace.holds(t), pace.at(t))]
        assert all(np.diff(shown) > 0)
        assert shown[0] == pytest.approx(0)
        assert shown[-1] < pace.length_s
        run_s = sum((end - begin) * factor for begin, end, factor, _ in pace.runs())
        assert run_s + sum(freeze.length_s for freeze in pace.held) == pytest.approx(pace.length_s)
