"""Disturbing pictures in batches: geometry agrees with OpenCV, compression with an encoder, values stay in range."""

import cv2
import numpy as np
import pytest
import torch

from pipeline.training.augment import fitted
from pipeline.training.disturb import coarsened, coded, lit, warped, warped_masks
from pipeline.training.packs import to_planes

INPUT = (320, 192)


class Still(np.random.Generator):
    """A generator that never draws a colour change: every chance fails."""

    def random(self, size=None):
        return np.zeros(size) + 0.1  # below every share of plain pictures, above that of colourless ones


@pytest.fixture
def scene():
    rng = np.random.default_rng(2)
    picture = cv2.resize(rng.integers(0, 255, (18, 32, 3), dtype=np.uint8), (640, 360), interpolation=cv2.INTER_CUBIC)
    cv2.rectangle(picture, (200, 100), (300, 180), (30, 90, 220), -1)
    return picture


def shown(batch):
    return batch[0].permute(1, 2, 0).numpy()[..., ::-1]


def test_framing_agrees_with_opencv(scene):
    matrix = np.array([[0.7, 0.05, 10.0], [-0.04, 0.72, 20.0], [0, 0, 1]])
    planes = torch.from_numpy(to_planes(scene, (640, 360)))[None]
    found = shown(warped(planes, matrix[None], INPUT, Still(np.random.PCG64(0))))
    wanted = cv2.warpAffine(scene, matrix[:2], INPUT, flags=cv2.INTER_LINEAR, borderValue=(114, 114, 114))
    inside = cv2.warpAffine(np.ones((360, 640)), matrix[:2], INPUT) > 0.99
    assert np.abs(found - wanted)[inside].mean() < 4
    outside = cv2.warpAffine(np.ones((360, 640)), matrix[:2], INPUT) == 0
    assert np.abs(found[outside] - 114).max() < 1e-3


def test_masks_move_as_pictures_do():
    mask = np.zeros((360, 640), np.uint8)
    mask[100:181, 200:301] = 3
    matrix = fitted((640, 360), INPUT)
    found = warped_masks(torch.from_numpy(mask)[None], matrix[None], INPUT, 255)[0].numpy()
    wanted = cv2.warpAffine(mask, matrix[:2], INPUT, flags=cv2.INTER_NEAREST, borderValue=255)
    assert (found != wanted).mean() < 0.01
    assert (found[:5] == 255).all(), "above the picture nothing is known"


@pytest.mark.parametrize("quality", [15, 40, 80])
def test_compression_loses_what_an_encoder_loses(scene, quality):
    part = np.ascontiguousarray(scene[:352])
    done = coded(torch.from_numpy(part[..., ::-1].copy()).permute(2, 0, 1)[None].float(), np.array([quality]))
    packed = cv2.imencode(".jpg", part, [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
    real = cv2.imdecode(packed, cv2.IMREAD_COLOR).astype(float)
    loss, real_loss = np.abs(shown(done) - part).mean(), np.abs(real - part).mean()
    assert np.abs(shown(done) - real).mean() < 0.5 * real_loss + 1
    assert 0.7 * real_loss - 0.5 < loss < 1.4 * real_loss + 0.5


def test_everything_stays_in_range():
    pictures = torch.rand((24, 3, 96, 160)) * 255
    for seed in range(3):
        rng = np.random.default_rng(seed)
        done = coarsened(lit(pictures.clone(), rng), rng)
        assert done.shape == pictures.shape
        assert torch.isfinite(done).all()
        assert done.min() >= 0
        assert done.max() <= 255
