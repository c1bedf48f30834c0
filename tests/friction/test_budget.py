"""Budgets add up, name the right causes, and tell what more tests would bring."""

from dataclasses import replace

import numpy as np
import pytest
from friction_points import REFERENCE, Truth, drawn

from rigdata.comparison.pair_fits import fit_pair
from rigdata.comparison.ratios import compare_groups
from rigdata.errors import ResultError
from rigdata.friction.budget import (
    budget_at_reference,
    fit_budget,
    fit_solution,
    joint_solution,
    point_budget,
    random_dof,
    solution_budget,
)
from rigdata.friction.causes import MISFIT, PACKS, RANDOM, RUNS
from rigdata.friction.conditions import Conditions, at
from rigdata.friction.fit import fit_campaign, split
from rigdata.friction.results import Group
from rigdata.friction.what_if import (
    limiting_words,
    more_packs,
    more_runs,
    point_what_ifs,
    source_halved,
    what_ifs,
)
from rigdata.reduction.points import concatenate
from rigdata.uncertainty.degrees import coverage_factor
from rigdata.uncertainty.sources import Scope

GROUP, PLAIN = Group("rough", "new"), Group("plain", "new")
HERE = at(REFERENCE)
ELSEWHERE = Conditions(0.03, 100.0, 1.6)


@pytest.fixture(scope="module")
def points():
    """Three packs each of two materials; one torque gain for all."""
    rng = np.random.default_rng(12)
    plain = Truth(material="plain", theta=(0.1, -0.002, -0.0005, -0.03), pack_sd=0.04)
    rough = Truth(pack_sd=0.04)
    return concatenate([drawn(truth, rng, gain=0.4) for truth in (rough, plain)])


@pytest.fixture(scope="module")
def fits(points):
    return fit_campaign(points, REFERENCE, laws=["log-speed"])


@pytest.fixture(scope="module")
def balanced():
    """Four packs, three runs each, alike to the last point; all errors are scatter."""
    truth = Truth(
        law="constant", theta=(0.12,), packs=4, runs=(3, 3), points=(6, 6), run_sd=0.01,
        gain_u=0.0, radius_u=0.0, zero_u=0.0,
    )  # fmt: skip
    points = drawn(truth, np.random.default_rng(5))
    points = replace(points, u_random=np.full(len(points), 0.0009))
    (fit,) = fit_campaign(points, REFERENCE, laws=["constant"]).values()
    return points, fit


class TestPoint:
    def test_causes_add_up_with_their_signs(self, points) -> None:
        i = 7
        budget = point_budget(points, str(points.point[i]))
        assert budget.value == points.mu[i]
        assert np.linalg.norm([c.effect for c in budget.causes]) == pytest.approx(budget.u)
        assert budget.u == pytest.approx(points.u_mu[i], rel=1e-12)
        column = {s.id: j for j, s in enumerate(points.sources)}
        told = {c.name: c.effect for c in budget.causes if c.is_source}
        for name, effect in told.items():
            assert effect == points.contributions[i, column[name]]
        assert {c.scope for c in budget.causes} == set(Scope)
        assert sum(budget.by_scope.values()) == pytest.approx(1.0)
        sizes = [abs(cause.effect) for cause in budget.causes]
        assert sizes == sorted(sizes, reverse=True)

    def test_degrees_of_freedom_by_welch_and_satterthwaite(self, points) -> None:
        own = points.select(np.array([0]))
        few = replace(own, sources=tuple(replace(s, dof=4.0) for s in own.sources))
        few = replace(few, n_effective=[7.0], u_random=[0.001])
        squares = few.contributions.toarray()[0] ** 2
        expected = (squares.sum() + 1e-6) ** 2 / ((squares**2).sum() / 4.0 + 1e-12 / 5.0)
        budget = point_budget(few, str(few.point[0]))
        assert budget.dof == pytest.approx(expected, rel=1e-12)
        t = float(coverage_factor(expected))
        assert budget.high - budget.value == pytest.approx(t * budget.u, rel=1e-12)

    def test_a_random_part_that_was_stated_has_no_limit_of_freedom(self, points) -> None:
        own = points.select(np.arange(3))
        own = replace(own, n_samples=[1, 400, 400], n_effective=[1.0, 30.0, 1.5])
        own = replace(own, method=["ratio", "load-slope", "ratio"])
        assert random_dof(own).tolist() == [np.inf, 26.0, 1.0]

    def test_an_unknown_point_is_told_with_those_of_its_run(self, points) -> None:
        run = str(points.run[0])
        with pytest.raises(ResultError, match=f"no point {run}/99; expected {run}/0 to {run}"):
            point_budget(points, f"{run}/99")
        with pytest.raises(ResultError, match="a run and a number"):
            point_budget(points, "R004")

    def test_halving_a_source(self, points) -> None:
        budget = point_budget(points, str(points.point[2]))
        (better,) = point_what_ifs(budget)
        largest = next(s for s in budget.by_kind if s.cause != RANDOM)
        assert better.change == f"knowing the {largest.cause} twice as well"
        assert better.u == pytest.approx(np.sqrt(budget.u**2 - 0.75 * largest.u**2), rel=1e-12)


class TestFit:
    @pytest.mark.parametrize("where", [HERE, ELSEWHERE], ids=["reference", "elsewhere"])
    def test_adds_up_to_what_the_fit_says_anywhere(self, points, fits, where) -> None:
        budget = fit_budget(points, fits[GROUP], where)
        told = fits[GROUP].predict(where)
        assert budget.value == pytest.approx(told.mu[0], rel=1e-12)
        assert budget.u == pytest.approx(told.u_mu[0], rel=1e-8)
        assert np.linalg.norm([c.effect for c in budget.causes]) == pytest.approx(budget.u)
        assert (budget.low, budget.high) == pytest.approx(
            (told.mean_low[0], told.mean_high[0]), rel=1e-9
        )
        assert budget.quantity == "mu of rough (new)"

    def test_a_gain_comes_through_whole_and_with_its_sign(self, points, fits) -> None:
        budget = fit_budget(points, fits[GROUP], HERE)
        gain = next(cause for cause in budget.causes if cause.name == "torque:T1:slope")
        assert gain.effect == pytest.approx(0.005 * budget.value, rel=1e-6)
        assert gain.scope is Scope.RIG
        radius = [c.effect for c in budget.causes if c.kind == "outer radius"]
        assert len(radius) == 3
        assert np.linalg.norm(radius) == pytest.approx(0.003 * budget.value / np.sqrt(3), rel=0.2)

    def test_shares_by_kind_and_scope(self, points, fits) -> None:
        budget = fit_budget(points, fits[GROUP], HERE)
        shares = {share.cause: share.share for share in budget.by_kind}
        assert sum(shares.values()) == pytest.approx(1.0)
        assert next(iter(shares)) == PACKS
        scopes = budget.by_scope
        assert scopes[Scope.PACK] == pytest.approx(shares[PACKS] + shares["outer radius"])
        assert scopes[Scope.RIG] == pytest.approx(shares["torque"])
        assert scopes[Scope.POINT] == pytest.approx(shares[RANDOM] + shares.get(MISFIT, 0.0))
        assert budget_at_reference(points, fits[GROUP]) == budget.by_kind

    def test_three_packs_leave_about_two_degrees_of_freedom(self, points, fits) -> None:
        budget = fit_budget(points, fits[GROUP], HERE)
        assert 1.8 < budget.dof < 4.0
        packs = next(cause for cause in budget.causes if cause.kind == PACKS)
        assert packs.dof == pytest.approx(2.0, rel=0.05)
        assert not packs.is_source


@pytest.fixture(scope="module")
def both(points, fits):
    return joint_solution(fit_pair(split(points, "kinetic"), fits, GROUP, PLAIN))


class TestRatio:
    def test_what_both_share_cancels(self, both, points, fits) -> None:
        budget = solution_budget(both, HERE)
        (ratio,) = compare_groups(points, fits, baseline="plain", reference=REFERENCE)
        assert budget.value == pytest.approx(ratio.ratio[0], rel=1e-9)
        assert budget.u == pytest.approx(ratio.u_ratio[0], rel=1e-6)
        assert (budget.low, budget.high) == pytest.approx((ratio.low[0], ratio.high[0]), rel=1e-6)
        gain = [abs(c.effect) for c in budget.causes if c.name == "torque:T1:slope"]
        assert sum(gain) < 0.02 * 0.005 * budget.value
        assert budget.quantity == "mu of rough (new) over that of plain (new)"

    def test_radii_pull_opposite_ways(self, both) -> None:
        effects = {c.name: c.effect for c in solution_budget(both, HERE).causes}
        rough = [e for name, e in effects.items() if name.startswith("outer-radius:rough")]
        plain = [e for name, e in effects.items() if name.startswith("outer-radius:plain")]
        assert len(rough) == len(plain) == 3
        assert min(rough) > 0 > max(plain)

    def test_scatter_of_each_group_is_a_cause_of_its_own(self, both) -> None:
        budget = solution_budget(both, HERE)
        packs = {c.label for c in budget.causes if c.kind == PACKS}
        assert packs == {"rough (new)", "plain (new)"}
        change = more_packs(both, HERE, 1)
        assert change.change == "one more pack of each"
        assert change.half_width < budget.half_width


def silent(**changes):
    """The solution of a constant law without scatter, zeros and noise to speak of."""
    truth = Truth(zero_u=1e-7, law="constant", theta=(0.12,), **changes)
    points = drawn(truth, np.random.default_rng(3))
    (fit,) = fit_campaign(points, REFERENCE, laws=["constant"]).values()
    quiet = replace(fit.estimate, variances=np.zeros_like(fit.estimate.variances))
    still = replace(points, u_random=np.full(len(points), 1e-6))
    return fit_solution(still, replace(fit, estimate=quiet))


class TestWhatIf:
    def test_more_packs_of_a_balanced_layout(self, balanced) -> None:
        points, fit = balanced
        solution = fit_solution(points, fit)
        budget = solution_budget(solution, HERE)
        then = more_packs(solution, HERE, 5)
        assert then.change == "five more packs"
        # Each pack's mean has one variance, so u falls as the root of the packs, 4 to 9, and
        # t comes down from 3 to 8 degrees of freedom.
        assert then.u == pytest.approx(budget.u * np.sqrt(4 / 9), rel=1e-9)
        t_then, t_now = (float(coverage_factor(dof)) for dof in (8.0, 3.0))
        expected = budget.half_width * np.sqrt(4 / 9) * t_then / t_now
        assert then.half_width == pytest.approx(expected, rel=0.02)

    def test_more_runs_of_a_balanced_layout(self, balanced) -> None:
        points, fit = balanced
        solution = fit_solution(points, fit)
        pack, run, point = (
            variance * fit.parameters["mu0"] ** 2 for variance in fit.estimate.variances
        )
        point += points.u_random[0] ** 2
        for count in (0, 1, 4):
            then = more_runs(solution, HERE, count)
            each = pack + (run + point / 6) / (3 + count)
            assert then.u == pytest.approx(np.sqrt(each / 4), rel=1e-9)
        assert then.change == "four more runs of each pack"

    def test_a_new_pack_shares_the_rig_and_nothing_else(self) -> None:
        """Without scatter and noise, packs average their radii and keep the gain."""
        solution = silent()
        gain, radius = (share * solution.estimate.theta[0] for share in (0.005, 0.003))
        now, then = (more_packs(solution, HERE, count).u for count in (0, 3))
        assert now**2 - gain**2 == pytest.approx(radius**2 / 3, rel=0.1)
        assert then**2 - gain**2 == pytest.approx(radius**2 / 6, rel=0.1)

    def test_a_new_run_keeps_the_radii_of_its_pack(self) -> None:
        """Also where a pack was run once, so that no other run shares its radii."""
        solution = silent(runs=(1, 1))
        now, then = (more_runs(solution, HERE, count).u for count in (0, 5))
        assert then == pytest.approx(now, rel=1e-3)

    def test_halving_a_source_of_the_fit(self, points, fits) -> None:
        solution = fit_solution(points, fits[GROUP])
        budget = solution_budget(solution, HERE)
        then = source_halved(solution, HERE, "torque")
        share = next(s for s in budget.by_kind if s.cause == "torque")
        # A gain common to all points moves no weight, so the rest stays as it was.
        assert then.u == pytest.approx(np.sqrt(budget.u**2 - 0.75 * share.u**2), rel=1e-3)
        assert source_halved(solution, HERE, "no such cause").u == pytest.approx(budget.u)

    def test_answer_in_words(self, points, fits) -> None:
        solution = fit_solution(points, fits[GROUP])
        budget = solution_budget(solution, HERE)
        options = what_ifs(solution, HERE, budget, packs=2, runs=3)
        assert [option.change for option in options] == [
            "two more packs",
            "three more runs of each pack",
            "knowing the torque twice as well",
        ]
        words = limiting_words(budget, options)
        share = f"{100 * budget.by_kind[0].share:.0f}"
        assert words.startswith(
            f"The spread between packs limits this number ({share} % of the variance); "
            f"two more packs would bring its +-{budget.half_width:#.2g} to +-"
        )
        assert f"+-{options[0].half_width:#.2g}." in words

    def test_one_pack_says_nothing_of_others(self, points) -> None:
        one = points.select(points.pack == "rough-new-1")
        (fit,) = fit_campaign(one, REFERENCE, laws=["log-speed"]).values()
        solution = fit_solution(one, fit)
        then = more_packs(solution, HERE, 2)
        assert np.isnan(then.u)
        assert then.reason == "only one pack was tested, so how packs differ is not known"
        assert RUNS in {c.kind for c in solution_budget(solution, HERE).causes} or (
            fit.scatter.run == 0.0
        )
