"""Pictures spread over a film, got by seeking, for a first look at it before the film is decoded."""

from __future__ import annotations

import av
import av.error
import numpy as np

from pipeline.film.decode import Damage, Frame, PictureConverter, decode
from pipeline.film.probe import FilmInfo, open_film, video_stream
from pipeline.film.settings import DecodeSettings

SHORT_FILM_S = 120.0
"""A film this short is decoded whole if it has too few key pictures."""


def spread_pictures(info: FilmInfo, count: int, settings: DecodeSettings | None = None) -> list[Frame]:
    """About `count` pictures of a film, evenly spread, in order of time.

    Key pictures are taken, which cost one decoded picture each. Where a short film has less than half as many, it is
    decoded and its pictures are taken at even times. Interlaced pictures are not deinterlaced.

    Returns
    -------
    list of Frame
        At most `count`; fewer when the film has no more key pictures.
    """
    frames = _key_pictures(info, count)
    if len(frames) < count / 2 and info.duration_s <= SHORT_FILM_S:
        every_s = max(info.duration_s / count, 0.02)
        # How much damage is borne is judged where the film is looked at.
        frames = list(decode(info.path, every_s=every_s, settings=settings, damage=Damage.COUNTED))
    return frames


def _key_pictures(info: FilmInfo, count: int) -> list[Frame]:
    converter = PictureConverter(info)
    times_s = info.times_s
    found: dict[int, Frame] = {}
    with open_film(info.path) as container:
        stream = video_stream(container, info.path)
        stream.thread_type = "NONE"
        stream.codec_context.skip_frame = "NONKEY"
        for t_s in (np.arange(count) + 0.5) * info.duration_s / count:
            try:
                container.seek(info.zero_pts + round(t_s / float(info.time_base)), stream=stream, backward=True)
                picture = _next_key_picture(container, stream)
            except av.error.FFmpegError:
                continue  # a damaged place: the other pictures do
            if picture is None or picture.pts is None or picture.is_corrupt:
                continue
            pts = round(picture.pts * float(picture.time_base or info.time_base) / float(info.time_base))
            index = int(np.searchsorted(info.pts, pts))
            if index < len(info.pts) and info.pts[index] == pts and index not in found:
                frame = Frame(index, float(times_s[index]), picture, converter)
                found[index] = frame
    return [found[index] for index in sorted(found)]


def _next_key_picture(container: av.container.InputContainer, stream: av.VideoStream) -> av.VideoFrame | None:
    for packet in container.demux(stream):
        if packet.size and not packet.is_keyframe:
            continue
        pictures = packet.decode() if packet.size else []
        if not pictures:
            pictures = stream.codec_context.decode(None)  # the decoder waits for more: it gets no more before a seek
        return pictures[0] if pictures else None
    return None
