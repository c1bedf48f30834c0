"""What a fit gives: a law with its parameters, its scatter and its envelope."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from rigdata.arrays import BoolArray, FloatArray, TextArray, frozen
from rigdata.campaign.campaign import Oil, Reference
from rigdata.errors import Notice, ResultError
from rigdata.friction.adequacy import Adequacy
from rigdata.friction.allowances import Outlier, with_allowances
from rigdata.friction.case_deletion import Deletion
from rigdata.friction.conditions import Conditions, at
from rigdata.friction.design import Block
from rigdata.friction.diagnostics.findings import Diagnostics
from rigdata.friction.envelope import Envelope
from rigdata.friction.estimate import Estimate
from rigdata.friction.laws.base import Law
from rigdata.friction.laws.knots import Knots
from rigdata.friction.laws.registry import law
from rigdata.friction.pooling import Pooling
from rigdata.friction.profiles import ParameterProfile
from rigdata.reduction.points import FrictionPoints


@dataclass(frozen=True, order=True)
class Group:
    """A material in one state of wear: the points that one law is fitted to.

    Attributes
    ----------
    material, state : str
        As named in campaign.toml.
    """

    material: str
    state: str

    def __str__(self) -> str:
        return f"{self.material} ({self.state})"


@dataclass(frozen=True)
class Scatter:
    """Spread beyond what measurement explains, as standard deviations relative to mu.

    Attributes
    ----------
    pack : float or None
        Between nominally equal packs; None where only one pack was tested, or the law
        follows every pack.
    run : float or None
        Between runs of one pack; None where no pack was run twice, or the law leaves
        nothing of runs that packs could not stand for.
    misfit : float or None
        From point to point: the law's own misfit and what repeats no better.
    pack_limit, run_limit, misfit_limit : float or None
        One-sided 95 % upper limit of each, above 0 even where it was found to be 0
        (see `scatter_limits`); None where there is no such component or no limit.
    """

    pack: float | None
    run: float | None
    misfit: float | None
    pack_limit: float | None = None
    run_limit: float | None = None
    misfit_limit: float | None = None


@dataclass(frozen=True)
class LawScore:
    """How one law did in the choice of the law.

    Attributes
    ----------
    law : str
        Name of the law.
    n_parameters : int
        Parameters fitted.
    aicc : float or None
        Akaike's information criterion, corrected for small samples; less is better.
    left_out : float or None
        Sum over packs (runs where there are two packs or fewer) of the log
        density of their points, predicted from the others; more is better.
    left_out_loss : float or None
        How far `left_out` is below that of the best law.
    left_out_loss_u : float or None
        Standard error of that difference.
    identified : bool
        Whether the data determine every fitted parameter.
    chosen : bool
        Whether this law was taken.
    remark : str
        Why it was set aside, or which parameters were held.
    reason : str
        Why it was or was not taken, in a few words.
    """

    law: str
    n_parameters: int
    aicc: float | None
    left_out: float | None
    left_out_loss: float | None
    left_out_loss_u: float | None
    identified: bool
    chosen: bool
    remark: str
    reason: str = ""


@dataclass(frozen=True, eq=False)
class Prediction:
    """The coefficient at n conditions with three kinds of 95 % interval.

    Attributes
    ----------
    mu, u_mu : (n,) float
        Coefficient of the material's mean and its standard uncertainty.
    mean_low, mean_high : (n,) float
        Interval for the mean of all packs of this kind, or of the one pack
        tested where there was only one.
    next_pack_low, next_pack_high : (n,) float
        Interval for one more pack, tested in as many runs as these were; NaN
        after one pack.
    inside : (n,) bool
        Whether the condition lies in the tested envelope.
    next_run_low, next_run_high : (n,) float
        Interval for one run of one more pack, that is of a pack not tested yet, in
        a run like these: what a single test of a new pack will show.  It is that of
        one more pack where no pack was run twice; NaN after one pack.
    """

    mu: FloatArray
    u_mu: FloatArray
    mean_low: FloatArray
    mean_high: FloatArray
    next_pack_low: FloatArray
    next_pack_high: FloatArray
    inside: BoolArray
    next_run_low: FloatArray
    next_run_high: FloatArray


@dataclass(frozen=True, eq=False)
class FrictionFit:
    """The law fitted to the kinetic or to the static points of one group.

    Attributes
    ----------
    group : Group
        Material and state.
    law : str
        Name of the chosen law.
    reference : Reference
        Condition that the law's parameters refer to; for static points with the slip
        speed 0 and the dwell at which single numbers are quoted.
    estimate : Estimate
        Parameters, covariance and variance components.
    not_identified : tuple of str
        Parameters held at their neutral value because the tests cannot show them.
    scatter : Scatter
        Spread between packs, between runs and from point to point.
    envelope : Envelope
        What was really tested.
    n_points, n_packs, n_runs : int
        What the fit rests on.
    chi2_reduced : float
        With the scatter components: near 1 unless a component is at zero.
    chi2_measurement : float
        With measurement uncertainty alone: well above 1 where there is real
        scatter, well below 1 where uncertainties are overstated.
    pulls : mapping of source id to float
        By how many of its standard deviations the fit moved each source.
    residual_trend : mapping of axis to float
        Standardised trend or bend left in the residuals along each axis;
        beyond 3 the law misses something.
    ranking : tuple of LawScore
        How every candidate did, the chosen law among them.
    point : (n,) str
        Names of the points fitted.
    residual : (n,) float
        Relative deviation of each point from the law.
    notices : tuple of Notice
        What the user must know.
    oil : Oil, optional
        Oil that the packs ran in; None when they ran dry.
    diagnostics : Diagnostics, optional
        Hysteresis, drift, slopes and what the residuals keep; of kinetic fits.
    pooling : Pooling, optional
        What pooling the scatter over groups of the campaign does, and whether it was
        done; None where there was nothing to pool with.
    knots : Knots, optional
        Values tested between which a surface bends; None for a formula.
    adequacy : Adequacy, optional
        Whether the best formula misses the points by more than chance: the law, or
        where that is a surface the reason why.  None where nothing could be tested.
    outliers : tuple of Outlier
        Points and runs that count less than the others, and how much.
    deletions : tuple of Deletion
        What leaving out each pack and each run does to the coefficient.
    profiles : tuple of ParameterProfile
        How far each parameter may move: of the law, and of each formula set aside
        because something in it was not determined.  A parameter that is held appears
        where it was fitted first, to be found open.
    """

    group: Group
    law: str
    reference: Reference
    estimate: Estimate
    not_identified: tuple[str, ...]
    scatter: Scatter
    envelope: Envelope
    n_points: int
    n_packs: int
    n_runs: int
    chi2_reduced: float
    chi2_measurement: float
    pulls: Mapping[str, float]
    residual_trend: Mapping[str, float]
    ranking: tuple[LawScore, ...]
    point: TextArray
    residual: FloatArray
    notices: tuple[Notice, ...]
    oil: Oil | None = None
    diagnostics: Diagnostics | None = None
    pooling: Pooling | None = None
    knots: Knots | None = None
    adequacy: Adequacy | None = None
    outliers: tuple[Outlier, ...] = ()
    deletions: tuple[Deletion, ...] = ()
    profiles: tuple[ParameterProfile, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "point", frozen(self.point, np.str_))
        object.__setattr__(self, "residual", frozen(self.residual))
        for name in ("pulls", "residual_trend"):
            object.__setattr__(self, name, MappingProxyType(dict(getattr(self, name))))

    @property
    def form(self) -> Law:
        """The chosen law itself."""
        return law(self.law, self.oil, self.knots)

    @property
    def theta(self) -> FloatArray:
        """(p,) parameters of the law."""
        return self.estimate.theta

    @property
    def covariance(self) -> FloatArray:
        """(p, p) covariance of the parameters; zero where one was held."""
        return self.estimate.covariance

    @property
    def n_parameters(self) -> int:
        """How many parameters were fitted, less those of the bends of a surface."""
        drawn, fitted = self.form.drawn, np.diag(self.covariance) > 0.0
        return sum(
            bool(free) and name not in drawn
            for name, free in zip(self.form.names, fitted, strict=True)
        )

    @property
    def u_reference(self) -> float:
        """Standard uncertainty of mu at the reference condition, relative to mu."""
        told = self.predict(at(self.reference))
        return float(told.u_mu[0] / told.mu[0])

    @property
    def parameters(self) -> dict[str, float]:
        """Parameters by name."""
        return dict(zip(self.form.names, self.theta.tolist(), strict=True))

    def block(self, points: FrictionPoints, label: str | None = None) -> Block:
        """Return `points` with this fit's law, what it holds and scatter found elsewhere.

        Outliers among the points have their allowances.
        """
        held = {name: self.parameters[name] for name in self.not_identified}
        common = self.pooling.common if self.pooling is not None and self.pooling.used else ()
        allowed = with_allowances(points, self.outliers)
        return Block(label or str(self.group), allowed, self.form, held, common)

    def predict(self, conditions: Conditions) -> Prediction:
        """Return the coefficient and its intervals at `conditions`.

        Where a condition names no dwell, that of the reference is taken.
        """
        form, where = self.form, conditions.after(self.reference.dwell_s)
        mu = form.mu(where, self.theta, self.reference)
        gradient = form.jacobian(where, self.theta, self.reference)
        inside = self.envelope.contains(where)
        return interpret(self.estimate, mu, gradient, inside, self._run_component)

    @property
    def _run_component(self) -> str | None:
        """Name of the component that tells runs of one pack apart; None where none does."""
        names = self.estimate.components
        if "run" in names:
            return "run"
        one_point_each = self.n_points == self.n_runs > self.n_packs
        return "misfit" if one_point_each and "misfit" in names else None


def interpret(
    estimate: Estimate,
    mu: FloatArray,
    gradient: FloatArray,
    inside: BoolArray,
    run: str | None = "run",
) -> Prediction:
    """Return `mu` with the intervals of the mean, of one more pack and of one more run.

    Parameters
    ----------
    estimate : Estimate
        Of one group.
    mu : (k,) array
        Coefficients.
    gradient : (k, p) array
        Their derivatives with respect to the parameters.
    inside : (k,) bool
        Passed on.
    run : str or None
        Component that tells runs of one pack apart; None where none does.

    Notes
    -----
    One more pack has variance ``v + mu^2 (s_pack^2 + w)``, where `w` is what the
    scatter within packs adds to the mean of a pack tested like these: the sum is
    what the data estimate, with packs less 1 degrees of freedom.  Leaving `w` out
    would rest the interval on a difference of two mean squares, which can be 0 by
    luck.

    One run of one more pack has ``v + mu^2 (s_pack^2 + s_run^2 + w')``, with `w'`
    what points add to the mean of a run.  That is the mean square of packs and the
    part ``1 - a`` of that of runs, where ``a s_run^2`` is in `w` already: a is 1
    over the runs of a pack where all have as many.  More runs than packs lend the
    sum more degrees of freedom than packs alone have, too many where packs lie close
    by luck; so this interval is never narrower than that of one more pack (measured:
    94 to 99 % instead of 92 to 98 %).
    """
    half = estimate.half_width(gradient)
    pack, single = np.full(mu.shape, np.nan), np.full(mu.shape, np.nan)
    if "pack" in estimate.components:
        extra = np.zeros((mu.size, len(estimate.components)))
        i = estimate.components.index("pack")
        extra[:, i] = mu**2
        pack = single = estimate.half_width(gradient, extra)
        if run in estimate.components:
            j = estimate.components.index(run)
            extra[:, j] = mu**2 * max(1.0 + float(estimate.nesting[i, j]), 0.0)
            single = np.maximum(pack, estimate.half_width(gradient, extra))
    return Prediction(
        frozen(mu),
        frozen(np.sqrt(estimate.variance(gradient))),
        frozen(mu - half),
        frozen(mu + half),
        frozen(mu - pack),
        frozen(mu + pack),
        frozen(inside, np.bool_),
        frozen(mu - single),
        frozen(mu + single),
    )


def fitted_points(points: FrictionPoints, fit: FrictionFit) -> FrictionPoints:
    """Return the points of a fit, in its order.

    Raises
    ------
    ResultError
        When a point of the fit is not among `points`.
    """
    place = {name: i for i, name in enumerate(points.point.tolist())}
    for name in fit.point.tolist():
        if name not in place:
            raise ResultError(
                f"point {name} of the fit of {fit.group} is not among the friction points",
                expected="fits made from these points",
                do="Fit the points again",
            )
    return points.select(np.array([place[name] for name in fit.point.tolist()], dtype=np.int64))
