"""An encoder that raises its thread's priority does not keep it."""

from __future__ import annotations

import os

import numpy as np
import pytest

from pipeline.sim.odd_film_making import write_video
from pipeline.sim.priority import same_priority

pytestmark = pytest.mark.skipif(not hasattr(os, "sched_getscheduler"), reason="scheduling classes are Linux's")


def test_an_av1_film_leaves_this_thread_where_it_was(tmp_path):
    before = os.sched_getscheduler(0)
    pictures = [np.full((180, 320, 3), 40 * n, np.uint8) for n in range(3)]
    write_video(tmp_path / "film.mkv", pictures, codec="libsvtav1", options={"preset": "12"})
    assert os.sched_getscheduler(0) == before == os.SCHED_OTHER


def test_an_error_within_does_not_keep_another_class():
    def raised_and_failed():
        with same_priority():
            os.sched_setscheduler(0, os.SCHED_BATCH, os.sched_param(0))
            raise KeyError

    with pytest.raises(KeyError):
        raised_and_failed()
    assert os.sched_getscheduler(0) == os.SCHED_OTHER
