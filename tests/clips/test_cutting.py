"""Clips cut from numbered films: right frames, right times, sound in its place."""

from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest

from pipeline.clips.cutting import cut_clip
from pipeline.clips.pace import Freeze, Slow
from pipeline.errors import FilmError
from pipeline.film.decode import Frame, decode
from pipeline.film.probe import probe
from tests.film.films import numbered_film, numbered_picture, read_number, write_film


class Framed:
    """Paints the lower edge red while running, blue while held."""

    def draw(self, frame: Frame) -> np.ndarray:
        return self._edged(frame, (0, 0, 255))

    def hold(self, frame: Frame) -> np.ndarray:
        return self._edged(frame, (255, 0, 0))

    def _edged(self, frame: Frame, colour: tuple[int, int, int]) -> np.ndarray:
        picture = frame.image.copy()
        picture[-24:] = colour
        return picture


def edge_of(image: np.ndarray) -> str:
    blue, _, red = image[-12:].reshape(-1, 3).mean(axis=0)
    return "blue" if blue > red else "red"


def test_frames_and_times_are_the_films(tmp_path: Path) -> None:
    film = numbered_film(tmp_path / "film.mp4", 100, rate=Fraction(30000, 1001), options={"g": "40"})
    times = probe(film).times_s
    clip = cut_clip(film, times[31], times[61], tmp_path / "new" / "clip.mp4", Framed())
    assert (clip.start_s, clip.frames, clip.has_sound) == (times[31], 30, False)
    frames = list(decode(clip.path))
    assert [read_number(f.image) for f in frames] == list(range(31, 61))
    assert {edge_of(f.image) for f in frames} == {"red"}
    np.testing.assert_allclose([f.t_s for f in frames], times[31:61] - times[31], atol=2e-5)
    assert probe(clip.path).duration_s == pytest.approx(clip.length_s, abs=0.04)
    assert [p.name for p in clip.path.parent.iterdir()] == ["clip.mp4"]


def test_variable_rate_is_kept(tmp_path: Path) -> None:
    ticks = np.cumsum(np.random.default_rng(1).integers(15, 90, 60)).tolist()
    film = numbered_film(tmp_path / "vfr.mkv", 60, ticks=ticks)
    times = probe(film).times_s
    clip = cut_clip(film, times[10], times[40], tmp_path / "clip.mp4")
    np.testing.assert_allclose([f.t_s for f in decode(clip.path)], times[10:40] - times[10], atol=2e-5)


def test_a_moment_is_held(tmp_path: Path) -> None:
    film = numbered_film(tmp_path / "film.mp4", 75)
    told: list[float] = []
    clip = cut_clip(
        film,
        1.0,
        2.0,
        tmp_path / "clip.mp4",
        Framed(),
        freezes=(Freeze(1.39, 0.8),),
        progress=lambda done, _: told.append(done),
    )
    assert clip.length_s == pytest.approx(1.8)
    frames = [(f.t_s, read_number(f.image), edge_of(f.image)) for f in decode(clip.path)]
    held = [(t, n) for t, n, colour in frames if colour == "blue"]
    assert {n for _, n in held} == {35}
    assert held[0][0] == pytest.approx(0.4, abs=1e-4)
    after = next((t, n) for t, n, colour in frames if colour == "red" and t > held[-1][0])
    assert after == (pytest.approx(1.2, abs=1e-4), 35)
    assert frames[-1][:2] == (pytest.approx(0.96 + 0.8, abs=1e-4), 49)
    assert max(np.diff([t for t, _, _ in frames])) <= 0.11
    assert told == sorted(told)
    assert told[-1] == pytest.approx(1.8, abs=0.05)


def test_a_slow_stretch_keeps_every_frame(tmp_path: Path) -> None:
    """Of a film of variable rate too: the same frames, the slow ones twice as long on screen."""
    ticks = np.cumsum(np.random.default_rng(2).integers(15, 90, 60)).tolist()
    film = numbered_film(tmp_path / "vfr.mkv", 60, ticks=ticks)
    times = probe(film).times_s
    clip = cut_clip(film, times[10], times[50], tmp_path / "clip.mp4", slow=Slow(times[20], times[30], 2.0))
    frames = list(decode(clip.path))
    assert [read_number(f.image) for f in frames] == list(range(10, 50))
    steps = np.diff(times[10:50]) * np.where((np.arange(10, 49) >= 20) & (np.arange(10, 49) < 30), 2, 1)
    np.testing.assert_allclose([f.t_s for f in frames], np.concatenate([[0], np.cumsum(steps)]), atol=3e-5)
    assert clip.length_s == pytest.approx(times[50] - times[10] + times[30] - times[20])


def test_a_slow_stretch_is_silent(tmp_path: Path) -> None:
    film = film_with_beeps(tmp_path / "beeps.mp4")
    clip = cut_clip(film, 0.8, 2.0, tmp_path / "slow.mp4", slow=Slow(1.2, 1.4, 3.0))
    with av.open(str(clip.path)) as container:
        heard = np.concatenate([frame.to_ndarray()[0] for frame in container.decode(audio=0)])
    loud = [np.abs(heard[round(48000 * (t - 0.03)) : round(48000 * (t + 0.03))]).max() > 0.1 for t in (0.3, 0.7, 1.05)]
    # 0.2 to 0.4 s of the clip sounds, then 0.6 s of silence, then the beep's last tenth of a second.
    assert loud == [True, False, True]


def test_odd_size(tmp_path: Path) -> None:
    film = numbered_film(tmp_path / "sar.mp4", 20, width_px=160, height_px=120, sample_aspect=Fraction(4, 3))
    assert probe(film).width_px == 213
    clip = cut_clip(film, 0.2, 0.6, tmp_path / "clip.mp4")
    info = probe(clip.path)
    assert (info.width_px, info.height_px) == (214, 120)
    assert [read_number(f.image[:, :213]) for f in decode(clip.path)] == list(range(5, 15))


def film_with_beeps(path: Path) -> Path:
    """Three seconds at 25 pictures a second; 440 Hz sounds from 1.0 to 1.5 s only."""
    silent = write_film(path.with_suffix(".silent.mp4"), (numbered_picture(i, 192, 112) for i in range(75)))
    sound = np.zeros((1, 3 * 48000), np.float32)
    sound[0, 48000:72000] = 0.4 * np.sin(2 * np.pi * 440 * np.arange(24000) / 48000)
    with av.open(str(silent)) as source, av.open(str(path), "w") as target:
        pictures = target.add_stream_from_template(source.streams.video[0])
        track = target.add_stream("aac", rate=48000)
        for packet in source.demux(source.streams.video[0]):
            if packet.dts is not None:
                packet.stream = pictures
                target.mux(packet)
        for start in range(0, sound.shape[1], 1024):
            frame = av.AudioFrame.from_ndarray(sound[:, start : start + 1024], format="fltp", layout="mono")
            frame.sample_rate, frame.pts, frame.time_base = 48000, start, Fraction(1, 48000)
            target.mux(track.encode(frame))
        target.mux(track.encode(None))
    return path


def loud_stretch(path: Path) -> tuple[float, float]:
    """First and last time at which something is heard."""
    with av.open(str(path)) as container:
        heard = []
        for frame in container.decode(audio=0):
            level = np.abs(frame.to_ndarray()).max(axis=0)
            heard += [frame.time + i / frame.sample_rate for i in np.flatnonzero(level > 0.1)]
    return min(heard), max(heard)


def test_sound_stays_with_the_pictures(tmp_path: Path) -> None:
    film = film_with_beeps(tmp_path / "beeps.mp4")
    assert loud_stretch(film) == pytest.approx((1.0, 1.5), abs=0.03)
    plain = cut_clip(film, 0.8, 2.0, tmp_path / "plain.mp4")
    assert plain.has_sound
    assert loud_stretch(plain.path) == pytest.approx((0.2, 0.7), abs=0.05)
    before = cut_clip(film, 0.8, 2.0, tmp_path / "before.mp4", freezes=(Freeze(0.9, 0.6),))
    assert loud_stretch(before.path) == pytest.approx((0.8, 1.3), abs=0.05)
    within = cut_clip(film, 0.8, 2.0, tmp_path / "within.mp4", freezes=(Freeze(1.24, 0.6),))
    assert loud_stretch(within.path) == pytest.approx((0.2, 1.3), abs=0.05)


def test_what_cannot_be_cut(tmp_path: Path) -> None:
    film = numbered_film(tmp_path / "film.mp4", 25)
    with pytest.raises(FilmError, match="no picture between"):
        cut_clip(film, 5.0, 6.0, tmp_path / "clip.mp4")
    with pytest.raises(FilmError, match="no picture between"):
        cut_clip(film, 0.5, 0.5, tmp_path / "clip.mp4")
    (tmp_path / "taken").write_text("a file where a folder should be")
    with pytest.raises(FilmError, match="cannot be made"):
        cut_clip(film, 0.0, 1.0, tmp_path / "taken" / "clip.mp4")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["film.mp4", "taken"]


def test_a_failed_drawing_leaves_nothing(tmp_path: Path) -> None:
    class Failing(Framed):
        def draw(self, frame: Frame) -> np.ndarray:
            if frame.index >= 5:
                raise ZeroDivisionError
            return frame.image

    film = numbered_film(tmp_path / "film.mp4", 25)
    with pytest.raises(ZeroDivisionError):
        cut_clip(film, 0.0, 1.0, tmp_path / "clip.mp4", Failing())
    assert [p.name for p in tmp_path.iterdir()] == ["film.mp4"]
