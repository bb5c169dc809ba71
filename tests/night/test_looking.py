"""Where stretches of film are looked at, and where not."""

from itertools import groupby

import numpy as np
import pytest
import supervision as sv
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.court.tables import AREAS
from pipeline.night.looking import Looker, Stopwatch, Stretch, boxes_table
from pipeline.players.tables import BOXES
from pipeline.settings import Settings

SIZE = (640, 360)
STEP = Settings().court.motion.areas_every
STEPS = 4


class Picture:
    """A frame whose first pixel tells its number."""

    def __init__(self, index: int) -> None:
        self.index, self.t_s = index, index * 0.08

    def small(self, width_px: int) -> np.ndarray:
        picture = np.full((round(width_px * 9 / 16), width_px, 3), 90, np.uint8)
        picture[0, 0] = self.index
        return picture

    def quick(self) -> np.ndarray:
        return self.small(SIZE[0])


class FloorIn:
    """Both networks: floor in some frames, and one body in every frame looked at."""

    def __init__(self, floor: list[bool]) -> None:
        self.floor = floor
        self.scouted: list[int] = []
        self.detected: list[int] = []

    def areas(self, frames_bgr: list[np.ndarray]) -> list[np.ndarray]:
        numbers = [int(frame[0, 0, 0]) for frame in frames_bgr]
        self.scouted += numbers
        seen = np.zeros((2, 6, 90, 160), np.float32)
        seen[0, 0], seen[1, 1] = 1, 1
        return [seen[int(self.floor[number])] for number in numbers]

    def detect(self, frames_bgr: list[np.ndarray]) -> list[sv.Detections]:
        self.detected += [int(frame[0, 0, 0]) for frame in frames_bgr]
        box = np.array([[96.0, 54, 144, 162]], np.float32) * frames_bgr[0].shape[1] / 960 if frames_bgr else None
        return [sv.Detections(box.copy(), class_id=np.array([0]), confidence=np.array([0.9])) for _ in frames_bgr]


def looked_at(floor: list[bool]) -> tuple[FloorIn, list]:
    """Look at a film of one frame an entry, stretch by stretch."""
    networks = FloorIn(floor)
    looker = Looker(networks, networks, None, Settings(), SIZE, Stopwatch())
    of_stretch = STEP * STEPS
    stretches = [
        Stretch(number, tuple(Picture(k) for k in members), tuple(k // STEP for k in members))
        for number, members in ((n, list(m)) for n, m in groupby(range(len(floor)), lambda k: k // of_stretch))
    ]
    scouted = [looker.scout(stretch) for stretch in stretches]
    looked = []
    for n, stretch in enumerate(stretches):
        after = (stretches[n + 1].frames[0], scouted[n + 1][0]) if n + 1 < len(stretches) else None
        looked.append(looker.look(stretch, scouted[n], after))
    return networks, looked


@settings(max_examples=30, deadline=None)
@given(st.lists(st.tuples(st.booleans(), st.integers(STEP, 4 * STEP)), min_size=1, max_size=6))
def test_no_frame_of_a_long_enough_floor_view_is_lost(runs):
    floor = [seen for seen, length in runs for _ in range(length)]
    networks, looked = looked_at(floor)
    assert {k for k, seen in enumerate(floor) if seen} <= set(networks.detected)
    assert len(networks.detected) == len(set(networks.detected)), "no frame is looked at twice"
    frames = [number for part in looked for number in part.tables["frames"]["frame"].to_pylist()]
    assert frames == list(range(len(floor))), "every analysed frame has its row"


def test_without_floor_only_the_scouts_look():
    networks, looked = looked_at([False] * (2 * STEP * STEPS))
    assert networks.detected == []
    last = 2 * STEP * STEPS - 1
    assert sorted(networks.scouted) == [*range(0, last, STEP), last], "and the film's last frame"
    assert all(frame.people_px is None for part in looked for frame in part.frames)


def test_a_floor_that_appears_within_a_step_opens_that_step_only():
    appears = STEP * STEPS + STEP + 2
    networks, _ = looked_at([k >= appears for k in range(3 * STEP * STEPS)])
    assert min(networks.detected) == appears - 2, "from the step's first frame on"


def test_boxes_come_in_pixels_of_the_film_and_areas_at_the_scouts():
    _, looked = looked_at([True] * STEP)
    boxes, areas = looked[0].tables["boxes"], looked[0].tables["areas"]
    assert boxes.num_rows == STEP
    assert boxes["x1_px"][0].as_py() == pytest.approx(64, abs=0.01)
    assert boxes["y2_px"][0].as_py() == pytest.approx(108, abs=0.01)
    assert areas.schema == AREAS.schema
    assert 0 in areas["frame"].to_pylist()


def test_the_stopwatch_adds_up():
    watch = Stopwatch()
    for _ in range(2):
        with watch.part("a"):
            pass
    assert set(watch.seconds) == {"a"}
    assert watch.seconds["a"] > 0


def test_nothing_seen_is_a_table_of_no_rows():
    nothing = sv.Detections(np.zeros((0, 4)), class_id=np.zeros(0, int), confidence=np.zeros(0))
    assert boxes_table(np.zeros((4, 4, 3), np.uint8), nothing, 0, 0.0).schema == BOXES.schema
