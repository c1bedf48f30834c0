"""Plates that wear by known rates, as a bench would read them."""

from dataclasses import dataclass

import numpy as np
import pytest

from rigdata.wear.readings import Plates


@dataclass(frozen=True)
class Wearing:
    """Packs whose plates wear steadily; rates in um per hour."""

    packs: int = 4
    plates: int = 2
    rate: float = 0.4
    pack_sd: float = 0.03
    plate_sd: float = 0.02
    reading_um: float = 1.0
    hours: tuple[float, float] = (50.0, 120.0)
    stops: int = 4
    mj_per_hour: float = np.nan
    bend: float = 0.0  # of the loss, relative, at the last reading

    def drawn(self, rng: np.random.Generator) -> Plates:
        rows = []
        for p in range(self.packs):
            own, last = rng.normal(0.0, self.pack_sd), rng.uniform(*self.hours)
            for q in range(self.plates):
                rate = self.rate + own + rng.normal(0.0, self.plate_sd)
                first = 2000.0 + rng.normal(0.0, 4.0)
                for t in np.linspace(0.0, last, self.stops):
                    lost = rate * t * (1.0 - self.bend * t / last)
                    read = first - lost + rng.normal(0.0, self.reading_um)
                    rows.append((f"P{p}", f"P{p} M{q}", t, t * self.mj_per_hour, read / 1e3))
        pack, plate, hours, work, thickness = map(np.array, zip(*rows, strict=True))
        blank = np.full(hours.size, np.nan)
        ones = np.ones(hours.size, dtype=np.int64)
        return Plates("rough", "mating", pack, plate, hours, work, thickness, blank, blank, ones)

    def life_rate(self, rng: np.random.Generator) -> float:
        """The rate of one more pack: the mean of its plates."""
        own = rng.normal(0.0, self.pack_sd)
        return self.rate + own + rng.normal(0.0, self.plate_sd / np.sqrt(self.plates))


@pytest.fixture
def wearing():
    return Wearing
