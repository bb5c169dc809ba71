"""Disturb batches of training pictures on the GPU the way films differ: light, colour, sharpness, compression.

Everything works on whole batches, (N, 3, H, W) float32 RGB in 0…255, and draws its chances from a numpy generator; what
happens to only some pictures is done to those alone.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import torch
import torch.nn.functional as nnf

SMEAR_STEPS = 8
PAD = 114.0
"""Grey level around a picture that does not fill the network's input."""

_LUMA_STEPS = (
    (16, 11, 10, 16, 24, 40, 51, 61),
    (12, 12, 14, 19, 26, 58, 60, 55),
    (14, 13, 16, 24, 40, 57, 69, 56),
    (14, 17, 22, 29, 51, 87, 80, 62),
    (18, 22, 37, 56, 68, 109, 103, 77),
    (24, 35, 55, 64, 81, 104, 113, 92),
    (49, 64, 78, 87, 103, 121, 120, 101),
    (72, 92, 95, 98, 112, 100, 103, 99),
)
"""Quantisation of luma (ITU-T T.81, table K.1)."""

_CHROMA_STEPS = (
    (17, 18, 24, 47, 99, 99, 99, 99),
    (18, 21, 26, 66, 99, 99, 99, 99),
    (24, 26, 56, 99, 99, 99, 99, 99),
    (47, 66, 99, 99, 99, 99, 99, 99),
    *(((99,) * 8,) * 4),
)
"""Quantisation of chroma (ITU-T T.81, table K.2)."""


def warped(
    planes: torch.Tensor, matrices: np.ndarray, input_px: tuple[int, int], rng: np.random.Generator
) -> torch.Tensor:
    """Pictures from I420 planes, framed, with colours shifted.

    Hue and saturation change in the chroma planes, before anything else.

    Parameters
    ----------
    planes : (N, 3·H/2, W) uint8
    matrices : (N, 3, 3), from pixels of the picture to pixels of the input
    """
    count, rows, width = planes.shape
    height = rows * 2 // 3
    device = planes.device
    luma = planes[:, :height].unsqueeze(1).float()
    chroma = planes[:, height:].reshape(count, 2, height // 2, width // 2).float() - 128.0
    scale = np.sqrt(np.abs(np.linalg.det(matrices[:, :2, :2])))
    # Luma is thinned by up to two without harm; what shrinks more is softened first.
    small = np.nonzero(scale < 0.62)[0]
    if len(small):
        where = torch.as_tensor(small, device=device)
        luma[where] = _softened(luma[where], 0.45 / scale[small], 2)
    grid = _grid(matrices, (width, height), input_px, device)
    luma = nnf.grid_sample(luma, grid, mode="bilinear", padding_mode="border", align_corners=False)
    chroma = nnf.grid_sample(chroma, grid, mode="bilinear", padding_mode="border", align_corners=False)
    chroma = _turned(chroma, rng)
    y = 1.164384 * (luma[:, 0] - 16.0)
    u, v = chroma[:, 0], chroma[:, 1]
    out = torch.stack([y + 1.596027 * v, y - 0.391762 * u - 0.812968 * v, y + 2.017232 * u], dim=1)
    outside = (grid.abs() > 1).any(dim=3).unsqueeze(1)
    return out.clamp_(0, 255).masked_fill_(outside, PAD)


def warped_masks(masks: torch.Tensor, matrices: np.ndarray, input_px: tuple[int, int], outside: int) -> torch.Tensor:
    """Label maps (N, H, W) uint8 moved like their pictures; int32."""
    size = (masks.shape[2], masks.shape[1])
    grid = _grid(matrices, size, input_px, masks.device)
    moved = nnf.grid_sample(
        masks.unsqueeze(1).float(), grid, mode="nearest", padding_mode="border", align_corners=False
    )[:, 0]
    return moved.masked_fill((grid.abs() > 1).any(dim=3), outside).int()


def _grid(
    matrices: np.ndarray, size_px: tuple[int, int], input_px: tuple[int, int], device: torch.device
) -> torch.Tensor:
    """Where in the picture each pixel of the input lies, (N, h, w, 2) in -1…1 between the picture's edges."""
    back = np.linalg.inv(matrices)
    unit = np.array([[2 / size_px[0], 0, 1 / size_px[0] - 1], [0, 2 / size_px[1], 1 / size_px[1] - 1], [0, 0, 1]])
    linear = torch.as_tensor((unit @ back)[:, :2], dtype=torch.float32).to(device)
    columns = torch.arange(input_px[0], device=device, dtype=torch.float32)
    rows = torch.arange(input_px[1], device=device, dtype=torch.float32)
    across = linear[:, None, :, 0] * columns[None, :, None] + linear[:, None, :, 2]
    return across[:, None] + (linear[:, None, :, 1] * rows[None, :, None])[:, :, None]


def _turned(chroma: torch.Tensor, rng: np.random.Generator) -> torch.Tensor:
    """Random hue, saturation and, for a few, no colour at all."""
    count = len(chroma)
    hue = np.where(rng.random(count) < 0.85, rng.normal(0, 0.16, count), rng.uniform(-np.pi, np.pi, count))
    saturation = rng.uniform(0.4, 1.5, count)
    plain = rng.random(count) < 0.2
    hue, saturation = np.where(plain, 0, hue), np.where(plain, 1, saturation)
    saturation = np.where(rng.random(count) < 0.05, 0, saturation)
    matrix = np.stack([np.cos(hue), -np.sin(hue), np.sin(hue), np.cos(hue)], axis=1) * saturation[:, None]
    turn = torch.as_tensor(matrix.reshape(count, 2, 2), dtype=torch.float32).to(chroma.device)
    return torch.einsum("nij,njhw->nihw", turn, chroma)


def lit(pictures: torch.Tensor, rng: np.random.Generator) -> torch.Tensor:
    """Random gain, gamma, offset and white balance; one picture in seven much darker."""
    count = len(pictures)
    gain = np.where(rng.random(count) < 0.14, rng.uniform(0.25, 0.7, count), rng.uniform(0.7, 1.25, count))
    gamma = np.exp(rng.normal(0, 0.25, count))
    offset = rng.normal(0, 8, count)
    tint = np.where(rng.random((count, 1)) < 0.5, rng.normal(1, 0.06, (count, 3)), 1.0)
    plain = rng.random(count) < 0.2
    gain, gamma, offset = np.where(plain, 1, gain), np.where(plain, 1, gamma), np.where(plain, 0, offset)

    def per_picture(values: np.ndarray) -> torch.Tensor:
        shaped = np.asarray(values, np.float32).reshape(count, -1, 1, 1)
        return torch.from_numpy(shaped).to(pictures.device)

    out = (pictures / 255.0).clamp_(1e-4, 1).pow_(per_picture(gamma))
    return out.mul_(per_picture(255 * gain[:, None] * tint)).add_(per_picture(offset)).clamp_(0, 255)


def coarsened(pictures: torch.Tensor, rng: np.random.Generator) -> torch.Tensor:
    """Random resolution, blur, smear, sharpening, noise and block compression. Changes `pictures`."""
    count, device = len(pictures), pictures.device

    def some(share: float) -> torch.Tensor | None:
        chosen = np.nonzero(rng.random(count) < share)[0]
        return torch.as_tensor(chosen, device=device) if len(chosen) else None

    for share, low, high in ((0.12, 0.35, 0.55), (0.14, 0.55, 0.95), (0.14, 0.66, 0.67)):
        if (where := some(share)) is not None:  # the last: 640×360 films, made larger
            pictures[where] = _low_resolution(pictures[where], float(rng.uniform(low, high)), rng)
    if (where := some(0.12)) is not None:
        pictures[where] = _softened(pictures[where], rng.uniform(0.4, 1.6, len(where)), 4)
    if (where := some(0.1)) is not None:
        pictures[where] = _smeared(pictures[where], rng)
    if (where := some(0.12)) is not None:
        sharp = pictures[where]
        gain = torch.as_tensor(rng.uniform(0.3, 1.2, (len(where), 1, 1, 1)), dtype=torch.float32).to(device)
        soft = _softened(sharp, rng.uniform(0.8, 2.0, len(where)), 4)
        pictures[where] = (sharp + gain * (sharp - soft)).clamp_(0, 255)
    if (where := some(0.2)) is not None:
        pictures[where] = _noisy(pictures[where], rng.uniform(2, 12, len(where)))
    if (where := some(0.4)) is not None:
        pictures[where] = coded(pictures[where], rng.uniform(12, 75, len(where)))
    return pictures


def _low_resolution(pictures: torch.Tensor, scale: float, rng: np.random.Generator) -> torch.Tensor:
    height, width = pictures.shape[2:]
    small = nnf.interpolate(
        pictures, (round(height * scale), round(width * scale)), mode="bilinear", antialias=True, align_corners=False
    )
    way = "bilinear" if rng.random() < 0.6 else "bicubic"
    return nnf.interpolate(small, (height, width), mode=way, align_corners=False).clamp_(0, 255)


def _softened(pictures: torch.Tensor, sigmas_px: np.ndarray, reach_px: int) -> torch.Tensor:
    """Gaussian blur, each picture with its own width."""
    steps = np.arange(-reach_px, reach_px + 1)
    line = np.exp(-0.5 * (steps / np.maximum(sigmas_px, 1e-3)[:, None]) ** 2)
    line /= line.sum(axis=1, keepdims=True)
    kernels = torch.as_tensor(line, dtype=torch.float32).to(pictures.device)
    count, channels, height, width = pictures.shape
    out = pictures
    for axis in (2, 3):
        out = nnf.pad(out, (0, 0, reach_px, reach_px) if axis == 2 else (reach_px, reach_px, 0, 0), mode="replicate")
        size = height if axis == 2 else width
        total = torch.zeros((count, channels, height, width), device=pictures.device)
        for step in range(2 * reach_px + 1):
            total.addcmul_(out.narrow(axis, step, size), kernels[:, step].view(-1, 1, 1, 1))
        out = total
    return out


def _smeared(pictures: torch.Tensor, rng: np.random.Generator) -> torch.Tensor:
    """A camera's or a body's movement: each picture averaged along its own short line."""
    out = torch.empty_like(pictures)
    for number, picture in enumerate(pictures):
        length = rng.uniform(3, 8)
        angle = rng.normal(0, 0.25) if rng.random() < 0.7 else rng.uniform(0, np.pi)
        steps = np.linspace(-0.5, 0.5, SMEAR_STEPS) * (length - 1)
        shifts = [(round(s * np.sin(angle)), round(s * np.cos(angle))) for s in steps]
        out[number] = torch.stack([picture.roll(shift, (1, 2)) for shift in shifts]).mean(0)
    return out


def _noisy(pictures: torch.Tensor, strengths: np.ndarray) -> torch.Tensor:
    count, _, height, width = pictures.shape
    strength = torch.as_tensor(strengths, dtype=torch.float32).to(pictures.device).view(-1, 1, 1, 1)
    coarse = torch.randn((count, 1, height // 2, width // 2), device=pictures.device) * strength
    grain = nnf.interpolate(coarse, (height, width), mode="bilinear", align_corners=False)
    return (pictures + grain).clamp_(0, 255)


@lru_cache(maxsize=8)
def _cosines(device: torch.device) -> torch.Tensor:
    """The 8-point cosine transform as a matrix."""
    k, n = np.arange(8)[:, None], np.arange(8)[None]
    matrix = 0.5 * np.cos((2 * n + 1) * k * np.pi / 16)
    matrix[0] /= np.sqrt(2)
    return torch.as_tensor(matrix, dtype=torch.float32).to(device)


def coded(pictures: torch.Tensor, qualities: np.ndarray) -> torch.Tensor:
    """Compress and unpack as JPEG does, with chroma at half the size; sides must be multiples of 16.

    Parameters
    ----------
    qualities : (N,), 1 to 99, on the scale of common encoders
    """
    r, g, b = pictures.unbind(1)
    y = 0.299 * r + 0.587 * g + 0.114 * b
    chroma = torch.stack([(b - y) / 1.772, (r - y) / 1.402], dim=1)
    height, width = y.shape[1:]
    factor = np.where(qualities < 50, 50 / np.maximum(qualities, 1), 2 - qualities / 50)
    scale = torch.as_tensor(factor, dtype=torch.float32).to(pictures.device).view(-1, 1, 1, 1, 1, 1)
    y = _quantised(y.unsqueeze(1) - 128.0, _LUMA_STEPS, scale)[:, 0] + 128.0
    chroma = _quantised(nnf.avg_pool2d(chroma, 2), _CHROMA_STEPS, scale)
    u, v = nnf.interpolate(chroma, (height, width), mode="bilinear", align_corners=False).unbind(1)
    return torch.stack([y + 1.402 * v, y - 0.344136 * u - 0.714136 * v, y + 1.772 * u], dim=1).clamp_(0, 255)


def _quantised(planes: torch.Tensor, steps: tuple[tuple[int, ...], ...], scale: torch.Tensor) -> torch.Tensor:
    count, channels, height, width = planes.shape
    cosines = _cosines(planes.device)
    blocks = planes.reshape(count, channels, height // 8, 8, width // 8, 8).transpose(3, 4)
    table = (torch.tensor(steps, dtype=torch.float32, device=planes.device) * scale).clamp_(min=1)
    spectrum = torch.round(cosines @ blocks @ cosines.T / table) * table
    return (cosines.T @ spectrum @ cosines).transpose(3, 4).reshape(count, channels, height, width)
