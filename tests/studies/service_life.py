"""How often the 90 % interval of the service life of one more pack holds.

Run as ``python tests/studies/service_life.py [packs]``.  Each new pack is judged from other packs:
some of them were run until their mating plates were due, the others are still running
(right-censored) and were last measured somewhere on the way.
"""

from __future__ import annotations

import sys
from collections import defaultdict

import numpy as np

from rigdata.campaign.service import Duty, ServiceLimits
from rigdata.wear.life import service_life
from rigdata.wear.rates import wear_rate
from rigdata.wear.readings import Plates

LIMIT_UM, RATE, PACK_SD, PLATE_SD, READING_UM = 50.0, 0.45, 0.035, 0.025, 1.0
PLATES, MJ_PER_HOUR = 3, 1.44
DUTY = Duty("stages", sliding_power_w=MJ_PER_HOUR / 3.6e-3, clamp_load_n=6000.0)


def pack_rates(rng: np.random.Generator) -> np.ndarray:
    """Rates of the plates of one pack, um/h."""
    return RATE + rng.normal(0.0, PACK_SD) + rng.normal(0.0, PLATE_SD, PLATES)


def tested(rng: np.random.Generator, packs: int, running: float) -> tuple[Plates, int]:
    """Readings of `packs` packs, a share of them still running; and how many are."""
    rows, censored = [], 0
    for p in range(packs):
        rates = pack_rates(rng)
        due = LIMIT_UM / rates.mean()
        last = due * rng.uniform(0.3, 0.9) if rng.random() < running else due
        censored += last < due
        for q, rate in enumerate(rates):
            first = 2000.0 + rng.normal(0.0, 4.0)
            for t in np.linspace(0.0, last, int(rng.integers(2, 6))):
                read = first - rate * t + rng.normal(0.0, READING_UM)
                rows.append((f"P{p}", f"P{p} M{q}", t, read / 1e3))
    pack, plate, hours, thickness = map(np.array, zip(*rows, strict=True))
    blank = np.full(hours.size, np.nan)
    ones = np.ones(hours.size, dtype=np.int64)
    work = hours * MJ_PER_HOUR
    return Plates("m", "mating", pack, plate, hours, work, thickness, blank, blank, ones), censored


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    limits = ServiceLimits(mating_wear_limit_mm=LIMIT_UM / 1e3)
    held, widths = defaultdict(list), defaultdict(list)
    for seed in range(count):
        rng = np.random.default_rng(seed)
        packs, running = 3 + seed % 4, (0.0, 0.5, 1.0)[seed // 4 % 3]
        plates, censored = tested(rng, packs, running)
        life = service_life("m", limits, [wear_rate(plates)], None, DUTY)
        new = LIMIT_UM / pack_rates(rng).mean()
        share = "all run out" if not censored else "all running" if censored == packs else "mixed"
        for key in ("all", f"{packs} packs", share):
            held[key].append(life.first.low <= new <= life.first.high)
            widths[key].append(life.first.high / life.first.low)
    for key, found in held.items():
        print(f"{key:12} {len(found):4} new packs: {100 * np.mean(found):5.1f} % within, "
              f"ends a factor {np.median(widths[key]):.2f} apart")  # fmt: skip


if __name__ == "__main__":
    main()
