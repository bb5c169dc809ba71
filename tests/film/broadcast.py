"""A make-believe broadcast in numpy: court view, close-up, crowd, graphic, with cuts, wipes and dissolves.

Crude on purpose; it has what the shot finder and the live test look at: a panning floor with small moving people, a
score graphic, replays that are slower, lack that graphic and lie between two wipes.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from tests.film.films import blurred_noise

SIZE_PX = (320, 180)


@dataclass(frozen=True)
class Piece:
    """One shot of the plan: what it shows, for how long, and how it is entered."""

    view: str  # court, replay, closeup, crowd, graphic
    length_s: float
    entered_by: str = "cut"  # cut, bar, diagonal, cover, iris, dissolve
    transition_s: float = 0.6


class Stage:
    """Draws any view at any time."""

    def __init__(self, seed: int) -> None:
        rng = np.random.default_rng(seed)
        self.seed = seed
        width, height = SIZE_PX
        canvas = np.empty((height * 2, width * 4, 3), dtype=np.uint8)
        tint = rng.integers(0, 30, 3)
        canvas[:] = np.array([120, 165, 205]) - tint
        canvas = np.clip(canvas * (0.94 + 0.06 * blurred_noise(rng, width * 4, height * 2) / 128.0), 0, 255)
        canvas = canvas.astype(np.uint8)
        canvas[:90] = blurred_noise(rng, width * 4, 90, 2.0) // 2
        for x in range(100, width * 4, 140):
            cv2.line(canvas, (x, 90), (x - 50, height * 2), (240, 240, 240), 2)
        cv2.rectangle(canvas, (120, 140), (300, 260), (60, 60, 180), -1)
        cv2.rectangle(canvas, (900, 140), (1080, 260), (60, 60, 180), -1)
        self.canvas = canvas
        self.people = rng.uniform([0, 110], [width * 4, 320], (24, 2))
        self.paths = rng.uniform(0.6, 1.6, (24, 4))
        self.crowd = blurred_noise(rng, width * 2, height * 2, 1.5)
        self.backdrop = blurred_noise(rng, width * 2, height * 2, 12.0)
        self.colour = tuple(int(c) for c in rng.choice([30, 220], 3))
        self.kits = rng.integers(0, 255, (2, 3))

    def court(self, t_s: float, bug: bool = True, zoom: float = 1.0, speed: float = 1.0) -> np.ndarray:
        """Main camera: pans, tilts and zooms by sines, people run about 60 px a second."""
        width, height = SIZE_PX
        now = t_s * speed
        zoom *= 1 + 0.05 * np.sin(0.9 * now)
        w, h = round(width / zoom), round(height / zoom)
        pan = int((self.canvas.shape[1] - w) * (0.5 + 0.45 * np.sin(now * 0.5)))
        picture = self.canvas.copy()
        for i, (x, y) in enumerate(self.people):
            a, b, c, d = self.paths[i]
            px = int(x + 60 * np.sin(a * now + b))
            py = int(y + 20 * np.sin(c * now + d))
            kit = tuple(int(v) for v in self.kits[i % 2])
            cv2.rectangle(picture, (px - 5, py - 30), (px + 5, py), kit, -1)
            cv2.circle(picture, (px, py - 33), 4, (90, 120, 160), -1)
        top = int(60 + 14 * np.sin(0.7 * now))
        view = cv2.resize(picture[top : top + h, pan : pan + w], SIZE_PX, interpolation=cv2.INTER_AREA)
        return self.with_bug(view, t_s) if bug else view

    def with_bug(self, view: np.ndarray, t_s: float) -> np.ndarray:
        view = view.copy()
        cv2.rectangle(view, (20, 156), (150, 172), (40, 30, 30), -1)
        cv2.rectangle(view, (20, 156), (60, 172), (200, 120, 30), -1)
        cv2.putText(view, "AA 12", (24, 168), cv2.FONT_HERSHEY_SIMPLEX, 0.35, (255, 255, 255), 1)
        cv2.putText(view, f"{int(t_s) % 60:02d}", (110, 168), cv2.FONT_HERSHEY_SIMPLEX, 0.35, (255, 255, 255), 1)
        return view

    def closeup(self, t_s: float) -> np.ndarray:
        width, height = SIZE_PX
        shift = int(20 + 15 * np.sin(t_s))
        view = self.backdrop[shift : shift + height, shift : shift + width].copy()
        x = int(width / 2 + 25 * np.sin(1.3 * t_s))
        cv2.ellipse(view, (x, height), (70, 90), 0, 0, 360, tuple(int(v) for v in self.kits[0]), -1)
        cv2.circle(view, (x, 60), 38, (95, 130, 175), -1)
        return view

    def crowd_view(self, t_s: float) -> np.ndarray:
        width, height = SIZE_PX
        centre = (width / 2 + 40 - abs(10 * t_s % 80 - 40), height / 2 + 5 + 4 * np.sin(6 * t_s))
        return cv2.getRectSubPix(self.crowd, SIZE_PX, centre)

    def graphic(self) -> np.ndarray:
        view = np.full((SIZE_PX[1], SIZE_PX[0], 3), (90, 40, 20), dtype=np.uint8)
        for row in range(4):
            cv2.rectangle(view, (40, 30 + 34 * row), (280, 52 + 34 * row), (160, 160, 160), -1)
            cv2.putText(view, f"PTS {7 * row}", (60, 47 + 34 * row), cv2.FONT_HERSHEY_SIMPLEX, 0.5, (20, 20, 20), 1)
        return view

    def view(self, name: str, t_s: float) -> np.ndarray:
        if name == "court":
            return self.court(t_s)
        if name == "replay":
            return self.court(t_s - 6.0, bug=False, zoom=1.3, speed=0.4)
        if name == "closeup":
            return self.with_bug(self.closeup(t_s), t_s)
        if name == "crowd":
            return self.crowd_view(t_s)
        return self.graphic()

    def mixed(self, before: np.ndarray, after: np.ndarray, kind: str, progress: float) -> np.ndarray:
        """The picture at progress 0…1 of a transition."""
        width, height = SIZE_PX
        if kind == "dissolve":
            return cv2.addWeighted(before, 1 - progress, after, progress, 0)
        x, y = np.meshgrid(np.linspace(0, 1, width), np.linspace(0, 1, height))
        if kind == "iris":
            place = np.hypot(x - 0.5, y - 0.5) / 0.71
        elif kind == "diagonal":
            place = (x + 0.6 * y) / 1.6
        else:
            place = x
        band = {"bar": 0.12, "diagonal": 0.2, "iris": 0.1, "cover": 1.0}[kind]
        front = progress * (1 + band)
        picture = np.where((place < front - band)[..., None], after, before)
        graphic = np.empty_like(picture)
        graphic[:] = self.colour
        stripes = (np.sin(30 * x + 12 * y) > 0)[..., None]
        graphic = np.where(stripes, graphic, 255 - graphic)
        return np.where(((place >= front - band) & (place < front))[..., None], graphic, picture)


def play(stage: Stage, plan: list[Piece], rate: float):
    """Yield (index, time, picture) of a plan; a transition straddles the time at which its shot begins."""
    starts = np.concatenate([[0], np.cumsum([p.length_s for p in plan])])
    rng = np.random.default_rng(stage.seed + 1)
    grain = rng.normal(0, 2, (8, SIZE_PX[1], SIZE_PX[0], 3)).round().astype(np.int16)
    for index in range(round(starts[-1] * rate)):
        t_s = index / rate
        place = int(np.searchsorted(starts, t_s + 1e-9, side="right")) - 1
        picture = stage.view(plan[place].view, t_s)
        for neighbour in (place, place + 1):
            if 0 < neighbour < len(plan) and plan[neighbour].entered_by != "cut":
                half = plan[neighbour].transition_s / 2
                progress = (t_s - (starts[neighbour] - half)) / (2 * half)
                if 0 < progress < 1:
                    before = stage.view(plan[neighbour - 1].view, t_s)
                    after = stage.view(plan[neighbour].view, t_s)
                    picture = stage.mixed(before, after, plan[neighbour].entered_by, progress)
        yield index, t_s, cv2.add(picture, grain[index % len(grain)], dtype=cv2.CV_8U)


def boundary_score(found_s: list[float], true_s: list[float], slack_s: float) -> tuple[int, int, int]:
    """Hits, false alarms and misses, each true boundary matched at most once."""
    free = list(found_s)
    hits = 0
    for t_s in true_s:
        near = [f for f in free if abs(f - t_s) <= slack_s]
        if near:
            free.remove(min(near, key=lambda f: abs(f - t_s)))
            hits += 1
    return hits, len(free), len(true_s) - hits
