"""Decoding against films whose frames carry their own number."""

import subprocess
import sys
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest

from pipeline.errors import FilmError
from pipeline.film.decode import Sampler, decode, grid_slots
from pipeline.film.probe import Scan, frame_timestamps, probe, with_lost_pictures
from pipeline.film.settings import DecodeSettings
from tests.film.films import combed, numbered_film, numbered_picture, read_number, write_film

COUNT = 90
KINDS = {
    "h264_25.mp4": {"codec": "libx264", "rate": Fraction(25), "options": {"g": "40"}},
    "h264_open_gop_5994.mkv": {
        "codec": "libx264",
        "rate": Fraction(60000, 1001),
        "options": {"g": "30", "x264-params": "open-gop=1:bframes=3"},
    },
    "h264_2997.mov": {"codec": "libx264", "rate": Fraction(30000, 1001), "options": {"g": "250"}},
    "h265_50.mp4": {"codec": "libx265", "rate": Fraction(50), "options": {"x265-params": "log-level=none:keyint=30"}},
    "vp9_30.webm": {"codec": "libvpx-vp9", "rate": Fraction(30), "options": {"deadline": "realtime", "cpu-used": "8"}},
    "av1_24.mkv": {"codec": "libsvtav1", "rate": Fraction(24), "options": {"preset": "13"}},
    "mpeg2_25.ts": {"codec": "mpeg2video", "rate": Fraction(25), "options": {"g": "12", "bf": "2", "b": "4M"}},
    "h264_50.ts": {"codec": "libx264", "rate": Fraction(50), "options": {"g": "25"}},
}


@pytest.fixture(scope="module")
def films(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("films")
    return {name: numbered_film(folder / name, COUNT, **how) for name, how in KINDS.items()}


@pytest.mark.parametrize("name", KINDS)
def test_every_frame_comes_once_at_its_time(films: dict[str, Path], name: str) -> None:
    decoding = decode(films[name])
    rate = KINDS[name]["rate"]
    # Matroska and WebM keep times to the millisecond, MPEG transport streams to 1/90000 s.
    slack_s = 1.01e-3 if name.endswith((".mkv", ".webm")) else 2e-5
    frames = [(f.index, f.t_s, read_number(f.image)) for f in decoding]
    assert [n for _, _, n in frames] == list(range(COUNT))
    assert [i for i, _, _ in frames] == list(range(COUNT))
    assert frames[0][1] == 0.0
    np.testing.assert_allclose([t for _, t, _ in frames], [float(i / rate) for i in range(COUNT)], atol=slack_s)
    assert decoding.report.lost_share == 0
    info = decoding.info
    assert (info.frames, info.width_px, info.height_px, info.audio_codec) == (COUNT, 192, 112, None)
    assert info.duration_s == pytest.approx(float(COUNT / rate), abs=3 * slack_s)
    assert float(info.average_rate) == pytest.approx(float(rate), rel=1e-3)


@pytest.mark.parametrize("name", KINDS)
@pytest.mark.parametrize("first", [1, 29, 41, 77])
def test_a_stretch_is_the_same_frames_as_in_the_whole(films: dict[str, Path], name: str, first: int) -> None:
    times = probe(films[name]).times_s
    stretch = decode(films[name], start_s=times[first], end_s=times[first + 5])
    assert [(f.index, read_number(f.image)) for f in stretch] == [(i, i) for i in range(first, first + 5)]
    assert stretch.report.expected == stretch.report.delivered == 5
    between = decode(films[name], start_s=(times[first - 1] + times[first]) / 2, end_s=times[first] + 1e-4)
    assert [f.index for f in between] == [first]


def test_stretches_outside_the_film_are_empty(films: dict[str, Path]) -> None:
    film = films["h264_25.mp4"]
    assert list(decode(film, start_s=1000.0)) == []
    assert list(decode(film, end_s=-1.0)) == []
    assert list(decode(film, start_s=2.0, end_s=1.0)) == []


def test_sampling_goes_by_time(films: dict[str, Path]) -> None:
    film = films["h264_2997.mov"]
    every = list(decode(film, every_s=0.1))
    times = probe(film).times_s
    wanted = [int(np.searchsorted(times, k * 0.1 - 1e-6)) for k in range(int(times[-1] / 0.1) + 1)]
    assert [f.index for f in every] == wanted
    assert [read_number(f.image) for f in every] == wanted
    late = [f.index for f in decode(film, every_s=0.1, start_s=1.01)]
    assert late == [i for i in wanted if times[i] >= 1.01]


def test_sampler_takes_the_next_whole_frame_when_one_is_lost() -> None:
    sampler = Sampler(np.arange(12) * 0.04, 0.12)
    assert [i for i in (0, 1, 2, 4, 5, 6, 7, 9) if sampler.takes(i)] == [0, 4, 6, 9]
    assert grid_slots(np.array([0.0, 0.3 - 1e-9, 0.3]), 0.1).tolist() == [0, 3, 3]
    with pytest.raises(ValueError, match="above 0"):
        grid_slots(np.array([0.0]), 0.0)


def test_variable_rate_keeps_every_presentation_time(tmp_path: Path) -> None:
    rng = np.random.default_rng(5)
    ticks = np.concatenate([[0], np.cumsum(rng.integers(10, 120, 59))]).tolist()
    film = numbered_film(tmp_path / "vfr.mp4", 60, ticks=ticks)
    frames = [(f.t_s, read_number(f.image)) for f in decode(film)]
    np.testing.assert_allclose([t for t, _ in frames], np.array(ticks) / 1000, atol=1e-9)
    assert [n for _, n in frames] == list(range(60))
    picked = [f.t_s for f in decode(film, every_s=0.5)]
    assert all(
        min(t for t, _ in frames if t >= k) == p for k, p in zip(np.arange(len(picked)) * 0.5, picked, strict=True)
    )
    info = probe(film)
    assert info.frame_at(ticks[7] / 1000 + 0.005) == 7
    assert info.frame_at(-3.0) == 0


def test_time_zero_is_the_first_picture(tmp_path: Path) -> None:
    film = numbered_film(tmp_path / "late.mkv", 20, ticks=[5000 + 40 * i for i in range(20)], sound_s=6.0)
    info = probe(film)
    assert info.audio_codec == "aac"
    np.testing.assert_allclose([f.t_s for f in decode(film)], 0.04 * np.arange(20), atol=1e-9)
    assert [read_number(f.image) for f in decode(film, start_s=0.4, end_s=0.5)] == [10, 11, 12]


@pytest.mark.parametrize("turn_deg", [90, 180, 270])
def test_rotation_is_applied(tmp_path: Path, turn_deg: int) -> None:
    upright = numbered_picture(5, 192, 112)
    lying = np.rot90(upright, k=-turn_deg // 90)
    film = write_film(tmp_path / "turned.mp4", [np.ascontiguousarray(lying)] * 5, rotation_deg=turn_deg)
    info = probe(film)
    assert (info.width_px, info.height_px, info.rotation_deg) == (192, 112, turn_deg)
    image = next(decode(film)).image
    assert image.shape == (112, 192, 3)
    assert np.abs(image.astype(int) - upright).mean() < 12
    assert next(decode(film)).small(96).shape == (56, 96, 3)
    assert np.abs(next(decode(film)).quick().astype(int) - image).mean() < 3


def test_sample_aspect_is_applied(tmp_path: Path) -> None:
    film = numbered_film(tmp_path / "sar.mp4", 8, width_px=160, height_px=120, sample_aspect=Fraction(4, 3))
    info = probe(film)
    assert (info.coded_width_px, info.width_px, info.height_px) == (160, 213, 120)
    frames = list(decode(film))
    assert frames[3].image.shape == (120, 213, 3)
    assert np.array_equal(frames[3].quick(), frames[3].image)
    assert [read_number(f.image) for f in frames] == list(range(8))


def test_interlaced_film_is_deinterlaced(tmp_path: Path) -> None:
    fields = [numbered_picture(i // 2, 192, 112, 9.0 * i) for i in range(60)]
    woven = [combed(fields[2 * i], fields[2 * i + 1]) for i in range(30)]
    film = write_film(
        tmp_path / "fields.ts",
        woven,
        codec="libx264",
        options={"x264-params": "tff=1", "crf": "8", "flags": "+ildct+ilme"},
        interlaced=True,
    )
    info = probe(film)
    assert info.scan is Scan.INTERLACED
    frames = list(decode(film))
    assert [read_number(f.image) for f in frames] == list(range(30))
    np.testing.assert_allclose([f.t_s for f in frames], 0.04 * np.arange(30), atol=2e-5)

    def combing(image: np.ndarray) -> float:
        body = image[20:].astype(int)
        return float(np.abs(2 * body[1:-1] - body[:-2] - body[2:]).mean())

    assert combing(frames[10].image) < 0.35 * combing(woven[10])
    assert [f.index for f in decode(film, start_s=0.4, end_s=0.52)] == [10, 11, 12]


def test_frames_are_read_only(films: dict[str, Path]) -> None:
    frame = next(decode(films["h264_25.mp4"]))
    for image in (frame.image, frame.small(64), frame.quick()):
        assert not image.flags.writeable
        with pytest.raises(ValueError, match="read-only"):
            image[0, 0] = 0
    assert frame.small(10_000).shape == frame.image.shape


def test_untagged_high_definition_is_taken_as_bt709(tmp_path: Path) -> None:
    """Pure green, encoded by the BT.709 matrix without a tag, must come back as pure green."""
    luma, blue, red = 173, 42, 26  # ITU-R BT.709-6 table 3, limited range, of R'G'B' = (0, 1, 0)
    film = tmp_path / "green.mp4"
    with av.open(str(film), "w") as container:
        stream = container.add_stream("libx264", rate=25, options={"crf": "1"})
        stream.width, stream.height, stream.pix_fmt = 1280, 720, "yuv420p"
        for number in range(3):
            frame = av.VideoFrame(1280, 720, "yuv420p")
            for plane, value in zip(frame.planes, (luma, blue, red), strict=True):
                plane.update(bytes([value]) * plane.buffer_size)
            frame.pts, frame.time_base = number, Fraction(1, 25)
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    frame = next(decode(film))
    np.testing.assert_allclose(frame.image[300, 600], [0, 255, 0], atol=4)
    np.testing.assert_allclose(frame.quick()[300, 600], [0, 255, 0], atol=4)


# Broken files -----------------------------------------------------------------------------------


def refusal(path: Path, **how: object) -> str:
    """The one sentence with which a film is refused, from probing or from decoding to the end."""
    with pytest.raises(FilmError) as caught:
        for _ in decode(path, **how):
            pass
    text = str(caught.value)
    assert str(path) in text
    assert "\n" not in text
    assert text.endswith(".")
    return text


def test_missing_empty_folder_text(tmp_path: Path) -> None:
    assert "does not exist" in refusal(tmp_path / "none.mp4")
    (tmp_path / "empty.mp4").touch()
    assert "is empty (0 bytes)" in refusal(tmp_path / "empty.mp4")
    (tmp_path / "folder.mp4").mkdir()
    assert "is a folder" in refusal(tmp_path / "folder.mp4")
    for name in ("text.mp4", "text.txt", "text.nfo", "list.m3u8"):
        (tmp_path / name).write_text("#EXTM3U\nThis is not a film.\n" * 200)
        assert "film" in refusal(tmp_path / name)
    (tmp_path / "noise.ts").write_bytes(np.random.default_rng(0).bytes(100_000))
    refusal(tmp_path / "noise.ts")


def test_sound_only(tmp_path: Path) -> None:
    film = write_film(tmp_path / "sound.mp4", [], sound_s=2.0)
    assert "only sound" in refusal(film)


def test_still_picture(tmp_path: Path) -> None:
    import cv2

    for name in ("still.png", "still.jpg"):
        cv2.imwrite(str(tmp_path / name), numbered_picture(1, 192, 112))
        assert "still picture" in refusal(tmp_path / name)
    assert "single picture" in refusal(numbered_film(tmp_path / "one.mp4", 1))


@pytest.mark.parametrize(
    ("name", "how", "words"),
    [
        ("index_last.mp4", {}, "index"),
        ("index_first.mp4", {"container_options": {"movflags": "faststart"}}, "cut short"),
        ("cut.mkv", {}, "cut short"),
    ],
)
def test_truncated_film_is_refused(tmp_path: Path, name: str, how: dict, words: str) -> None:
    whole = numbered_film(tmp_path / name, 200, options={"g": "25"}, **how).read_bytes()
    (tmp_path / name).write_bytes(whole[: int(0.6 * len(whole))])
    assert words in refusal(tmp_path / name)


def test_truncated_film_can_be_used_on_request(tmp_path: Path) -> None:
    film = numbered_film(tmp_path / "short.mp4", 200, options={"g": "25"}, container_options={"movflags": "faststart"})
    whole = film.read_bytes()
    film.write_bytes(whole[: int(0.6 * len(whole))])
    borne = DecodeSettings(largest_missing_tail_s=60, largest_lost_share=0.05)
    numbers = [read_number(f.image) for f in decode(film, settings=borne)]
    assert numbers == list(range(len(numbers)))
    assert 80 < len(numbers) < 160


def test_truncated_transport_stream_is_a_shorter_film(tmp_path: Path) -> None:
    film = numbered_film(tmp_path / "cut.ts", 100, options={"g": "25"})
    whole = film.read_bytes()
    film.write_bytes(whole[: int(0.6 * len(whole))])
    numbers = [read_number(f.image) for f in decode(film, settings=DecodeSettings(largest_lost_share=0.1))]
    assert numbers == list(range(len(numbers)))
    assert 30 < len(numbers) < 90


def spoil(film: Path, place: float, length: int, seed: int = 1) -> None:
    data = bytearray(film.read_bytes())
    start = int(place * len(data))
    data[start : start + length] = np.random.default_rng(seed).bytes(length)
    film.write_bytes(data)


def spoil_group(film: Path, group: int) -> None:
    """Spoil the first picture after a group's key picture.

    Where it lies is read from the file: encoding a film twice does not give the same bytes on a busy machine, so a
    place counted in bytes is another picture each time, or one whose decoder does not notice.
    """
    with av.open(str(film)) as container:
        packets = [(p.pos, p.size, p.is_keyframe) for p in container.demux(video=0) if p.size]
    key = [number for number, (_, _, is_key) in enumerate(packets) if is_key][group]
    pos, size, _ = packets[key + 1]
    data = bytearray(film.read_bytes())
    data[pos + size // 4 : pos + size // 2] = np.random.default_rng(1).bytes(size // 2 - size // 4)
    film.write_bytes(data)


def test_little_damage_is_skipped_and_counted(tmp_path: Path) -> None:
    film = numbered_film(tmp_path / "scratch.mp4", 600, options={"g": "10", "crf": "10"})
    spoil_group(film, 30)
    decoding = decode(film)
    frames = [(f.index, f.t_s, read_number(f.image)) for f in decoding]
    report = decoding.report
    assert 0 < report.lost_share <= 0.02
    assert report.expected == 600
    assert report.delivered == len(frames)
    assert report.delivered + report.spoiled + report.missing == 600
    assert all(i == n for i, _, n in frames)
    assert all(t == pytest.approx(i * 0.04) for i, t, _ in frames)
    assert len(report.gaps_s) >= 1
    assert f"{report.spoiled + report.missing} of 600" in report.sentence()
    lost = sorted(set(range(600)) - {i for i, _, _ in frames})
    assert report.gaps_s[0][0] == pytest.approx(lost[0] * 0.04)


def test_much_damage_is_refused(tmp_path: Path) -> None:
    film = numbered_film(tmp_path / "wreck.mp4", 200, options={"g": "100", "crf": "10"})
    spoil(film, 0.3, 20_000)
    assert "is damaged" in refusal(film)
    film = numbered_film(tmp_path / "wreck.ts", 200, options={"g": "100", "crf": "10"})
    spoil(film, 0.3, 20_000)
    assert "is damaged" in refusal(film)


def test_damage_everywhere_is_refused(tmp_path: Path) -> None:
    film = numbered_film(tmp_path / "dust.mp4", 100, options={"g": "25", "crf": "10"})
    data = film.read_bytes()
    spoil(film, 0.01, int(0.9 * len(data)))
    assert "damaged" in refusal(film)


def test_matroska_that_lost_its_middle_is_refused(tmp_path: Path) -> None:
    film = numbered_film(tmp_path / "holed.mkv", 200, options={"g": "25"})
    whole = film.read_bytes()
    film.write_bytes(whole[: int(0.3 * len(whole))] + whole[int(0.6 * len(whole)) :])
    assert "is damaged" in refusal(film)


@pytest.mark.parametrize("suffix", [".mp4", ".mkv", ".ts"])
def test_random_damage_never_ends_in_a_traceback(tmp_path: Path, suffix: str) -> None:
    """Bytes flipped, cut out or overwritten: whole frames in order, or one sentence."""
    whole = numbered_film(tmp_path / f"whole{suffix}", 50, options={"g": "10"}, sound_s=2.0).read_bytes()
    rng = np.random.default_rng(7)
    for trial in range(12):
        data = bytearray(whole)
        place = int(rng.uniform(0, len(data)))
        if trial % 3 == 0:
            data[place : place + 400] = rng.bytes(len(data[place : place + 400]))
        elif trial % 3 == 1:
            del data[place : place + int(rng.integers(1, 3000))]
        else:
            for at in rng.integers(0, len(data), 20):
                data[at] ^= int(rng.integers(1, 256))
        film = tmp_path / f"trial{trial}{suffix}"
        film.write_bytes(data)
        indices, said = [], "nothing"
        try:
            indices = [f.index for f in decode(film)]
        except FilmError as error:
            said = str(error)
        assert indices == sorted(set(indices))
        assert said == "nothing" or (not indices and "\n" not in said and str(film) in said)


def test_field_packets_make_one_picture() -> None:
    listed = np.arange(0, 40 * 1800, 1800)
    np.testing.assert_array_equal(frame_timestamps(listed, listed[:24:2]), listed[::2])
    np.testing.assert_array_equal(frame_timestamps(listed, listed[1:24:2]), listed[1::2])
    np.testing.assert_array_equal(frame_timestamps(listed, listed[:12]), listed)
    np.testing.assert_array_equal(frame_timestamps(listed, listed[[0, 2, 4, 7, 9]]), listed)


def test_holes_of_a_transport_stream_are_lost_pictures() -> None:
    whole = np.arange(0, 400) * 3003 + np.arange(400) % 2  # rounding of the time base
    holed = np.delete(whole, np.r_[50:61, 200])
    filled = with_lost_pictures(holed, 0)
    assert len(filled) == 400
    assert np.abs(filled - whole).max() <= 1
    np.testing.assert_allclose(with_lost_pictures(holed, 5 * 3003), np.delete(whole, 200), atol=1)
    variable = np.cumsum(np.random.default_rng(0).integers(1000, 9000, 400))
    np.testing.assert_array_equal(with_lost_pictures(variable, 0), variable)
    spliced = np.concatenate([whole, whole + 10**9])
    np.testing.assert_array_equal(with_lost_pictures(spliced, 0), spliced)


# The rest of the product ------------------------------------------------------------------------


def test_films_are_opened_nowhere_else() -> None:
    """cv2.VideoCapture reads no exact times; only film decodes, and it uses PyAV."""
    root = Path(__file__).parents[2] / "pipeline"
    users = [p.relative_to(root).as_posix() for p in root.rglob("*.py") if "VideoCapture" in p.read_text("utf-8")]
    assert [u for u in users if not u.startswith("film/")] == []


def test_film_room_imports_no_later_room() -> None:
    code = (
        "import sys, pipeline.film.decode, pipeline.film.probe, pipeline.film.tables\n"
        "print([m for m in sys.modules if m.startswith('pipeline.') and m.split('.')[1] not in "
        "('film', 'errors', 'tables', 'user_files', 'whole_files')])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
