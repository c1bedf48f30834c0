"""Every law, 3 to 6 packs, even and uneven layouts: do intervals hold, is the law found?

Run as ``python tests/studies/laws_and_scatter.py [campaigns]``; 400 campaigns take about ten
minutes.  Intervals of the mean, of one more pack and of dmu/dv are those of the law that was
chosen; those of the parameters are of a fit of the true law, where the points determine it.
Campaigns are spread over the processors.
"""

from __future__ import annotations

import sys
import time
from collections import defaultdict
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace

import numpy as np
from friction_points import OIL, REFERENCE, THETA, Truth, drawn
from scipy import stats

from rigdata.errors import FitError
from rigdata.friction.conditions import Conditions
from rigdata.friction.fit import fit_campaign
from rigdata.friction.results import FrictionFit

PLACES = Conditions([0.1, 0.02, 0.5], [80.0, 60.0, 110.0], [1.0, 1.5, 0.7])
STEP = 1e-3
UNEVEN = {"runs": (1, 6), "points": (5, 15)}
EVEN = {"runs": (4, 4), "points": (12, 12)}
AS_GOOD = 1.1  # times the error of the true law's fit


def plan(seed: int) -> tuple[Truth, str]:
    """The truth of one campaign: laws in turn, then packs, then layouts."""
    names = list(THETA)
    name = names[seed % len(names)]
    packs = 3 + (seed // len(names)) % 4
    layout = "uneven" if (seed // (4 * len(names))) % 2 else "even"
    spread = (0.01, 0.02, 0.03)[seed // (8 * len(names)) % 3]
    sizes = UNEVEN if layout == "uneven" else EVEN
    truth = Truth(law=name, theta=THETA[name], packs=packs, pack_sd=spread)
    return replace(truth, **sizes), layout


def slopes(mu, places: Conditions) -> np.ndarray:
    """dmu/dv of a function of the conditions, (k, ...)."""
    step = STEP * places.slip_speed_m_s
    ends = [
        Conditions(places.slip_speed_m_s + side, places.temperature_c, places.pressure_mpa)
        for side in (-step, step)
    ]
    low, high = (np.asarray(mu(end)) for end in ends)
    return (high - low) / (2.0 * step.reshape((-1,) + (1,) * (low.ndim - 1)))


def campaign(seed: int) -> tuple[Truth, str, dict[str, object]]:
    """Draw and fit one campaign; return what held and what was chosen."""
    truth, layout = plan(seed)
    points = drawn(truth, np.random.default_rng(10_000 + seed))
    (fit,) = fit_campaign(points, REFERENCE, oil=OIL).values()
    try:
        (right,) = fit_campaign(points, REFERENCE, laws=[truth.law], oil=OIL).values()
    except FitError:
        right = None
    told, mean = fit.predict(PLACES), truth.mu(PLACES)
    low, high = (side / mean - 1.0 for side in (told.next_pack_low, told.next_pack_high))
    held = {
        "mean": (told.mean_low <= mean) & (mean <= told.mean_high),
        # The chance that a new pack, without any error of measurement, falls inside.
        "one more pack": stats.norm.cdf(high / truth.pack_sd) - stats.norm.cdf(low / truth.pack_sd),
        "parameters": np.zeros(0, dtype=bool),
        "dmu/dv": slopes_held(fit, truth),
    }
    determined = right is not None and right.ranking[0].identified
    if determined:
        held["parameters"] = parameters_held(right, truth)
    as_good = fit.law == truth.law or (
        right is not None and error(fit, truth) <= AS_GOOD * error(right, truth)
    )
    law_taken = {"law": fit.law == truth.law, "as good": as_good, "determined": determined}
    return truth, layout, {**held, **law_taken}


def parameters_held(fit: FrictionFit, truth: Truth) -> np.ndarray:
    """Whether the interval of each fitted parameter holds the true value."""
    free = [name not in fit.not_identified for name in fit.form.names]
    half = fit.estimate.half_width(np.eye(len(free)))
    off = np.abs(fit.theta - np.array(truth.theta))
    return (off <= half)[free]


def slopes_held(fit: FrictionFit, truth: Truth) -> np.ndarray:
    """Whether the interval of dmu/dv holds at three places."""
    form = fit.form
    value = slopes(lambda c: form.mu(c, fit.theta, REFERENCE), PLACES)
    gradient = slopes(lambda c: form.jacobian(c, fit.theta, REFERENCE), PLACES)
    half = fit.estimate.half_width(gradient)
    return np.abs(value - slopes(truth.mu, PLACES)) <= half + 1e-15


def error(fit: FrictionFit, truth: Truth) -> float:
    """Rms relative error of the fit, level taken out, over conditions as tested."""
    rng = np.random.default_rng(7)
    where = Conditions(
        np.exp(rng.uniform(*np.log(truth.speeds), 500)),
        rng.uniform(*truth.temperatures, 500),
        rng.uniform(*truth.pressures, 500),
    )
    off = np.log(fit.predict(where).mu / truth.mu(where))
    return float(np.std(off))


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    start = time.perf_counter()
    rows = defaultdict(list)
    with ProcessPoolExecutor() as pool:
        for truth, layout, found in pool.map(campaign, range(count), chunksize=5):
            for key in ("all", truth.law, f"{truth.packs} packs", layout):
                rows[key].append(found)
    names = ("mean", "one more pack", "parameters", "dmu/dv", "law", "as good", "determined")
    print("".join([f"{'':14}{'n':>5}", *(f"{name:>15}" for name in names)]))
    for key, found in rows.items():
        shares = [100 * np.mean(np.hstack([np.ravel(f[name]) for f in found])) for name in names]
        print(f"{key:14}{len(found):5}" + "".join(f"{share:13.1f} %" for share in shares))
    print(f"{(time.perf_counter() - start) / count:.2f} s a campaign")


if __name__ == "__main__":
    main()
