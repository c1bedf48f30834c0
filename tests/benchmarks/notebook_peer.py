"""What a user would write instead: one notebook cell with pandas and SciPy.

Zero from the idle start, rolling means, windows of 10 s, a coefficient for each with the standard
error of its samples, and a weighted straight line against temperature through them.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
from scipy.optimize import curve_fit

FACES, OUTER_M, INNER_M = 10, 0.055, 0.040
RADIUS_M = 2.0 / 3.0 * (OUTER_M**3 - INNER_M**3) / (OUTER_M**2 - INNER_M**2)
REFERENCE_C = 90.0


def line(temperature_c: np.ndarray, mu: float, slope: float) -> np.ndarray:
    return mu + slope * (temperature_c - REFERENCE_C)


def mean_mu(path: str, arm_m: float = 1.0) -> tuple[float, float]:
    """Return the coefficient at 90 degC and the uncertainty that the fit states."""
    log = pd.read_csv(path)
    idle = log["time"] < 2.0
    log["torque"] = arm_m * (log["torque"] - log.loc[idle, "torque"].mean())
    log["load"] = 1000.0 * (log["load"] - log.loc[idle, "load"].mean())
    log["slip"] = log["speed"] * 2.0 * math.pi / 60.0 * RADIUS_M
    smooth = log[["torque", "load", "slip", "plate"]].rolling(50, center=True).mean()
    steady = (smooth["load"] > 0.95 * smooth["load"].max()) & (smooth["slip"] > 0.01)
    table = smooth[steady].assign(
        mu=log["torque"] / (FACES * RADIUS_M * log["load"]), window=log["time"] // 10.0
    )
    windows = table.groupby("window").agg(
        mu=("mu", "mean"), spread=("mu", "std"), n=("mu", "size"), plate=("plate", "mean")
    )
    windows = windows[windows["n"] > 1000]
    u = windows["spread"] / np.sqrt(windows["n"])
    found, covariance = curve_fit(
        line, windows["plate"], windows["mu"], sigma=u, absolute_sigma=True, p0=(0.1, 0.0)
    )
    return float(found[0]), float(np.sqrt(covariance[0, 0]))
