"""Is a window's mean as uncertain as it says, where its noise goes on from frame to frame?

    python -m tests.studies.window_noise

Noise of variance 1 about a mean of 0 in the windows of a run, each of which loses its
straight line: of the first order (AR(1)), the same under white noise, white noise through
a moving mean and through a filter of the second order, and a swinging one.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy import signal

from rigdata.reduction.ratio import window_variance
from rigdata.uncertainty.effective_size import pooled_noise

RUNS = 400
_BEFORE = 3000  # frames until the noise has forgotten how it began
Maker = Callable[[np.ndarray], np.ndarray]  # white noise to noise, along the last axis


def first_order(r: float) -> Maker:
    """AR(1) with this correlation from frame to frame."""
    return lambda white: signal.lfilter([np.sqrt(1.0 - r * r)], [1.0, -r], white, axis=-1)


def under_white(r: float, share: float) -> Maker:
    """AR(1) with this share of the variance, under white noise with the rest."""

    def made(white: np.ndarray) -> np.ndarray:
        slow = first_order(r)(white)
        quick = np.roll(white, white.shape[-1] // 2, axis=-1)
        return np.sqrt(share) * slow + np.sqrt(1.0 - share) * quick

    return made


def moving_mean(frames: int) -> Maker:
    """White noise through a mean over so many frames."""
    return lambda white: signal.lfilter(np.ones(frames) / np.sqrt(frames), 1.0, white, axis=-1)


def low_pass(corner: float) -> Maker:
    """White noise through a Butterworth filter of the second order."""
    sections = signal.butter(2, corner, output="sos", fs=1.0)
    return lambda white: signal.sosfilt(sections, white, axis=-1)


def swinging(r: float, cycles: float) -> Maker:
    """Noise that swings so many times a frame and is slow to forget."""
    back = [1.0, -2.0 * r * np.cos(2.0 * np.pi * cycles), r * r]
    return lambda white: signal.lfilter([1.0], back, white, axis=-1)


CASES = (  # noise, how it is made, frames of a window, windows of a run
    ("white", first_order(0.0), 12, 12),
    ("white", first_order(0.0), 40, 1),
    ("white", first_order(0.0), 500, 6),
    ("AR 0.5", first_order(0.5), 500, 6),
    ("AR 0.8", first_order(0.8), 200, 1),
    ("AR 0.9", first_order(0.9), 500, 6),
    ("AR 0.9", first_order(0.9), 100, 20),
    ("AR 0.97", first_order(0.97), 500, 6),
    ("AR 0.98", first_order(0.98), 500, 3),
    ("AR 0.99", first_order(0.99), 500, 6),
    ("AR 0.98, a tenth", under_white(0.98, 0.1), 1000, 6),
    ("AR 0.98, a half", under_white(0.98, 0.5), 500, 6),
    ("mean of 10", moving_mean(10), 60, 20),
    ("mean of 100", moving_mean(100), 500, 6),
    ("filter 0.005", low_pass(0.005), 500, 6),
    ("swinging 0.05", swinging(0.98, 0.05), 500, 6),
)


def errors(maker: Maker, frames: int, windows: int) -> tuple[np.ndarray, float, float]:
    """Means of windows over the uncertainty they state, how far that varies, and their worth."""
    time, found, stated, means = np.arange(frames) - 0.5 * (frames - 1), [], [], []
    spread = 0.0
    for seed in range(RUNS):
        rng = np.random.default_rng(seed)
        series = maker(rng.normal(size=(windows, frames + _BEFORE)))[:, _BEFORE:]
        mean = series.mean(axis=1)
        slopes = series @ time / (time @ time)
        residuals = list(series - mean[:, None] - slopes[:, None] * time)
        noise = pooled_noise(residuals, fitted=2)
        u = [
            np.sqrt(window_variance(own, size, noise) / size.n_effective)
            for own, size in zip(residuals, noise.sizes, strict=True)
        ]
        found.append(mean / u)
        stated.append(u[0])
        means.append(mean)
        spread += float(np.mean(series**2)) / RUNS
    worth = spread / np.mean(np.square(means))
    return np.concatenate(found), float(np.std(stated) / np.mean(stated)), float(worth)


def main() -> None:
    """Print a row for each case."""
    print("| noise | frames | worth | windows | rms error over u | beyond 2 u | u varies by |")
    print("| --- " * 7 + "|")
    for name, maker, frames, windows in CASES:
        z, varies, worth = errors(maker, frames, windows)
        rms, beyond = np.sqrt(np.mean(z**2)), np.mean(np.abs(z) > 2.0)
        row = (name, frames, f"{worth:.0f}", windows, f"{rms:.2f}", f"{100 * beyond:.0f} %")
        print("| " + " | ".join(str(cell) for cell in (*row, f"{100 * varies:.0f} %")) + " |")


if __name__ == "__main__":
    main()
