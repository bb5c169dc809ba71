"""Frames of a film, each with its exact presentation time.

:func:`decode` walks a film, or a stretch of it, in presentation order. Times are presentation
timestamps times the time base, counted from the film's first picture (see
:mod:`pipeline.film.probe`); no time is ever a frame number over a rate. A frame's index is its
place in the table of all presentation times, the same wherever decoding starts.

Damage: pictures that a damaged packet spoiled, and those after it up to the next whole key
picture (they refer to the spoiled one), are left out and counted in a :class:`DecodeReport`; a film
that loses more than the settings allow raises :class:`~pipeline.errors.FilmError` as soon as that
is certain, at the latest after the last frame.
"""

from __future__ import annotations

import math
import os
import threading
from collections.abc import Generator, Iterator
from dataclasses import dataclass
from enum import Enum
from fractions import Fraction

import av
import av.error
import av.filter
import numpy as np
from av.video.reformatter import Colorspace, Interpolation, VideoReformatter

from pipeline.errors import FilmError
from pipeline.film.probe import HD_HEIGHT_PX, FilmInfo, open_film, probe, video_stream
from pipeline.film.settings import DecodeSettings

TIME_SLACK_S = 1e-6
"""Times closer than this are the same; the finest time base in use (MPEG, 90 kHz) ticks every 1.1e-5 s."""

MISSING, SPOILED, DELIVERED = 0, 1, 2
"""What became of a picture."""

SEEK_MARGINS_S: tuple[float | None, ...] = (0.5, 4.0, 20.0, None)
"""How far before the wanted frame to seek, tried in turn; None is the film's start. Containers seek by
decoding time or by estimate, so a seek may land after the wanted frame."""

UNSPECIFIED_COLOUR = 2
"""AVCOL_SPC_UNSPECIFIED of FFmpeg."""

SMOOTH = Interpolation.BICUBIC | Interpolation.ACCURATE_RND
"""How pictures are converted that are to be shown, or to be enlarged."""


class Damage(Enum):
    """What becomes of a stretch that loses more pictures to damage than the settings allow."""

    REFUSED = "refused"
    """:class:`~pipeline.errors.FilmError` at the stretch's end."""
    COUNTED = "counted"
    """Nothing: whoever reads a film in parts judges it when all parts are read (:func:`refuse_damaged`)."""


class Frame:
    """One picture of a film.

    Attributes
    ----------
    index : int
        Place among all pictures of the film in presentation order; a label.
    t_s : float
        Presentation time, seconds from the film's first picture.
    """

    __slots__ = ("_converter", "_image", "_picture", "index", "t_s")

    def __init__(self, index: int, t_s: float, picture: av.VideoFrame, converter: PictureConverter) -> None:
        self.index = index
        self.t_s = t_s
        self._picture = picture
        self._converter = converter
        self._image: np.ndarray | None = None

    def __repr__(self) -> str:
        return f"Frame(index={self.index}, t_s={self.t_s:.6f})"

    @property
    def image(self) -> np.ndarray:
        """The picture, (height_px, width_px, 3) uint8 BGR, upright, square pixels, read-only.

        Converted on first use, so frames that nobody looks at cost no conversion.
        """
        if self._image is None:
            self._image = self._converter.convert(self._picture, self._converter.width_px)
        return self._image

    def quick(self) -> np.ndarray:
        """The picture in its own size in a quarter of the time of `image`, which it differs from by 1.2 levels (mean).

        Colours are stored for every second pixel of every second line, and pixels between take them unmixed. Enough
        for what averages over a region; not for showing.
        """
        return self._converter.convert(self._picture, self._converter.width_px, Interpolation.POINT)

    def small(self, width_px: int) -> np.ndarray:
        """The picture scaled to a width, upright and with square pixels, uint8 BGR, read-only.

        The height follows from the film's aspect, rounded to a whole pixel. Never larger than the film.
        """
        return self._converter.convert(self._picture, max(1, min(width_px, self._converter.width_px)))


class PictureConverter:
    """Turns decoded pictures of one film into upright BGR arrays; keeps one scaler per size and thread."""

    def __init__(self, info: FilmInfo) -> None:
        self.width_px = info.width_px
        self._height_px = info.height_px
        self._turns = info.rotation_deg // 90
        self._of_thread = threading.local()

    def convert(self, picture: av.VideoFrame, width_px: int, unscaled: Interpolation = SMOOTH) -> np.ndarray:
        """A picture as an array; ``unscaled`` is the way in which it is converted where its size stays."""
        height_px = max(1, round(self._height_px * width_px / self.width_px))
        coded = (height_px, width_px) if self._turns % 2 else (width_px, height_px)
        untagged_hd = picture.colorspace == UNSPECIFIED_COLOUR and picture.height >= HD_HEIGHT_PX
        if not hasattr(self._of_thread, "scalers"):
            self._of_thread.scalers = {}
        stays = coded == (picture.width, picture.height)
        way = Interpolation.AREA if coded[0] < picture.width else unscaled if stays else SMOOTH
        scalers: dict[tuple[int, Interpolation], VideoReformatter] = self._of_thread.scalers
        scaled = scalers.setdefault((width_px, way), VideoReformatter()).reformat(
            picture,
            width=coded[0],
            height=coded[1],
            format="bgr24",
            src_colorspace=Colorspace.ITU709 if untagged_hd else None,
            interpolation=way,
            threads=1,  # whoever converts pictures does so on several threads already
        )
        image: np.ndarray = np.ascontiguousarray(np.rot90(scaled.to_ndarray(), k=self._turns))
        image.setflags(write=False)
        return image


def grid_slots(times_s: np.ndarray, every_s: float) -> np.ndarray:
    """Number of the step of a time grid in which each time lies.

    The grid starts at the film's time zero, so a film read in pieces is sampled like one read whole.

    Parameters
    ----------
    times_s : ndarray of shape (N,)
        Presentation times, seconds.
    every_s : float
        Step of the grid, seconds, above 0.

    Returns
    -------
    ndarray of shape (N,), int64
        ``floor(t / every_s)``, a time within 1 µs below a grid time counted as on it.
    """
    if not every_s > 0:
        raise ValueError(f"every_s must be above 0 seconds, got {every_s}.")
    return np.floor((np.asarray(times_s, dtype=np.float64) + TIME_SLACK_S) / every_s).astype(np.int64)


class Sampler:
    """Picks the first whole frame of each step of a time grid.

    Parameters
    ----------
    times_s : ndarray of shape (N,)
        Presentation times of all pictures of the film (``FilmInfo.times_s``).
    every_s : float
        Step of the grid, seconds.
    """

    def __init__(self, times_s: np.ndarray, every_s: float) -> None:
        self._slots = grid_slots(times_s, every_s)
        self._last_index: int | None = None
        self._last_slot: int | None = None

    def takes(self, index: int) -> bool:
        """Whether the frame with this index is picked. Call in order for every frame decoded."""
        slot = int(self._slots[index])
        if self._last_index is None and index > 0:
            # Decoding started inside the film: a step already begun before belongs to an earlier frame.
            self._last_slot = int(self._slots[index - 1])
        self._last_index = index
        if slot == self._last_slot:
            return False
        self._last_slot = slot
        return True


@dataclass(frozen=True, slots=True)
class DecodeReport:
    """What became of the pictures of the stretch that was decoded.

    Attributes
    ----------
    expected : int
        Pictures that the file lists in the stretch.
    delivered : int
        Pictures that came out whole. Those the sampling passed over count too.
    spoiled : int
        Pictures left out because they, or a picture they refer to, were damaged.
    missing : int
        Pictures listed that the decoder never gave.
    gaps_s : tuple of (float, float)
        Times between the whole pictures on either side of each loss, in order.
    """

    expected: int
    delivered: int
    spoiled: int
    missing: int
    gaps_s: tuple[tuple[float, float], ...]

    @property
    def lost_share(self) -> float:
        """Share of the listed pictures that were lost, 0…1."""
        return (self.spoiled + self.missing) / self.expected if self.expected else 0.0

    def sentence(self) -> str:
        """The report in one sentence, for logs and summaries."""
        if not self.gaps_s:
            return f"All {self.expected} pictures were read."
        where = ", ".join(f"{a:.2f}–{b:.2f} s" for a, b in self.gaps_s[:3]) + (" …" if len(self.gaps_s) > 3 else "")
        return (
            f"{self.spoiled + self.missing} of {self.expected} pictures ({self.lost_share:.1%}) were lost to damage "
            f"in {len(self.gaps_s)} place(s): {where}."
        )


class Decoding(Iterator[Frame]):
    """An iterator of frames that also knows what was lost; made by :func:`decode`.

    Attributes
    ----------
    info : FilmInfo
        What the film is.
    first, stop : int
        Frame indices of the stretch, half-open.
    """

    def __init__(
        self,
        info: FilmInfo,
        every_s: float | None,
        start_s: float,
        end_s: float,
        settings: DecodeSettings,
        damage: Damage,
    ) -> None:
        self.info = info
        self._settings, self._damage = settings, damage
        self._times_s = info.times_s
        self.first = int(np.searchsorted(self._times_s, start_s - TIME_SLACK_S, side="left"))
        self.stop = max(self.first, int(np.searchsorted(self._times_s, end_s - TIME_SLACK_S, side="left")))
        self._sampler = None if every_s is None else Sampler(self._times_s, every_s)
        self._fate = np.zeros(len(info.pts), dtype=np.uint8)
        self._reached = self.first
        self._frames = self._walk()

    def __next__(self) -> Frame:
        return next(self._frames)

    def close(self) -> None:
        """Close the film before its end."""
        self._frames.close()

    @property
    def report(self) -> DecodeReport:
        """What was read and lost up to now; complete once the iterator is exhausted."""
        return damage_report(self.info, self.first, self.fates(self.first, self._reached))

    def fates(self, first: int, stop: int) -> np.ndarray:
        """What became of the pictures with these indices, half-open: MISSING, SPOILED or DELIVERED, uint8."""
        return self._fate[first:stop].copy()

    def _walk(self) -> Generator[Frame, None, None]:
        converter = PictureConverter(self.info)
        if self.first < self.stop:
            for index, picture in self._in_stretch():
                self._fate[index] = DELIVERED
                self._reached = index + 1
                if self._sampler is None or self._sampler.takes(index):
                    yield Frame(index, float(self._times_s[index]), picture, converter)
        self._reached = self.stop
        if self._damage is Damage.REFUSED:
            refuse_damaged(self.info, self.report, self._settings)

    def _in_stretch(self) -> Iterator[tuple[int, av.VideoFrame]]:
        """Whole pictures of the stretch with their indices, strictly increasing."""
        target = int(self.info.pts[self.first])
        for margin_s in SEEK_MARGINS_S:
            seek_pts = None if margin_s is None else target - round(margin_s / float(self.info.time_base))
            if self.first == 0 or (seek_pts is not None and seek_pts <= self.info.zero_pts):
                seek_pts = None
            self._fate[:] = MISSING
            latest = -1
            for index, picture in _deinterlaced(self._whole_pictures(seek_pts)):
                if latest < 0 and index > self.first and seek_pts is not None:
                    break  # the seek landed too late: try from further back
                if index <= latest:
                    continue
                latest = index
                if index >= self.stop:
                    return
                if index >= self.first:
                    yield index, picture
            else:
                if latest >= 0 or seek_pts is None:
                    return

    def _whole_pictures(self, seek_pts: int | None) -> Iterator[tuple[int, av.VideoFrame]]:
        """Decoded pictures that are whole, with their indices, from a seek point (or the start) on."""
        info = self.info
        with open_film(info.path) as container:
            stream = video_stream(container, info.path)
            # Frame threads, not slice threads: only these mark concealed damage on the picture.
            stream.thread_type = "FRAME"
            stream.codec_context.thread_count = self._settings.threads
            if seek_pts is not None:
                try:
                    container.seek(seek_pts, stream=stream, backward=True)
                except av.error.FFmpegError:
                    return  # no index to seek by: the caller goes further back, at last to the start
            suspect_since_s: float | None = None
            last_index: int | None = None
            for picture in _pictures(container, stream):
                if picture is None:
                    suspect_since_s = math.nan if suspect_since_s is None else suspect_since_s
                    continue
                index = self._index(picture)
                if index is None:
                    continue
                t_s = float(self._times_s[index])
                hole = last_index is not None and index > last_index + 1
                last_index = index
                if suspect_since_s is None and hole:
                    suspect_since_s = t_s
                if suspect_since_s is not None:
                    if math.isnan(suspect_since_s):
                        suspect_since_s = t_s
                    recovered = t_s - suspect_since_s > self._settings.longest_recovery_s
                    if picture.key_frame or recovered:
                        suspect_since_s = None
                if picture.is_corrupt:
                    suspect_since_s = t_s
                if suspect_since_s is None:
                    yield index, picture
                else:
                    self._fate[index] = SPOILED

    def _index(self, picture: av.VideoFrame) -> int | None:
        """Place of a decoded picture in the film's table of times; None if the table lacks it."""
        if picture.pts is None:
            return None
        pts = picture.pts
        if picture.time_base is not None and picture.time_base != self.info.time_base:
            pts = round(pts * Fraction(picture.time_base) / self.info.time_base)
        index = int(np.searchsorted(self.info.pts, pts))
        return index if index < len(self.info.pts) and self.info.pts[index] == pts else None


def damage_report(info: FilmInfo, first: int, fates: np.ndarray) -> DecodeReport:
    """The report on a run of pictures.

    Parameters
    ----------
    info : FilmInfo
    first : int
        Index of the first of them.
    fates : ndarray of shape (N,), uint8
        As `Decoding.fates` gives them.
    """
    lost = np.flatnonzero(np.diff(np.concatenate([[0], (fates != DELIVERED).astype(np.int8), [0]])))
    gaps = []
    for begin, after in zip(lost[::2] + first, lost[1::2] + first, strict=True):
        end_s = info.times_s[after] if after < len(info.times_s) else info.duration_s
        gaps.append((float(info.times_s[begin]), float(end_s)))
    return DecodeReport(
        expected=len(fates),
        delivered=int((fates == DELIVERED).sum()),
        spoiled=int((fates == SPOILED).sum()),
        missing=int((fates == MISSING).sum()),
        gaps_s=tuple(gaps),
    )


def refuse_damaged(info: FilmInfo, report: DecodeReport, settings: DecodeSettings) -> None:
    """FilmError where a film, or the part of it that was asked for, lost more than the settings allow."""
    if report.expected and report.delivered == 0:
        raise FilmError(
            f"{info.path} lists {report.expected} pictures of which none can be decoded whole: it is damaged; "
            "copy it again or convert it."
        )
    if report.lost_share > settings.largest_lost_share:
        raise FilmError(
            f"{info.path} is damaged: {report.sentence()[:-1]}; copy it again, or raise "
            "film.decode.largest_lost_share to use what is left."
        )


def decode(
    path: str | os.PathLike[str],
    *,
    every_s: float | None = None,
    start_s: float | None = None,
    end_s: float | None = None,
    settings: DecodeSettings | None = None,
    damage: Damage = Damage.REFUSED,
) -> Decoding:
    """Walk through a film's frames in presentation order.

    Interlaced pictures are deinterlaced (bwdif, one frame per pair of fields); rotation and sample
    aspect are applied; mirrored display matrices are not.

    Parameters
    ----------
    path : path
        The film.
    every_s : float, optional
        Yield only the first frame at or after each multiple of this time; all frames without it.
    start_s, end_s : float, optional
        Half-open stretch of presentation times, seconds from the film's first picture. Exact to the
        frame whatever the codec; nothing outside is yielded. A stretch without frames yields nothing.
    settings : DecodeSettings, optional
        Threads and how much damage is borne.
    damage : Damage
        Whether more than that is refused or only counted.

    Returns
    -------
    Decoding
        Iterator of :class:`Frame`; its ``info`` says what the film is, its ``report`` what was lost.

    Raises
    ------
    FilmError
        At once if the file is no readable film; while iterating if too much of it is damaged.
    """
    limits = settings or DecodeSettings()
    info = probe(path, limits)
    return Decoding(
        info, every_s, -math.inf if start_s is None else start_s, math.inf if end_s is None else end_s, limits, damage
    )


def _pictures(container: av.container.InputContainer, stream: av.VideoStream) -> Iterator[av.VideoFrame | None]:
    """Everything the decoder gives, in its order; None where a packet could not be decoded."""
    packets = container.demux(stream)
    while True:
        try:
            packet = next(packets)
        except StopIteration:
            return
        except av.error.FFmpegError:
            # The container breaks off here: what the decoder still holds comes out below.
            yield None
            try:
                yield from stream.decode(None)
            except av.error.FFmpegError:
                yield None
            return
        try:
            yield from packet.decode()
        except av.error.FFmpegError:
            yield None


def _deinterlaced(pictures: Iterator[tuple[int, av.VideoFrame]]) -> Iterator[tuple[int, av.VideoFrame]]:
    """Pass pictures through a deinterlacer from the first interlaced one on.

    Progressive pictures go through it unchanged. The filter holds one picture back; the indices wait
    with it, because it gives one picture for each it takes.
    """
    graph: av.filter.Graph | None = None
    waiting: list[int] = []
    shape: tuple[int, int, str] | None = None

    def drain(filters: av.filter.Graph) -> Iterator[tuple[int, av.VideoFrame]]:
        while waiting:
            try:
                filtered = filters.vpull()
            except (av.error.BlockingIOError, av.error.EOFError):
                return
            yield waiting.pop(0), filtered

    for index, picture in pictures:
        now = (picture.width, picture.height, picture.format.name)
        gap = bool(waiting) and index != waiting[-1] + 1
        if graph is not None and (gap or now != shape):
            graph.vpush(None)
            yield from drain(graph)
            graph, waiting = None, []
        if graph is None and picture.interlaced_frame:
            graph, shape = _deinterlacer(picture), now
        if graph is None:
            yield index, picture
            continue
        waiting.append(index)
        graph.vpush(picture)
        yield from drain(graph)
    if graph is not None:
        graph.vpush(None)
        yield from drain(graph)


def _deinterlacer(picture: av.VideoFrame) -> av.filter.Graph:
    graph = av.filter.Graph()
    source = graph.add_buffer(
        width=picture.width, height=picture.height, format=picture.format, time_base=picture.time_base
    )
    bwdif = graph.add("bwdif", "mode=send_frame:parity=auto:deint=interlaced")
    source.link_to(bwdif)
    bwdif.link_to(graph.add("buffersink"))
    graph.configure()
    return graph
