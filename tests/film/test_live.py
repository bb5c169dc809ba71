"""Live play against replays, close-ups, crowd and graphics, on make-believe broadcasts."""

import cv2
import numpy as np
import pyarrow as pa
import pytest

from pipeline.errors import ShapeError
from pipeline.film.evidence import EvidenceGatherer, frame_evidence
from pipeline.film.live import confirm_registered, frames_table, judge_shots
from pipeline.film.overlay import find_overlay, split_columns
from pipeline.film.settings import LiveSettings
from pipeline.film.shots import Boundary, FoundShots, ShotFinder
from pipeline.film.tables import BUG_READINGS, EVIDENCE, FRAMES, SHOTS, VIEWS
from tests.film.broadcast import SIZE_PX, Piece, Stage, play

PLAN = [
    Piece("court", 8),
    Piece("replay", 4, "bar"),
    Piece("court", 6, "bar"),
    Piece("closeup", 2.5),
    Piece("court", 5),
    Piece("crowd", 2.5),
    Piece("court", 4),
    Piece("replay", 3.5, "cover"),
    Piece("closeup", 2.5),
    Piece("replay", 3.5),
    Piece("court", 5, "cover"),
    Piece("graphic", 3, "dissolve"),
    Piece("court", 5),
]
TRUE_VIEW = {"court": "main", "replay": "replay", "closeup": "closeup", "crowd": "crowd", "graphic": "graphics"}


def areas_of(view: str) -> np.ndarray:
    """What a court network would say: (6, h, w)."""
    areas = np.zeros((6, 18, 32), np.float32)
    areas[0] = 1
    if view in ("court", "replay"):
        areas[0, 8:], areas[1, 8:], areas[3, 10:14, 5:12] = 0, 1, 2
    return areas


def people_of(view: str, rng: np.random.Generator) -> np.ndarray:
    """What a detector would say: (N, 4) boxes."""
    count, height_share = {"court": (11, 0.19), "replay": (9, 0.25), "closeup": (1, 0.9)}.get(view, (0, 0.1))
    width, height = SIZE_PX
    feet_y = rng.uniform(0.5, 1.0, count) * height
    tall = height_share * height * rng.uniform(0.9, 1.1, count)
    left = rng.uniform(0, width - 40, count)
    return np.column_stack([left, feet_y - tall, left + 0.35 * tall, feet_y])


def broadcast(plan: list[Piece], seed: int, *, wears_bug: bool = True) -> tuple[FoundShots, pa.Table]:
    stage, rng = Stage(seed), np.random.default_rng(seed)
    if not wears_bug:
        stage.with_bug = lambda view, _: view  # type: ignore[method-assign]
    starts = np.cumsum([0.0, *(p.length_s for p in plan)])
    finder, gatherer, due_s = ShotFinder(), EvidenceGatherer(), 0.0
    for index, t_s, picture in play(stage, plan, 25):
        small = cv2.resize(picture, (160, 90), interpolation=cv2.INTER_AREA)
        finder.feed(index, t_s, small)
        if t_s >= due_s - 1e-6:
            due_s += 0.1
            view = plan[int(np.searchsorted(starts, t_s + 1e-9, side="right")) - 1].view
            gatherer.add(
                index, t_s, small, areas=areas_of(view), people_px=people_of(view, rng), picture_size_px=SIZE_PX
            )
    return finder.finish(), gatherer.table()


def live_times(shots: pa.Table) -> np.ndarray:
    times = np.arange(0, shots["end_s"].to_numpy()[-1], 0.05)
    live = np.zeros(len(times), bool)
    for row in shots.to_pylist():
        live |= row["live"] & (times >= row["start_s"]) & (times < row["end_s"])
    return live


def true_live_times(plan: list[Piece]) -> np.ndarray:
    starts = np.cumsum([0.0, *(p.length_s for p in plan)])
    times = np.arange(0, starts[-1], 0.05)
    place = np.searchsorted(starts, times + 1e-9, side="right") - 1
    return np.array([plan[i].view == "court" for i in place])


@pytest.mark.parametrize("wears_bug", [True, False])
def test_broadcast_with_replays(wears_bug: bool) -> None:
    found, evidence = broadcast(PLAN, 11 if wears_bug else 12, wears_bug=wears_bug)
    shots = SHOTS.check(judge_shots(found, evidence))
    rows = shots.to_pylist()
    assert len(rows) == len(PLAN)
    assert [r["view"] for r in rows] == [TRUE_VIEW[p.view] for p in PLAN]
    assert [r["live"] for r in rows] == [p.view == "court" for p in PLAN]
    assert all(r["reason"].endswith(".") and "\n" not in r["reason"] and 0 <= r["score"] <= 1 for r in rows)
    ours, true = live_times(shots), true_live_times(PLAN)
    both = min(len(ours), len(true))
    f1 = 2 * (ours[:both] & true[:both]).sum() / (ours[:both].sum() + true[:both].sum())
    assert f1 > 0.97


def test_shots_have_no_gaps_and_frames_belong_to_them() -> None:
    found, evidence = broadcast(PLAN[:4], 13)
    shots = judge_shots(found, evidence)
    starts, ends = shots["start_s"].to_numpy(), shots["end_s"].to_numpy()
    np.testing.assert_array_equal(starts[1:], ends[:-1])
    np.testing.assert_array_equal(shots["start_frame"].to_numpy()[1:], shots["end_frame"].to_numpy()[:-1])
    assert starts[0] == 0
    assert shots["end_frame"][-1].as_py() == found.frames[-1] + 1
    frames = FRAMES.check(frames_table(evidence["frame"].to_numpy(), evidence["t_s"].to_numpy(), shots))
    for row in frames.to_pylist():
        assert starts[row["shot"]] <= row["t_s"] < ends[row["shot"]]


def made_up(shots: list[dict[str, object]]) -> tuple[FoundShots, pa.Table]:
    """Shots and evidence made up from a few numbers per shot, ten analysed frames a second."""
    rng = np.random.default_rng(0)
    boundaries, rows, t_s = [], [], 0.0
    for shot in shots:
        kind = str(shot.get("kind", "cut" if boundaries else "start"))
        boundaries.append(Boundary(round(t_s * 10), t_s, kind, t_s, t_s))
        for _ in range(round(float(shot["length_s"]) * 10)):
            rows.append(
                {
                    "frame": len(rows),
                    "t_s": t_s,
                    "floor_share": shot.get("floor", 0.5),
                    "people": shot.get("people", 10),
                    "person_height_share": shot.get("height", 0.2),
                    "largest_person_share": shot.get("largest", 0.25),
                    "camera_motion": 0.1,
                    "people_motion": float(shot.get("motion", 0.05)) * rng.uniform(0.8, 1.2),
                    "detail": 5.0,
                }
            )
            t_s = round(t_s + 0.1, 6)
    frames = np.arange(len(rows))
    found = FoundShots(tuple(boundaries), frames, frames / 10, np.ones(len(rows), np.float32), t_s)
    return found, EVIDENCE.from_rows(rows)


def judged(shots: list[dict[str, object]]) -> list[tuple[str, bool]]:
    return [(r["view"], r["live"]) for r in judge_shots(*made_up(shots)).to_pylist()]


def test_replay_by_wipes_and_slow_motion_alone() -> None:
    court, slow = {"length_s": 12}, {"length_s": 6, "motion": 0.02, "kind": "wipe"}
    assert judged([court, slow, {**court, "kind": "wipe"}]) == [("main", True), ("replay", False), ("main", True)]


def test_wipe_without_any_other_sign_is_no_replay_for_ever() -> None:
    """One wipe at a time-out does not turn the rest of the game into a replay."""
    shots = judged([{"length_s": 30}, {"length_s": 40, "kind": "wipe"}, {"length_s": 30}])
    assert [live for _, live in shots] == [True, True, True]


def test_long_film_from_one_camera_is_live() -> None:
    assert judged([{"length_s": 90}]) == [("main", True)]


def test_views_by_people_when_the_floor_was_not_measured() -> None:
    shots = judged(
        [
            {"length_s": 5, "floor": None},
            {"length_s": 5, "floor": None, "people": 1, "height": 0.8, "largest": 0.8},
            {"length_s": 5, "floor": 0.4, "people": 1, "height": 0.3, "largest": 0.3},
            {"length_s": 0.6},
        ]
    )
    assert shots == [("main", True), ("closeup", False), ("other", False), ("main", False)]
    assert {view for view, _ in shots} <= set(VIEWS)


def test_shot_without_analysed_frames_is_not_live() -> None:
    found, evidence = made_up([{"length_s": 5}, {"length_s": 5}])
    rows = judge_shots(found, evidence.slice(0, 50)).to_pylist()
    assert (rows[1]["view"], rows[1]["live"]) == ("other", False)
    assert rows[1]["reason"] == "No frame of it was analysed."


def test_empty_film() -> None:
    nothing = FoundShots((), np.zeros(0, np.int64), np.zeros(0), np.zeros(0, np.float32), 0.0)
    shots = judge_shots(nothing, EVIDENCE.empty())
    assert shots.num_rows == 0
    assert frames_table(np.zeros(0, np.int64), np.zeros(0), shots).num_rows == 0


def test_registration_has_the_last_word() -> None:
    shots = judge_shots(*made_up([{"length_s": 5}, {"length_s": 5}]))
    frame_shots = np.repeat([0, 1], 50)
    registered = np.r_[np.ones(50, bool), np.arange(50) < 2]
    rows = confirm_registered(shots, frame_shots, registered).to_pylist()
    assert [r["live"] for r in rows] == [True, False]
    assert "4%" in rows[1]["reason"]
    assert confirm_registered(shots, np.zeros(0, int), np.zeros(0, bool)).equals(shots)


def test_overlay_is_found_and_missed() -> None:
    stage = Stage(4)
    grey = lambda picture: cv2.cvtColor(cv2.resize(picture, (192, 108)), cv2.COLOR_BGR2GRAY)  # noqa: E731
    with_bug = [grey(stage.court(float(t))) for t in range(0, 40, 2)]
    overlay = find_overlay(np.stack(with_bug))
    assert overlay is not None
    rows, columns = np.nonzero(overlay.mask)
    # The graphic spans 20…150 by 156…172 of 320 by 180 pixels.
    assert ((columns >= 10) & (columns <= 92) & (rows >= 90) & (rows <= 105)).mean() > 0.95
    assert overlay.presence(grey(stage.court(41.0))) > 0.8
    assert overlay.presence(grey(stage.court(41.0, bug=False))) < 0.3
    assert find_overlay(np.stack([grey(stage.court(float(t), bug=False)) for t in range(0, 40, 2)])) is None
    assert find_overlay(np.stack(with_bug[:5])) is None
    assert find_overlay(np.stack([with_bug[0]] * 20)) is None  # a camera that never moves


def test_motion_of_camera_and_people() -> None:
    """A texture shifted by 4 of 160 pixels in 0.1 s, a person against it by 3 more."""
    rng = np.random.default_rng(2)
    wide = cv2.GaussianBlur(rng.integers(0, 255, (90, 240, 3), dtype=np.uint8), (0, 0), 2)
    wide = cv2.normalize(wide, None, 0, 255, cv2.NORM_MINMAX)
    person = cv2.normalize(cv2.GaussianBlur(rng.integers(0, 255, (40, 20, 3), np.uint8), (0, 0), 2), None, 0, 255, 32)
    one, other = wide[:, 40:200].copy(), wide[:, 36:196].copy()
    one[30:70, 60:80], other[30:70, 67:87] = person, person
    row = frame_evidence(
        other,
        people_px=np.array([[670.0, 300, 870, 700]]),
        picture_size_px=(1600, 900),
        earlier_bgr=one,
        since_s=0.1,
    )
    assert row["camera_motion"] == pytest.approx(4 / 160 / 0.1, rel=0.2)
    assert row["people_motion"] == pytest.approx(3 / 160 / 0.1, rel=0.35)
    assert row["people"] == 1
    assert row["person_height_share"] == pytest.approx(400 / 900)
    assert row["floor_share"] is None


def test_evidence_refuses_wrong_shapes() -> None:
    small = np.zeros((90, 160, 3), np.uint8)
    with pytest.raises(ShapeError, match="areas"):
        frame_evidence(small, areas=np.zeros((18, 32), np.float32))
    with pytest.raises(ShapeError, match="picture_size_px"):
        frame_evidence(small, people_px=np.zeros((1, 4)))
    nobody = frame_evidence(small, people_px=np.zeros((0, 4)), picture_size_px=(160, 90), areas=areas_of("court"))
    assert (nobody["people"], nobody["person_height_share"]) == (0, None)
    assert nobody["floor_share"] == pytest.approx(10 / 18)


def test_gatherer_keeps_few_thumbs_and_no_motion_over_a_pause() -> None:
    gatherer = EvidenceGatherer(LiveSettings(thumb_every_s=1.0))
    small = np.random.default_rng(0).integers(0, 255, (90, 160, 3), dtype=np.uint8)
    for index, t_s in enumerate([0.0, 0.1, 0.2, 5.0, 5.1]):
        gatherer.add(index, t_s, small)
    table = EVIDENCE.check(gatherer.table())
    assert [v is not None for v in table["thumb"].to_pylist()] == [True, False, False, True, False]
    assert [v is not None for v in table["camera_motion"].to_pylist()] == [False, True, True, False, True]


# A whole game's oddities ------------------------------------------------------------------------


def readings_of(shots: list[dict[str, object]]) -> pa.Table:
    """Readings of a score graphic for made-up shots, four a second.

    ``clock``: "runs" (default), "stands", "hidden", or a number of seconds that it shows instead of the game's.
    """
    rows, t_s, game_s = [], 0.0, 500.0
    for shot in shots:
        mode = shot.get("clock", "runs")
        for _ in range(round(float(shot["length_s"]) * 4)):  # type: ignore[arg-type]
            shown = game_s if isinstance(mode, str) else float(mode)
            text = "" if mode == "hidden" else f"{int(shown) // 60}:{int(shown) % 60:02d}"
            for field, word, score in (("bug", "", 0.0 if mode == "hidden" else 0.9), ("clock", text, 0.95)):
                rows.append({"frame": len(rows), "t_s": t_s, "field": field, "text": word, "score": score})
            game_s -= 0.25 if mode == "runs" else 0.0
            t_s += 0.25
    return BUG_READINGS.from_rows(rows)


def judged_with_clock(shots: list[dict[str, object]]) -> list[tuple[str, bool]]:
    return [(r["view"], r["live"]) for r in judge_shots(*made_up(shots), readings=readings_of(shots)).to_pylist()]


def test_slow_motion_between_plain_cuts_without_the_graphic_is_a_replay() -> None:
    shots = [{"length_s": 20}, {"length_s": 6, "motion": 0.02, "clock": "hidden"}, {"length_s": 20}]
    assert judged_with_clock(shots) == [("main", True), ("replay", False), ("main", True)]


def test_replay_at_full_speed_with_an_old_clock_is_a_replay() -> None:
    shots = [{"length_s": 20}, {"length_s": 6, "clock": 533.0, "motion": 0.04}, {"length_s": 20}]
    assert judged_with_clock(shots) == [("main", True), ("replay", False), ("main", True)]


def test_a_clock_that_stands_does_not_stop_live_play() -> None:
    """Free throws: the graphic is there, nobody runs, the clock stands."""
    shots = [{"length_s": 20}, {"length_s": 12, "clock": "stands", "motion": 0.03}, {"length_s": 20}]
    assert [live for _, live in judged_with_clock(shots)] == [True, True, True]


def test_a_running_clock_outweighs_a_wipe() -> None:
    shots = [{"length_s": 20}, {"length_s": 20, "kind": "wipe"}, {"length_s": 20, "kind": "wipe"}]
    assert [live for _, live in judged_with_clock(shots)] == [True, True, True]


def test_a_game_without_any_clock_is_judged_by_the_rest() -> None:
    shots = [{"length_s": 12}, {"length_s": 6, "motion": 0.02, "kind": "wipe"}, {"length_s": 12, "kind": "wipe"}]
    found, evidence = made_up(shots)
    rows = judge_shots(found, evidence, readings=BUG_READINGS.empty()).to_pylist()
    assert [r["live"] for r in rows] == [True, False, True]


def test_an_advert_block_is_not_live_and_what_follows_is() -> None:
    """Many short shots without floor, some between wipes, a lone one of floor among them."""
    advert = {"length_s": 2.0, "floor": 0.0, "people": 1, "height": 0.7, "largest": 0.7, "clock": "hidden"}
    odd = {"length_s": 3.0, "floor": 0.3, "people": 6, "clock": "hidden"}
    block = [{**advert, "kind": "wipe"}, advert, advert, odd, {**advert, "kind": "dissolve"}, advert, advert]
    shots = [{"length_s": 30}, *block, {"length_s": 30, "kind": "dissolve"}]
    lives = [live for _, live in judged_with_clock(shots)]
    assert lives == [True, *[False] * len(block), True]


def test_split_screen_is_found_by_its_line() -> None:
    stage = Stage(6)
    grey = lambda picture: cv2.cvtColor(cv2.resize(picture, (192, 108)), cv2.COLOR_BGR2GRAY)  # noqa: E731
    whole = np.stack([grey(stage.court(float(t))) for t in range(6)])
    halves = []
    for t in range(6):
        picture = cv2.resize(stage.court(float(t)), SIZE_PX)
        picture[:, 160:] = stage.closeup(float(t))[:, 80:240]
        picture[:, 157:163] = 255
        halves.append(grey(picture))
    assert split_columns(np.stack(halves)).any()
    assert not split_columns(whole).any()
    assert not split_columns(whole[:1]).any()


def test_bars_at_the_sides_of_a_whole_film_are_no_split_screen() -> None:
    found, evidence = broadcast([Piece("court", 6), Piece("closeup", 3), Piece("court", 6)], 14)
    thumbs = []
    for data in evidence["thumb"].to_pylist():
        if data is not None:
            grey = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_GRAYSCALE)
            grey[:, :24] = grey[:, -24:] = 0
            grey[:, 24:26] = grey[:, -26:-24] = 200
            data = cv2.imencode(".jpg", grey)[1].tobytes()
        thumbs.append(data)
    barred = evidence.set_column(evidence.schema.get_field_index("thumb"), "thumb", pa.array(thumbs, pa.binary()))
    assert [r["live"] for r in judge_shots(found, barred).to_pylist()] == [True, False, True]
