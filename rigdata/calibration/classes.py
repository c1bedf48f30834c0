"""Classes of a force or torque sensor in the manner of ISO 376.

The limits are read from a table, not written in code; the one in the package
is from memory and says so, and so does every verdict that rests on it.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Annotated

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.campaign.files import read_toml
from rigdata.campaign.keys import Key
from rigdata.campaign.reading import read_values

DEFAULT_LIMITS = Path(__file__).with_name("class_limits.toml")
# A class must hold from the largest load down to at least half of it (from memory of ISO 376).
LEAST_REACH = 0.5


@dataclass(frozen=True)
class Limits:
    """Largest errors of one class, each of either sign. [%]"""

    reproducibility: Annotated[float, Key("Spread between mountings, b.", above=0)]
    repeatability: Annotated[float, Key("Spread in one mounting, b'.", above=0)]
    interpolation: Annotated[float, Key("Curve against mean of the series, fc.", above=0)]
    zero: Annotated[float, Key("Reading left without load, f0.", above=0)]
    reversibility: Annotated[float, Key("Falling against rising load, v.", above=0)]
    creep: Annotated[float, Key("Creep from 30 s to 300 s, c.", above=0)]


@dataclass(frozen=True)
class ClassLimits:
    """A table of classes.

    Attributes
    ----------
    source : str
        Where the numbers come from.
    classes : mapping of str to Limits
        Strictest class first.
    caution : str
        What must be said wherever a class is; empty for a table that somebody
        has compared with its source.
    """

    source: Annotated[str, Key("Where the limits come from.")]
    classes: Annotated[Mapping[str, Limits], Key("The classes, strictest first.")]
    caution: Annotated[str, Key("What must be said wherever a class is.")] = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "classes", MappingProxyType(dict(self.classes)))

    @property
    def basis(self) -> str:
        """Source and caution, as every verdict carries them."""
        return f"{self.source}; {self.caution}" if self.caution else self.source


@dataclass(frozen=True, eq=False)
class Errors:
    """Relative errors of a sensor as its record shows them; NaN where it does not.

    Attributes
    ----------
    loads : (m,) float
        Loads other than zero. [applied unit]
    reproducibility, repeatability, interpolation, reversibility : (m,) float
        b, b', fc and v at each load. [%]
    zero, creep : float
        f0 and c. [% of the largest deflection]
    """

    loads: FloatArray
    reproducibility: FloatArray
    repeatability: FloatArray
    interpolation: FloatArray
    reversibility: FloatArray
    zero: float
    creep: float

    def of(self, name: str) -> FloatArray:
        """Return one of the errors (m,) at each load."""
        return np.broadcast_to(np.asarray(getattr(self, name)), self.loads.shape)

    @property
    def not_shown(self) -> tuple[str, ...]:
        """The errors that the record does not show.

        Of reversibility and creep one is enough (from memory of ISO 376, which
        asks for creep where a sensor is used for rising loads only).
        """
        lacking = [name for name in _NAMES if not np.isfinite(self.of(name)).any()]
        if not {"reversibility", "creep"} <= set(lacking):
            lacking = [name for name in lacking if name not in ("reversibility", "creep")]
        return tuple(lacking)


_NAMES = tuple(field.name for field in dataclasses.fields(Limits))


@dataclass(frozen=True)
class ClassVerdict:
    """The strictest class that a record meets.

    Attributes
    ----------
    name : str
        The class; empty where none is met.
    lowest_load : float
        Load of the smallest size down to which it is met; NaN without a class.
        [applied unit]
    unit : str
        Unit of that load.
    not_shown : tuple of str
        Errors that the class limits and the record does not show.
    basis : str
        Where the limits come from and what is to be known about them.
    """

    name: str
    lowest_load: float
    unit: str
    not_shown: tuple[str, ...]
    basis: str

    @property
    def determined(self) -> bool:
        """Whether the record shows enough to speak of a class at all.

        That is the error of the curve, and series that can be compared.
        """
        return determined(self.not_shown)

    @property
    def words(self) -> str:
        """The verdict in words, always with what it rests on."""
        text = "no class met" if self.determined else "no class can be told"
        if self.name:
            text = f"class {self.name} from {self.lowest_load:.4g} {self.unit} up"
        if self.not_shown:
            text += f", without {' and '.join(self.not_shown)}, which the record does not show"
        return f"{text} ({self.basis})"


def read_limits(path: Path = DEFAULT_LIMITS) -> ClassLimits:
    """Read a table of class limits.

    Parameters
    ----------
    path : Path
        TOML file; the one in the package unless told otherwise.

    Raises
    ------
    CampaignError
        When the file, a key or a number is at fault.
    """
    file = read_toml(path)
    values = read_values(ClassLimits, file.table, file.place)
    inside = file.place.inside("classes")
    values["classes"] = {
        name: Limits(**read_values(Limits, table, inside.inside(name)))
        for name, table in values["classes"].items()
    }
    return ClassLimits(**values)


def classify(errors: Errors, limits: ClassLimits, unit: str) -> ClassVerdict:
    """Return the strictest class that a sensor meets over enough of its range.

    Parameters
    ----------
    errors : Errors
        Its errors.
    limits : ClassLimits
        The table of classes.
    unit : str
        Unit of the loads.

    Returns
    -------
    ClassVerdict
        A class is met from the largest load down to the last one before an
        error exceeds its limit, if that is at most half the largest.  An error
        that is not shown is not held against the sensor; the verdict names it.
        Without the error of the curve, or without series to compare, there is
        no class.
    """
    if not determined(errors.not_shown):
        return ClassVerdict("", math.nan, unit, errors.not_shown, limits.basis)
    size = np.abs(errors.loads)
    order = np.argsort(-size, kind="stable")
    top = float(size.max(initial=0.0))
    for name, own in limits.classes.items():
        over = np.zeros(size.size, np.bool_)
        for criterion in _NAMES:
            values = np.abs(errors.of(criterion))
            over |= np.isfinite(values) & (values > getattr(own, criterion))
        passed = int(np.argmax(over[order])) if over.any() else size.size
        if passed and size[order[passed - 1]] <= LEAST_REACH * top:
            lowest = float(size[order[passed - 1]])
            return ClassVerdict(name, lowest, unit, errors.not_shown, limits.basis)
    return ClassVerdict("", math.nan, unit, errors.not_shown, limits.basis)


def determined(not_shown: tuple[str, ...]) -> bool:
    """Tell whether a class can be given although the errors `not_shown` are not known."""
    compared = not {"repeatability", "reproducibility"} <= set(not_shown)
    return compared and "interpolation" not in not_shown
