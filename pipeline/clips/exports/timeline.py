"""Tags as a timeline for cutting rooms: OpenTimelineIO, and CMX 3600 edit decision lists through its adapter.

Each tag is one cut: the stretch that its clip shows, from the game's own film. Frames are counted at the film's rate,
the nearest of :data:`~pipeline.clips.rates.RATES`, from the timecode that the film carries, or from zero. Of a film of
variable rate the frame is its presentation time in that rate, which is where a cutting room puts it when it conforms
such a film; the timeline says so. Held moments and slow stretches of a reel are told beside the cut, not made.

Timecode is SMPTE ST 12-1: 29.97 and 59.94 are counted with dropped numbers or without, as the settings say.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import opentimelineio as otio
from opentimelineio import opentime

from pipeline.clips.cutting import paced
from pipeline.clips.exports.rows import Listed
from pipeline.clips.rates import rate_of
from pipeline.clips.settings import ClipSettings
from pipeline.clips.tag_film import stretch_of
from pipeline.clips.titles import title_of
from pipeline.errors import ExportError
from pipeline.film.probe import FilmInfo, open_film, probe
from pipeline.library.games import Library
from pipeline.settings import Settings
from pipeline.tags import Reel, Tag

OURS = "elbowroom"
"""Key of our own metadata."""

REEL_LETTERS = 8
"""Letters of a reel's name in an EDL."""


def timeline_of(
    library: Library, chosen: Sequence[Listed], settings: Settings, reel: Reel | None
) -> otio.schema.Timeline:
    """Tags one after the other on one video track.

    Raises
    ------
    LibraryError, FilmError
        If a game has no film or it cannot be read.
    """
    names = list(dict.fromkeys(tag.game for tag, _ in chosen))
    films = {name: probe(library.game(name).film(), settings.film.decode) for name in names}
    sources = {name: _Source(info) for name, info in films.items()}
    title = reel.title if reel is not None and reel.title else f"{library.root.resolve().name} tags"
    timeline = otio.schema.Timeline(_one_line(title))
    track = otio.schema.Track("V1", kind=otio.schema.TrackKind.Video)
    timeline.tracks.append(track)
    if reel is not None and reel.note:
        timeline.metadata[OURS] = {"note": reel.note}
    for tag, item in chosen:
        clip = sources[tag.game].cut(tag, settings)
        if item is not None:
            clip.name = _one_line(item.title) or clip.name
            clip.metadata[OURS].update({"note": item.note, "freeze": item.freeze, "speed": item.slow})
        track.append(clip)
    return timeline


def as_otio(timeline: otio.schema.Timeline) -> str:
    """The timeline as OpenTimelineIO's JSON."""
    return str(otio.adapters.write_to_string(timeline, "otio_json"))


def as_edl(timeline: otio.schema.Timeline, settings: ClipSettings) -> str:
    """The timeline as a CMX 3600 list.

    Raises
    ------
    ExportError
        If its films have several rates: a list has one.
    """
    clips = list(timeline.find_clips())
    rates = sorted({clip.source_range.start_time.rate for clip in clips})
    if len(rates) > 1:
        told = " and ".join(f"{rate:.2f}".rstrip("0").rstrip(".") for rate in rates)
        raise ExportError(
            f"An edit decision list has one rate and these films have {told} frames a second; choose tags of films of "
            "one rate, or write OTIO."
        )
    rate = Fraction(rates[0]).limit_denominator(1001)
    drops = rate in (Fraction(30000, 1001), Fraction(60000, 1001)) and settings.edl_timecode == "drop"
    # Non-drop timecode counts frames as if there were a whole number of them in a second.
    counted = rates[0] if drops else float(round(rate))
    cuts = otio.schema.Timeline(timeline.name)
    track = otio.schema.Track("V1", kind=otio.schema.TrackKind.Video)
    cuts.tracks.append(track)
    names = _reel_names([_file_name(clip) for clip in clips])
    for clip in clips:
        track.append(_edl_cut(clip, counted, names[_file_name(clip)]))
    text = str(otio.adapters.write_to_string(cuts, "cmx_3600", rate=counted, style="avid"))
    head, gap, events = text.partition("\n\n")
    return f"{head}\nFCM: {'DROP FRAME' if drops else 'NON-DROP FRAME'}{gap}{events}"


class _Source:
    """A film as a cutting room sees it."""

    def __init__(self, info: FilmInfo) -> None:
        self._info = info
        self._rate = rate_of(info)
        self._first = start_frame(info.path, self._rate)
        counted = np.round(info.times_s * float(self._rate)).astype(int)
        self._variable = bool((counted != np.arange(len(counted))).any())

    def cut(self, tag: Tag, settings: Settings) -> otio.schema.Clip:
        """The stretch that a tag's clip shows."""
        pace = paced(self._info, *stretch_of(tag, settings.clips))
        found, rate = tag.candidate, float(self._rate)
        first, stop = self._frame(pace.start_s), self._frame(pace.end_s)
        media = otio.schema.ExternalReference(
            target_url=self._info.path.resolve().as_uri(),
            available_range=_range(self._first, self._first + self._frame(self._info.duration_s), rate),
        )
        media.name = self._info.path.name
        clip = otio.schema.Clip(
            name=title_of(found.kind, settings),
            media_reference=media,
            source_range=_range(self._first + first, self._first + max(stop, first + 1), rate),
        )
        told: dict[str, Any] = {
            "tag": tag.tag,
            "game": tag.game,
            "kind": found.kind,
            "state": tag.state.value,
            "labels": list(tag.labels),
            "start_s": pace.start_s,
            "end_s": pace.end_s,
            "t_s": found.t_s,
            "variable_rate": self._variable,
        }
        clip.metadata[OURS] = told
        own = _range(
            self._first + self._frame(tag.start_s),
            self._first + max(self._frame(tag.end_s), self._frame(tag.start_s) + 1),
            rate,
        )
        moment = self._first + self._frame(found.t_s)
        for name, marked, colour in (
            (_one_line(found.sentence) or clip.name, _range(moment, moment + 1, rate), otio.schema.MarkerColor.RED),
            (found.kind, own, otio.schema.MarkerColor.GREEN),
        ):
            clip.markers.append(otio.schema.Marker(name=name, marked_range=marked, color=colour))
        return clip

    def _frame(self, t_s: float) -> int:
        return round(t_s * self._rate)


def start_frame(film: Path, rate: Fraction) -> int:
    """The number of a film's first frame by the timecode that it carries; 0 where it carries none."""
    with open_film(film) as container:
        told = [container.metadata, *(stream.metadata for stream in container.streams)]
    texts = [text for one in told if (text := one.get("timecode"))]
    return frame_of_timecode(texts[0], rate) if texts else 0


def frame_of_timecode(text: str, rate: Fraction) -> int:
    """Frame number of a timecode ``HH:MM:SS:FF``, with ``;`` before the frames where numbers are dropped.

    A text that is no timecode is taken as zero: it is a label that some recorder left.
    """
    parts = re.fullmatch(r"(\d\d):(\d\d):(\d\d)([:;.])(\d\d)", text.strip())
    if parts is None:
        return 0
    hours, minutes, seconds, frames = (int(parts[n]) for n in (1, 2, 3, 5))
    whole = round(rate)
    count = ((hours * 60 + minutes) * 60 + seconds) * whole + frames
    if parts[4] == ":" or rate not in (Fraction(30000, 1001), Fraction(60000, 1001)):
        return count
    # SMPTE ST 12-1: two numbers (four at 59.94) are dropped at every minute but each tenth.
    passed = hours * 60 + minutes
    return count - (whole // 15) * (passed - passed // 10)


def _edl_cut(clip: otio.schema.Clip, rate: float, reel: str) -> otio.schema.Clip:
    """A cut as the list has it: frames recounted, words without control letters."""
    cut = clip.source_range
    told = clip.metadata[OURS]
    lines = [f"COMMENT: TAG {told['tag']} {_one_line(clip.name)}"]
    sentence = _one_line(clip.markers[0].name)
    if sentence and sentence != clip.name:
        lines.append(f"COMMENT: {sentence}")
    if told.get("note"):
        lines.append(f"COMMENT: {_one_line(told['note'])}")
    if told.get("freeze"):
        lines.append("COMMENT: HELD AT THE MOMENT IN THE REEL'S FILM")
    if told.get("speed", 1.0) < 1:
        lines.append(f"COMMENT: PLAYS AT {told['speed']:.0%} AROUND THE MOMENT IN THE REEL'S FILM")
    if told["variable_rate"]:
        lines.append("COMMENT: VARIABLE RATE, FRAMES ARE PRESENTATION TIME IN THE LIST'S RATE")
    moment = clip.markers[0].marked_range.start_time.value
    listed = otio.schema.Clip(
        name=_one_line(_file_name(clip)),
        media_reference=otio.schema.ExternalReference(target_url=clip.media_reference.target_url),
        source_range=opentime.TimeRange(
            opentime.RationalTime(cut.start_time.value, rate), opentime.RationalTime(cut.duration.value, rate)
        ),
    )
    listed.metadata["cmx_3600"] = {"reel": reel, "comments": lines}
    listed.markers.append(
        otio.schema.Marker(
            name=_one_line(clip.name),
            marked_range=opentime.TimeRange(opentime.RationalTime(moment, rate), opentime.RationalTime(1, rate)),
            color=otio.schema.MarkerColor.RED,
        )
    )
    return listed


def _file_name(clip: otio.schema.Clip) -> str:
    return str(clip.media_reference.name)


def _reel_names(files: Sequence[str]) -> dict[str, str]:
    """Names of at most eight letters for files, no two alike."""
    found: dict[str, str] = {}
    for file in dict.fromkeys(files):
        letters = re.sub(r"[^A-Z0-9]", "", Path(file).stem.upper())[:REEL_LETTERS] or "FILM"
        name, number = letters, 2
        while name in found.values():
            name = f"{letters[: REEL_LETTERS - len(str(number))]}{number}"
            number += 1
        found[file] = name
    return found


def _range(first: int, stop: int, rate: float) -> opentime.TimeRange:
    return opentime.TimeRange(opentime.RationalTime(first, rate), opentime.RationalTime(stop - first, rate))


def _one_line(text: str) -> str:
    return " ".join("".join(letter if letter.isprintable() else " " for letter in text).split())
