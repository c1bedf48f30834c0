"""What the diagnostics of a fit find: numbers with an interval and one sentence each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any

from rigdata.arrays import FloatArray, frozen

SPREAD = "spread"
HYSTERESIS = "hysteresis"
DRIFT_PER_RUN = "drift per run"
DRIFT_PER_HOUR = "drift per hour"
DRIFT_AT_REFERENCE = "drift at the reference"
AFTER_HEAT = "after heat"
SPEED_SLOPE = "dmu/dv"
FADE = "fade per 100 K"
PRESSURE = "pressure, per doubling"

ORDER = "order"  # the coordinate of a trend that stands for time


@dataclass(frozen=True)
class Finding:
    """One number about a fit.

    Attributes
    ----------
    name : str
        One of the names above; that of a hysteresis may end in a procedure.
    value, u, low, high : float
        Value, standard uncertainty and 95 % interval.
    unit : str
        Unit of these; relative ones have the unit 1.
    clear : bool
        Whether chance alone would give such a number less than 3 times in 1000.
    words : str
        What it says, in one sentence.
    """

    name: str
    value: float
    u: float
    low: float
    high: float
    unit: str
    clear: bool
    words: str


@dataclass(frozen=True)
class SpeedRange:
    """Where mu falls or rises with slip speed at one temperature and pressure.

    Attributes
    ----------
    temperature_c, pressure_mpa : float
        The condition. [degC, MPa]
    tested : (float, float)
        Slip speeds that were tested there. [m/s]
    falls, rises : tuple of (float, float)
        Ranges in which the 95 % interval of dmu/dv lies on one side of 0. [m/s]
    words : str
        The same in a sentence.
    """

    temperature_c: float
    pressure_mpa: float
    tested: tuple[float, float]
    falls: tuple[tuple[float, float], ...]
    rises: tuple[tuple[float, float], ...]
    words: str


@dataclass(frozen=True, eq=False)
class ResidualTrend:
    """What residuals, less the mean of their pack, keep along one coordinate.

    Attributes
    ----------
    coordinate : str
        One of `AXES`, or ``order``: the number of the run among those of its pack,
        from 1, less 0.4 at its start and plus 0.4 at its end.
    x : (k,) float
        Places. [m/s, degC, MPa or 1]
    value, low, high : (k,) float
        Smooth trend relative to mu, and a band that holds the whole of it with 99 %.
    words : str
        Whether it leaves zero, in one sentence.
    """

    coordinate: str
    x: FloatArray
    value: FloatArray
    low: FloatArray
    high: FloatArray
    words: str

    def __post_init__(self) -> None:
        for name in ("x", "value", "low", "high"):
            object.__setattr__(self, name, frozen(getattr(self, name)))

    @property
    def level(self) -> bool:
        """Whether zero lies in the band everywhere."""
        return self.leaves_by == 0.0

    @property
    def leaves_by(self) -> float:
        """The largest value where zero lies outside the band; 0 where there is none."""
        beyond = (self.low > 0.0) | (self.high < 0.0)
        return float(max(self.value[beyond].tolist(), key=abs, default=0.0))


@dataclass(frozen=True, eq=False)
class Diagnostics:
    """Everything that the diagnostics of one fit tell.

    Attributes
    ----------
    findings : tuple of Finding
        Those that the tests can show.
    speed_ranges : tuple of SpeedRange
        At the reference first, then cold and hot, and at low and high pressure.
    trends : tuple of ResidualTrend
        Along every coordinate that was varied, and over the order in time.
    pulls : str
        How many sources are pulled by more than 2 of their standard deviations.
    """

    findings: tuple[Finding, ...]
    speed_ranges: tuple[SpeedRange, ...]
    trends: tuple[ResidualTrend, ...]
    pulls: str

    def finding(self, name: str) -> Finding | None:
        """Return the finding of this name, None where the tests cannot show it."""
        return next((found for found in self.findings if found.name == name), None)

    def trend(self, coordinate: str) -> ResidualTrend | None:
        """Return the trend along `coordinate`, None where it was not varied."""
        return next((found for found in self.trends if found.coordinate == coordinate), None)

    def to_dict(self) -> dict[str, Any]:
        """Return what `from_dict` needs, ready for JSON."""
        return {
            "findings": [asdict(found) for found in self.findings],
            "speed_ranges": [asdict(found) for found in self.speed_ranges],
            "trends": [
                {
                    name: value if isinstance(value, str) else value.tolist()
                    for name, value in ((f.name, getattr(trend, f.name)) for f in fields(trend))
                }
                for trend in self.trends
            ],
            "pulls": self.pulls,
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Diagnostics:
        """Return the diagnostics that `to_dict` described."""
        return cls(
            findings=tuple(Finding(**entry) for entry in data["findings"]),
            speed_ranges=tuple(
                SpeedRange(
                    **{
                        **entry,
                        "tested": tuple(entry["tested"]),
                        **{k: tuple(map(tuple, entry[k])) for k in ("falls", "rises")},
                    }
                )
                for entry in data["speed_ranges"]
            ),
            trends=tuple(ResidualTrend(**entry) for entry in data["trends"]),
            pulls=data["pulls"],
        )
