"""The level of each pack: one coefficient a pack, with the errors that packs share."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from rigdata.arrays import BoolArray, FloatArray, IntArray, TextArray, frozen
from rigdata.friction.allowances import point_weights
from rigdata.friction.conditions import at
from rigdata.friction.results import FrictionFit, Group, fitted_points
from rigdata.reduction.points import FrictionPoints

_TEXT = ("pack", "material", "batch", "state")
_NUMBERS = ("hours", "mu", "u_random", "shared")


@dataclass(frozen=True, eq=False)
class PackLevels:
    """The coefficients of k packs at the reference condition.

    Attributes
    ----------
    pack, material, batch, state : (k,) str
    hours : (k,) float
        Service time. [h]
    mu : (k,) float
        Coefficient of the pack at the reference condition.
    u_random : (k,) float
        Part of its relative standard uncertainty that no other pack shares.
    source : tuple of m str
        Ids of the named sources.
    shared : (k, m) float
        Their relative contributions.
    """

    pack: TextArray
    material: TextArray
    batch: TextArray
    state: TextArray
    hours: FloatArray
    mu: FloatArray
    u_random: FloatArray
    source: tuple[str, ...]
    shared: FloatArray

    def __post_init__(self) -> None:
        for name in _TEXT:
            object.__setattr__(self, name, frozen(getattr(self, name), np.str_))
        for name in _NUMBERS:
            object.__setattr__(self, name, frozen(getattr(self, name)))

    def __len__(self) -> int:
        return int(self.pack.size)

    def select(self, chosen: BoolArray | IntArray) -> PackLevels:
        """Return the packs chosen by a mask or by indices."""
        kept = {name: getattr(self, name)[chosen] for name in (*_TEXT, *_NUMBERS)}
        return PackLevels(source=self.source, **kept)


def pack_levels(points: FrictionPoints, fits: Mapping[Group, FrictionFit]) -> PackLevels:
    """Return the level of every pack that was fitted.

    Parameters
    ----------
    points : FrictionPoints
        What was fitted.
    fits : mapping of Group to FrictionFit

    Returns
    -------
    PackLevels
        A pack's level is its group's law at the reference condition times the mean
        of its points over that law, outliers by their weight.  Contributions of named
        sources are averaged alike, so that what all packs share stays shared.
    """
    place = {source.id: i for i, source in enumerate(points.sources)}
    text: dict[str, list[str]] = {name: [] for name in _TEXT}
    hours, mu, u, shared = [], [], [], []
    for group, fit in fits.items():
        own = fitted_points(points, fit)
        weights = point_weights(own, fit.outliers)
        relative = np.zeros((len(own), len(place)))
        columns = [place[source.id] for source in own.sources]
        relative[:, columns] = own.contributions.toarray() / own.mu[:, None]
        level = float(fit.predict(at(fit.reference)).mu[0])
        for name in dict.fromkeys(own.pack.tolist()):
            here = np.flatnonzero(own.pack == name)
            values = (name, group.material, str(own.batch[here[0]]), group.state)
            for key, value in zip(_TEXT, values, strict=True):
                text[key].append(value)
            hours.append(float(own.service_hours[here[0]]))
            weight = weights[here]
            total = float(np.sum(weight))
            mu.append(level * (1.0 + float(np.sum(weight * fit.residual[here])) / total))
            spread = weight * own.u_random[here] / own.mu[here]
            u.append(float(np.sqrt(np.sum(spread**2))) / total)
            shared.append(np.sum(weight[:, None] * relative[here], axis=0) / total)
    return PackLevels(
        **{name: np.array(values, dtype=np.str_) for name, values in text.items()},
        hours=np.array(hours),
        mu=np.array(mu),
        u_random=np.array(u),
        source=tuple(place),
        shared=np.reshape(np.array(shared, dtype=np.float64), (len(mu), len(place))),
    )
