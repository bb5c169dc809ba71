"""Registration on the areas of synthetic cameras: all books, both ends, films, refusals. No weights, no film."""

import numpy as np
import pyarrow as pa
import pytest
from synthetic_floor import area_probabilities, floor_error_ft, make_camera, motion_table

from pipeline.court.camera import Camera, NoCourt, camera_from_row
from pipeline.court.marks import areas_row, floor_evidence, marks_table
from pipeline.court.registration import fit_polygons, register, register_picture
from pipeline.court.rule_books import RULE_BOOKS, rule_book
from pipeline.court.settings import RegistrationSettings
from pipeline.court.tables import AREAS, CAMERAS, MARKS, MOTION
from pipeline.errors import ShapeError
from pipeline.film.tables import FRAMES


@pytest.mark.parametrize("pan_deg", [-23.0, 21.0], ids=["left", "right"])
@pytest.mark.parametrize("name", RULE_BOOKS)
def test_a_lone_picture_finds_its_camera_and_its_book(name: str, pan_deg: float) -> None:
    book = RULE_BOOKS[name]
    camera = make_camera(book, pan_deg=pan_deg)
    seen = area_probabilities(camera, book, np.random.default_rng(5))
    found = register_picture(seen, camera.size_px)
    assert not isinstance(found, NoCourt), found
    assert found.rule_book == name
    error = floor_error_ft(found.camera, camera, book)
    assert np.median(error) < 0.35
    assert np.quantile(error, 0.95) < 1.0
    assert found.agreement > 0.9
    assert found.residual_ft < 0.45


def test_a_mirrored_picture_is_the_other_end() -> None:
    book = rule_book("fiba")
    camera = make_camera(book, x_ft=0, roll_deg=0)
    seen = area_probabilities(camera, book, np.random.default_rng(5))
    straight, mirrored = (
        register_picture(p, camera.size_px, RegistrationSettings(rule_book="fiba"))
        for p in (seen, np.ascontiguousarray(seen[:, :, ::-1]))
    )
    assert not isinstance(straight, NoCourt)
    assert not isinstance(mirrored, NoCourt)
    assert straight.camera.pan_deg == pytest.approx(-mirrored.camera.pan_deg, abs=1.0)
    middle = [[639.5, 500.0]]
    assert straight.camera.to_floor(middle)[0, 0] == pytest.approx(
        book.length_ft - mirrored.camera.to_floor(middle)[0, 0], abs=0.5
    )


@pytest.mark.parametrize("size_px", [(640, 360), (1920, 1080), (848, 480), (720, 540)])
def test_any_picture_size(size_px: tuple[int, int]) -> None:
    book = rule_book("nba")
    camera = make_camera(book, size_px=size_px, focal=1.4)
    found = register_picture(
        area_probabilities(camera, book, np.random.default_rng(2)), size_px, RegistrationSettings(rule_book="nba")
    )
    assert not isinstance(found, NoCourt), found
    assert np.median(floor_error_ft(found.camera, camera, book)) < 0.4


def test_a_low_tribune_and_a_high_far_arena_place() -> None:
    book = rule_book("fiba")
    low = make_camera(book, x_ft=-8, away_ft=40, height_ft=11, pan_deg=26, tilt_deg=-6.5, focal=1.2, k1=-0.05)
    high = make_camera(book, x_ft=3, away_ft=95, height_ft=45, pan_deg=-15, tilt_deg=-21, focal=2.4, k1=0.15)
    for camera in (low, high):
        found = register_picture(
            area_probabilities(camera, book, np.random.default_rng(4)),
            camera.size_px,
            RegistrationSettings(rule_book="fiba"),
        )
        assert not isinstance(found, NoCourt), found
        assert np.median(floor_error_ft(found.camera, camera, book)) < 0.6


def _nonsense(kind: str, rng: np.random.Generator) -> np.ndarray:
    planes = np.full((6, 90, 160), 0.02, dtype=np.float32)
    if kind == "nothing":
        planes[0] = 0.9
    elif kind == "all floor":
        planes[1] = 0.9
    elif kind == "noise":
        planes = rng.random((6, 90, 160), dtype=np.float32)
    elif kind == "discs":
        y, x = np.mgrid[:90, :160]
        for label, (cx, cy, r) in enumerate([(60, 40, 30), (100, 50, 25), (80, 60, 12), (30, 70, 9)], start=1):
            planes[:, (x - cx) ** 2 + (y - cy) ** 2 < r * r] = 0.02
            planes[label, (x - cx) ** 2 + (y - cy) ** 2 < r * r] = 0.9
        planes[0][planes.max(axis=0) < 0.5] = 0.9
    elif kind == "upside down":
        book = rule_book("fiba")
        planes = np.ascontiguousarray(area_probabilities(make_camera(book), book, rng)[:, ::-1])
    return planes / planes.sum(axis=0)


@pytest.mark.parametrize("kind", ["nothing", "all floor", "noise", "discs", "upside down"])
def test_nonsense_is_refused_with_a_reason(kind: str) -> None:
    found = register_picture(_nonsense(kind, np.random.default_rng(0)), (1280, 720))
    assert isinstance(found, NoCourt)
    assert found.reason.endswith(".")


def test_wrong_shape_is_refused() -> None:
    with pytest.raises(ShapeError, match=r"\(6, h, w\)"):
        register_picture(np.zeros((5, 9, 16), dtype=np.float32), (1280, 720))


def _film(
    cameras: list[Camera], times_s: list[float], shots: list[int], name: str, blank: set[int]
) -> tuple[pa.Table, pa.Table]:
    rng = np.random.default_rng(8)
    marks, areas = [], []
    for number, (camera, t_s, shot) in enumerate(zip(cameras, times_s, shots, strict=True)):
        planes = _nonsense("noise", rng) if number in blank else area_probabilities(camera, RULE_BOOKS[name], rng)
        evidence = floor_evidence(planes, camera.size_px)
        where = {"frame": number, "t_s": t_s, "shot": shot}
        marks.append(marks_table(evidence.marks, **where))
        areas.append(areas_row(evidence, camera.size_px, **where))
    return pa.concat_tables(marks), pa.concat_tables(areas)


def test_a_film_shares_its_centre_and_carries_short_gaps_only() -> None:
    """Two shots of one panning, zooming camera; two lost frames in a row, and a shot that never shows the court."""
    book = rule_book("nba")
    times = [0.15 * i for i in range(24)] + [20 + 0.15 * i for i in range(10)]
    shots = [0] * 24 + [1] * 10
    cameras = [
        make_camera(book, pan_deg=20 * np.sin(0.9 * t), focal=1.5 + 0.2 * np.sin(0.5 * t), k1=0.12) for t in times
    ]
    gap = {8, 9}
    marks, areas = _film(cameras, times, shots, "nba", gap | set(range(24, 34)))
    found = CAMERAS.check(register(marks, areas)).to_pylist()
    assert [row["frame"] for row in found] == list(range(34))
    status = [row["status"] for row in found]
    assert {i for i, s in enumerate(status) if s == "carried"} == gap
    assert all(status[i] == "registered" for i in range(24) if i not in gap)
    assert all(status[i] == "unknown" and found[i]["reason"].endswith(".") for i in range(24, 34))
    assert {row["rule_book"] for row in found} == {"nba"}
    known = found[:24]
    centres = np.array([[r["centre_x_ft"], r["centre_y_ft"], r["centre_z_ft"]] for r in known])
    assert np.abs(np.median(centres, axis=0) - cameras[0].centre_ft).max() < 2.5
    assert centres.std(axis=0).max() < 1.0
    for row in known:
        camera = camera_from_row(row)
        assert isinstance(camera, Camera)
        limit = 1.0 if row["status"] == "carried" else 0.4
        assert np.median(floor_error_ft(camera, cameras[row["frame"]], book)) < limit


def test_motion_carries_the_camera_where_the_floor_was_not_looked_at_or_is_hidden() -> None:
    """A look at every fifth frame, then a second and a half of a hidden floor; one motion is wrong, one frame lies."""
    book = rule_book("fiba")
    times = [0.08 * i for i in range(60)]
    cameras = [make_camera(book, pan_deg=22 * np.sin(0.8 * t), focal=1.5 + 0.1 * np.sin(0.5 * t)) for t in times]
    looked = [i for i in range(60) if i % 5 == 0 and not 20 < i < 40]
    pictures = [cameras[i] for i in looked]
    pictures[2] = make_camera(book, pan_deg=-20.0, tilt_deg=-17.0)
    marks, areas = _film(pictures, [times[i] for i in looked], [0] * len(looked), "fiba", set())
    marks, areas = (_renumbered(table, looked) for table in (marks, areas))
    motion = motion_table(cameras, times, np.random.default_rng(1))
    rows = motion.to_pylist()
    rows[47] |= {"dx_px": rows[47]["dx_px"] + 80.0}
    motion = MOTION.from_rows(rows)
    frames = FRAMES.from_columns({"frame": np.arange(60), "t_s": times, "shot": np.zeros(60, int)})
    settings = RegistrationSettings(rule_book="fiba")
    found = register(marks, areas, settings, frames=frames, motion=motion).to_pylist()
    assert [row["frame"] for row in found] == list(range(60))
    assert {row["status"] for row in found} == {"registered", "carried"}
    for i, row in enumerate(found):
        camera = camera_from_row(row)
        assert isinstance(camera, Camera)
        assert np.median(floor_error_ft(camera, cameras[i], book)) < 0.35, i
        assert (row["status"] == "registered") == (i in looked and i != looked[2])
        if row["status"] == "carried":
            assert 0 < row["residual_ft"] < settings.most_carried_ft
    alone = register(marks, areas, settings, frames=frames).to_pylist()
    assert {row["status"] for row in alone[25:35]} == {"unknown"}
    assert all(row["reason"].endswith(" of doubt.") for row in alone[25:35])


def _spoilt(kind: str, marks: pa.Table, areas: pa.Table, frames: set[int]) -> tuple[pa.Table, pa.Table]:
    """The evidence of some frames mirrored, shifted sideways, or with one half of the picture hidden."""
    width = areas["width_px"][0].as_py()
    told, seen = marks.to_pylist(), areas.to_pylist()
    for row in told:
        if row["frame"] in frames and kind == "mirrored":
            row |= {"x_px": width - 1 - row["x_px"], "nx": -row["nx"]}
        elif row["frame"] in frames and kind == "shifted":
            row |= {"x_px": row["x_px"] + 0.06 * width}
    for row in seen:
        if row["frame"] in frames:
            labels = np.frombuffer(row["labels"], np.uint8).reshape(36, 64)
            labels = {"mirrored": labels[:, ::-1], "shifted": np.roll(labels, 4, 1), "hidden": labels.copy()}[kind]
            if kind == "hidden":
                labels[:, :32] = 0
            row |= {"labels": labels.tobytes()}
    kept = [row for row in told if not (kind == "hidden" and row["frame"] in frames and row["x_px"] < width / 2)]
    return MARKS.from_rows(kept), AREAS.from_rows(seen)


@pytest.mark.parametrize("kind", ["mirrored", "shifted", "hidden"])
def test_spoilt_evidence_is_outvoted_or_refused(kind: str) -> None:
    """A look at every fifth frame of a slow pan; two looks apart are spoilt, and three in a row if mirrored."""
    book = rule_book("fiba")
    times = [0.08 * i for i in range(80)]
    cameras = [make_camera(book, pan_deg=-21 + 4 * np.sin(0.8 * t)) for t in times]
    looked = list(range(0, 80, 5))
    marks, areas = _film([cameras[i] for i in looked], [times[i] for i in looked], [0] * len(looked), "fiba", set())
    spoilt = {3, 8} | ({10, 11, 12} if kind == "mirrored" else set())
    marks, areas = _spoilt(kind, marks, areas, spoilt)
    marks, areas = (_renumbered(table, looked) for table in (marks, areas))
    motion = motion_table(cameras, times, np.random.default_rng(1))
    frames = FRAMES.from_columns({"frame": np.arange(80), "t_s": times, "shot": np.zeros(80, int)})
    found = register(marks, areas, RegistrationSettings(rule_book="fiba"), frames=frames, motion=motion).to_pylist()
    for row, true in zip(found, cameras, strict=True):
        camera = camera_from_row(row)
        assert isinstance(camera, Camera)
        assert np.median(floor_error_ft(camera, true, book)) < 0.5
    assert all(found[looked[i]]["status"] == "carried" for i in spoilt)


def _renumbered(table: pa.Table, numbers: list[int]) -> pa.Table:
    frame = pa.array([numbers[f] for f in table["frame"].to_pylist()], pa.int64())
    return table.set_column(table.schema.get_field_index("frame"), table.schema.field("frame"), frame)


def test_a_named_book_is_obeyed_and_an_empty_film_is_empty() -> None:
    assert register(MARKS.empty(), AREAS.empty()).num_rows == 0
    book = rule_book("fiba")
    camera = make_camera(book)
    marks, areas = _film([camera], [0.0], [0], "fiba", set())
    (row,) = register(marks, areas, RegistrationSettings(rule_book="fiba")).to_pylist()
    assert row["rule_book"] == "fiba"
    assert row["status"] == "registered"


def test_a_film_without_any_court_is_unknown_throughout() -> None:
    camera = make_camera(rule_book("fiba"))
    marks, areas = _film([camera] * 3, [0.0, 0.5, 1.0], [0, 0, 0], "fiba", {0, 1, 2})
    rows = register(marks, areas).to_pylist()
    assert [r["status"] for r in rows] == ["unknown"] * 3
    assert all(r["reason"] for r in rows)


def test_polygons_of_a_hand_labelled_picture_give_its_camera() -> None:
    """Polygons as a person would label them: coarse points, cut at the picture's edge."""
    book = rule_book("fiba")
    camera = make_camera(book, size_px=(640, 360), k1=0.05)
    import cv2

    from pipeline.court.floor_lines import area_labels
    from pipeline.court.view_bank import picture_grid

    labels = area_labels(camera.to_floor(picture_grid(640, 360, (640, 360))), book).reshape(360, 640)
    polygons = []
    for area, low in (("court", 1), ("three_point_area", 2), ("paint", 3)):
        mask = ((labels >= low) & (labels <= (4 if area == "court" else 3))).astype(np.uint8)
        outlines, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        for outline in outlines:
            points = cv2.approxPolyDP(outline, 1.5, closed=True)[:, 0].astype(float)
            if len(points) > 3:
                polygons.append({"area": area, "points": points.tolist()})
    found = fit_polygons(polygons, (640, 360))
    assert not isinstance(found, NoCourt), found
    assert np.median(floor_error_ft(found.camera, camera, book)) < 0.6
    assert isinstance(fit_polygons([], (640, 360)), NoCourt)


def test_a_picture_that_does_not_tell_its_rule_book_says_so() -> None:
    """Half court with its circle: little but the arcs' tips tells the books apart; a view of the lane does."""
    book = rule_book("fiba")
    clear = make_camera(book, pan_deg=-23)
    dim = make_camera(book, pan_deg=2, focal=2.6, tilt_deg=-17)
    rng = np.random.default_rng(3)
    sure, unsure = (register_picture(area_probabilities(c, book, rng), c.size_px) for c in (clear, dim))
    assert not isinstance(sure, NoCourt)
    assert sure.other_books == ()
    assert not isinstance(unsure, NoCourt)
    assert unsure.other_books
    told = register_picture(area_probabilities(dim, book, rng), dim.size_px, RegistrationSettings(rule_book="fiba"))
    assert isinstance(told, NoCourt) or not told.other_books
