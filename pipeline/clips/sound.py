"""The sound of a stretch of film, with silence where it is held still or slowed down."""

from __future__ import annotations

import av
import av.error
import numpy as np

from pipeline.clips.pace import Pace
from pipeline.clips.writing import SOUND_RATE
from pipeline.film.probe import FilmInfo, open_film


def sound_of(info: FilmInfo, pace: Pace) -> np.ndarray | None:
    """What a clip sounds like, (2, samples) float32 at :data:`~pipeline.clips.writing.SOUND_RATE`.

    None for a film without sound.
    """
    return _paced(_stretch(info, pace.start_s, pace.end_s), pace) if info.audio_codec else None


def _stretch(info: FilmInfo, start_s: float, end_s: float) -> np.ndarray:
    """The film's sound between two times, silence where there is none."""
    samples = np.zeros((2, max(0, round((end_s - start_s) * SOUND_RATE))), dtype=np.float32)
    zero_s = float(info.zero_pts * info.time_base)
    with open_film(info.path) as container:
        stream = container.streams.audio[0]
        resampler = av.AudioResampler(format="fltp", layout="stereo", rate=SOUND_RATE)
        if stream.time_base is not None:
            container.seek(max(0, round((start_s + zero_s - 0.5) / float(stream.time_base))), stream=stream)
        for packet in container.demux(stream):
            try:
                frames = packet.decode()
            except av.error.FFmpegError:
                continue  # a damaged packet of sound is a moment of silence
            for frame in frames:
                if frame.time is None:
                    continue
                at = round((frame.time - zero_s - start_s) * SOUND_RATE)
                if at >= samples.shape[1]:
                    return samples
                frame.pts = None  # the place is kept here; the resampler need not
                for part in resampler.resample(frame):
                    at = _place(samples, part.to_ndarray(), at)
    return samples


def _place(samples: np.ndarray, part: np.ndarray, at: int) -> int:
    """Copy a piece of sound to its place, as far as it lies inside; returns where it ends."""
    begin, end = max(0, at), min(samples.shape[1], at + part.shape[1])
    if begin < end:
        samples[:, begin:end] = part[:, begin - at : end - at]
    return at + part.shape[1]


def _paced(samples: np.ndarray, pace: Pace) -> np.ndarray:
    """Sound as the clip's own times have it: between two changes of pace it runs, or there is silence."""
    paced = np.zeros((2, round(pace.length_s * SOUND_RATE)), dtype=np.float32)
    for begin_s, end_s, factor, at_s in pace.runs():
        if factor != 1:
            continue
        begin = round((begin_s - pace.start_s) * SOUND_RATE)
        piece = samples[:, begin : round((end_s - pace.start_s) * SOUND_RATE)]
        at = round(at_s * SOUND_RATE)
        piece = piece[:, : max(0, paced.shape[1] - at)]
        paced[:, at : at + piece.shape[1]] = piece
    return paced
