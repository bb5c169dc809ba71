"""Shot boundaries on make-believe broadcasts whose plan is known."""

from fractions import Fraction
from pathlib import Path

import cv2
import numpy as np
import pytest

from pipeline.errors import ShapeError
from pipeline.film.decode import decode
from pipeline.film.settings import ShotSettings
from pipeline.film.shots import ShotFinder, find_shots, looks_alike
from pipeline.film.tables import TRANSITIONS
from tests.film.broadcast import Piece, Stage, boundary_score, play
from tests.film.films import write_film

VIEWS = ("court", "replay", "closeup", "crowd", "graphic")
GRADUAL = {"bar": "wipe", "diagonal": "wipe", "cover": "wipe", "iris": "wipe", "dissolve": "dissolve", "cut": "cut"}


def random_plan(seed: int, count: int) -> list[Piece]:
    rng = np.random.default_rng(seed)
    plan = [Piece("court", 3.0)]
    for _ in range(count):
        view = rng.choice([v for v in VIEWS if v != plan[-1].view])
        plan.append(
            Piece(str(view), float(rng.uniform(2.0, 3.5)), str(rng.choice(list(GRADUAL))), float(rng.uniform(0.4, 1.1)))
        )
    return plan


def small(picture: np.ndarray) -> np.ndarray:
    return cv2.resize(picture, (160, 90), interpolation=cv2.INTER_AREA)


def test_random_broadcasts() -> None:
    """Boundary F1 over two films that were not used to set the thresholds."""
    hits = false = missed = 0
    kinds_right = 0
    for seed, rate in ((21, 25), (22, 29.97)):
        plan = random_plan(seed, 8)
        found = find_shots((i, t, small(p)) for i, t, p in play(Stage(seed), plan, rate))
        assert found[0].kind == "start"
        assert (found[0].frame, found[0].t_s) == (0, 0.0)
        assert {b.kind for b in found} <= set(TRANSITIONS)
        true_s = np.cumsum([p.length_s for p in plan])[:-1]
        counts = boundary_score([b.t_s for b in found[1:]], list(true_s), 0.3)
        hits, false, missed = hits + counts[0], false + counts[1], missed + counts[2]
        for t_s, piece in zip(true_s, plan[1:], strict=True):
            kinds_right += any(abs(b.t_s - t_s) < 0.3 and b.kind == GRADUAL[piece.entered_by] for b in found[1:])
    f1 = 2 * hits / (2 * hits + false + missed)
    assert f1 >= 0.95, (hits, false, missed)
    assert kinds_right >= 15


def test_cuts_are_exact_to_the_frame() -> None:
    plan = [Piece("court", 2.0), Piece("closeup", 2.0), Piece("crowd", 1.6), Piece("court", 2.0)]
    found = find_shots((i, t, small(p)) for i, t, p in play(Stage(3), plan, 25))
    assert [b.frame for b in found] == [0, 50, 100, 140]
    assert [b.kind for b in found] == ["start", "cut", "cut", "cut"]


def test_one_long_pan_is_one_shot() -> None:
    assert len(find_shots((i, t, small(p)) for i, t, p in play(Stage(1), [Piece("court", 13.0)], 25))) == 1


def test_repeated_pictures_and_flashes_are_no_cuts() -> None:
    """Slow motion made by repeating each picture four times, and a photographer's flash of one picture."""
    stage = Stage(5)
    frames = []
    for index in range(150):
        picture = small(stage.court((index // 4) * 4 / 50, bug=False))
        if index == 75:
            picture = np.clip(picture.astype(int) + 110, 0, 255).astype(np.uint8)
        frames.append((index, index / 50, picture))
    assert len(find_shots(frames)) == 1


def test_key_pictures_of_a_poor_encoding_are_no_cuts() -> None:
    """Noise, fine and broad, that stays for 25 frames and then is another one, over a still picture."""
    stage, rng = Stage(6), np.random.default_rng(0)
    frames = []
    for index in range(150):
        if index % 25 == 0:
            broad = cv2.GaussianBlur(rng.normal(0, 1, (90, 160, 3)), (0, 0), 8)
            noise = rng.normal(0, 8, (90, 160, 3)) + 3 * broad / broad.std()
        picture = small(stage.court(3.0, bug=False))
        frames.append((index, index / 25, np.clip(picture + noise, 0, 255).astype(np.uint8)))
    assert len(find_shots(frames)) == 1
    jumpy = ShotSettings(cut_jump=0.0)
    assert len(find_shots(frames, jumpy)) > 1  # the margin is what keeps it one shot


def test_transition_lies_where_it_is_on_screen() -> None:
    plan = [Piece("court", 3.0), Piece("replay", 3.0, "bar", 0.8), Piece("court", 3.0, "bar", 0.8)]
    found = find_shots((i, t, small(p)) for i, t, p in play(Stage(8), plan, 25))
    assert [b.kind for b in found] == ["start", "wipe", "wipe"]
    for boundary, t_s in zip(found[1:], (3.0, 6.0), strict=True):
        assert boundary.from_s == pytest.approx(t_s - 0.4, abs=0.12)
        assert boundary.to_s == pytest.approx(t_s + 0.4, abs=0.12)
        assert boundary.t_s == pytest.approx(t_s, abs=0.12)
        assert boundary.look.sum() == pytest.approx(1)
    assert looks_alike(found[1].look, found[2].look) > 0.6
    assert looks_alike(found[1].look, found[0].look) == 0


def test_times_not_frame_numbers_decide() -> None:
    """At half the frames, with indices that jump, the boundaries stay where they are in time."""
    plan = random_plan(31, 4)
    whole = list(play(Stage(31), plan, 50))
    every = find_shots((i, t, small(p)) for i, t, p in whole)
    rng = np.random.default_rng(0)
    kept = [f for f in whole if f[0] % 2 == 0 and rng.random() > 0.02]
    fewer = find_shots((7 * i, t, small(p)) for i, t, p in kept)
    assert len(every) == len(fewer)
    np.testing.assert_allclose([b.t_s for b in every], [b.t_s for b in fewer], atol=0.3)


def test_edges() -> None:
    assert find_shots([]) == ()
    one = find_shots([(4, 0.16, np.zeros((90, 160, 3), np.uint8))])
    assert [(b.frame, b.t_s, b.kind) for b in one] == [(4, 0.16, "start")]
    finder = ShotFinder(ShotSettings())
    with pytest.raises(ShapeError, match="small_bgr"):
        finder.feed(0, 0.0, np.zeros((90, 160), np.uint8))
    finder.feed(0, 0.0, np.zeros((90, 160, 3), np.uint8))
    with pytest.raises(ValueError, match="order of time"):
        finder.feed(1, 0.0, np.zeros((90, 160, 3), np.uint8))
    found = finder.finish(end_s=0.04)
    assert (len(found.frames), found.end_s) == (1, 0.04)
    assert not found.change.flags.writeable


def test_through_a_real_file(tmp_path: Path) -> None:
    """Encoded, decoded and shrunk by the decoder, the boundaries are the same."""
    plan = [Piece("court", 2.0), Piece("closeup", 2.0), Piece("replay", 2.0, "cover", 0.7), Piece("crowd", 2.0)]
    film = write_film(
        tmp_path / "broadcast.mp4",
        (p for _, _, p in play(Stage(9), plan, 25)),
        rate=Fraction(25),
        options={"preset": "ultrafast", "crf": "28"},
    )
    found = find_shots((f.index, f.t_s, f.small(160)) for f in decode(film))
    assert [b.kind for b in found] == ["start", "cut", "wipe", "cut"]
    np.testing.assert_allclose([b.t_s for b in found], [0, 2, 4, 6], atol=0.15)
