"""The clip of a tag that is no crowded paint: those who take part ringed on the floor, the sentence above."""

from __future__ import annotations

import numpy as np

from pipeline.clips.floor_drawing import canvas, caption, ring
from pipeline.clips.playback import Playback
from pipeline.clips.settings import ClipSettings, Colour
from pipeline.court.attack_frame import End
from pipeline.court.geometry import areas
from pipeline.court.rule_books import RULE_BOOKS
from pipeline.film.decode import Frame
from pipeline.tags.records import Candidate

WHITE: Colour = (245, 245, 245)
WIDEST = 70
"""Letters of a caption's line."""


class ActorsDrawing:
    """Rings a candidate's actors on every frame of its clip; see :class:`~pipeline.clips.cutting.Drawing`.

    The main actor has two rings; attackers and defenders have their teams' colours, told from the main actor's team.
    """

    def __init__(self, candidate: Candidate, playback: Playback, end: End, settings: ClipSettings) -> None:
        self._candidate = candidate
        self._playback = playback
        self._end = end
        self._settings = settings
        self._main = candidate.actors[0][1] if candidate.actors else None
        self._tracks = {track for _, track in candidate.actors}

    def draw(self, frame: Frame) -> np.ndarray:
        """The frame with the actors ringed where they are now."""
        return self._drawn(frame, frame.t_s)

    def hold(self, frame: Frame) -> np.ndarray:
        """The moment itself."""
        return self._drawn(frame, self._candidate.t_s)

    def _drawn(self, frame: Frame, t_s: float) -> np.ndarray:
        camera = self._playback.camera(frame.t_s)
        book = self._playback.rule_book
        if camera is None or not book:
            return frame.image
        settings = self._settings
        bodies = self._playback.bodies(t_s)
        boxes = [body.box_px for body in bodies if body.box_px is not None]
        half = areas(RULE_BOOKS[book])[f"three_point_{self._end}"]
        on = canvas(frame.image, camera, half, boxes, settings)
        team = next((body.team for body in bodies if body.track == self._main), -1)
        for body in bodies:
            if body.track not in self._tracks:
                continue
            mine = body.team == team or body.track == self._main
            colour = settings.unknown if body.team < 0 or team < 0 else settings.attack if mine else settings.defence
            if body.track == self._main:
                colour = settings.handler
                ring(on, body.place_ft, 1.45 * settings.ring_radius_ft, colour, 1.2)
            ring(on, body.place_ft, settings.ring_radius_ft, colour, 2.0)
        caption(on, [(line, WHITE) for line in lines_of(self._candidate.sentence or self._candidate.kind)], settings)
        return on.picture


def lines_of(sentence: str) -> list[str]:
    """A sentence in lines of at most ``WIDEST`` letters, parted at spaces; one line at least."""
    lines = [""]
    for word in sentence.split():
        if lines[-1] and len(lines[-1]) + 1 + len(word) > WIDEST:
            lines.append("")
        lines[-1] = f"{lines[-1]} {word}".strip()
    return lines
