"""Is a window's mean as uncertain as it says, where its noise goes on from frame to frame?

    python -m tests.studies.window_noise

Noise of an AR(1) series of variance 1 about a mean of 0, in the windows of a run.
"""

from __future__ import annotations

import numpy as np
from scipy import signal

from rigdata.reduction.ratio import run_noise

RUNS = 400
CASES = (  # correlation from frame to frame, frames of a window, windows of a run
    (0.0, 40, 12),
    (0.5, 500, 6),
    (0.9, 500, 6),
    (0.9, 100, 20),
    (0.97, 500, 6),
    (0.98, 500, 3),
)


def noisy(r: float, frames: int, windows: int, rng: np.random.Generator) -> np.ndarray:
    """(windows, frames) independent series."""
    sparks = rng.normal(0.0, np.sqrt(1.0 - r * r), (windows, frames + 300))
    return signal.lfilter([1.0], [1.0, -r], sparks, axis=1)[:, 300:]


def errors(r: float, frames: int, windows: int) -> np.ndarray:
    """Means of windows over the standard uncertainty that a run states, its noise pooled."""
    time, found = np.arange(frames) - 0.5 * (frames - 1), []
    for seed in range(RUNS):
        series = noisy(r, frames, windows, np.random.default_rng(seed))
        means = series.mean(axis=1)
        slopes = series @ time / (time @ time)
        noise = run_noise(list(series - means[:, None] - slopes[:, None] * time))
        sizes = np.array([size.n_effective for size in noise.sizes])
        found.append(means / np.sqrt(noise.variance / sizes))
    return np.concatenate(found)


def main() -> None:
    """Print a row for each case."""
    print("| correlation | frames | worth about | windows | rms error over u | beyond 2 u |")
    print("| --- " * 6 + "|")
    for r, frames, windows in CASES:
        z = errors(r, frames, windows)
        worth = frames * (1.0 - r) / (1.0 + r)
        row = (f"{r:g}", frames, f"{worth:.0f}", windows, f"{np.sqrt(np.mean(z**2)):.2f}")
        share = f"{100 * np.mean(np.abs(z) > 2.0):.0f} %"
        print("| " + " | ".join(str(cell) for cell in (*row, share)) + " |")


if __name__ == "__main__":
    main()
