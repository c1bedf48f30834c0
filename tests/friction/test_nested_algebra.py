"""The nested algebra against plain dense matrices, for layouts of every kind."""

from dataclasses import dataclass

import numpy as np
import pytest
from scipy import sparse

from rigdata.friction import nesting
from rigdata.friction.columns import columns_of
from rigdata.friction.inverse import inverse_of
from rigdata.friction.mixed_model import Component, MixedModel, profile, sensitivity
from rigdata.friction.nesting import SOURCE


@dataclass(frozen=True)
class Layout:
    """Points by pack and run, and how many sources of each reach they have."""

    runs: tuple[tuple[int, ...], ...]  # points of each run, pack by pack
    per_run: int = 2
    per_pack: int = 2
    wide: int = 3
    two_runs: int = 0  # sources that two runs of one pack share
    two_packs: int = 0  # sources that two runs of different packs share
    empty: int = 0  # columns of zeros
    shuffled: bool = False
    straddling: bool = False  # a run with points in two packs


LAYOUTS = {
    "even": Layout(((5, 5), (5, 5), (5, 5))),
    "uneven": Layout(((1, 17, 3), (40,), (2, 2, 9, 6))),
    "shuffled": Layout(((4, 7), (9, 3, 5), (6, 6)), shuffled=True),
    "one pack": Layout(((8, 5, 9),)),
    "one run": Layout(((25,),)),
    "runs of one point": Layout(((1,) * 9, (1,) * 7, (1,) * 8), per_run=1),
    "a pack a run": Layout(((6,), (7,), (5,), (6,), (8,))),
    "shared runs": Layout(
        ((5, 6, 4), (7, 5), (6, 6)), two_runs=3, two_packs=2, empty=2, shuffled=True
    ),
    "nothing shared": Layout(((5, 6), (7, 8)), per_run=0, per_pack=0, wide=0),
    "straddling": Layout(((5, 6), (7, 8), (4, 5)), straddling=True, shuffled=True),
    "long runs": Layout(((30, 70), (45, 2)), wide=8),
}
VARIANCES = {
    "all": np.array([0.8, 0.3, 0.2]),
    "no runs": np.array([0.8, 0.0, 0.2]),
    "no packs": np.array([0.0, 0.3, 0.0]),
}


def built(layout: Layout, seed: int) -> tuple[MixedModel, np.ndarray, np.ndarray, np.ndarray]:
    """Return a model with its numbers of packs and runs and its dense columns."""
    rng = np.random.default_rng(seed)
    pack, run = (
        np.concatenate([np.full(n, number(i, j)) for i, runs in enumerate(layout.runs)
                        for j, n in enumerate(runs)])
        for number in (lambda i, j: i, lambda i, j: 100 * i + j)
    )  # fmt: skip
    if layout.straddling:
        run[run == 100] = 0
    if layout.shuffled:
        order = rng.permutation(pack.size)
        pack, run = pack[order], run[order]
    n = pack.size

    def touching(*masks: np.ndarray) -> np.ndarray:
        return rng.normal(size=n) * np.any(masks, axis=0)

    runs, packs = np.unique(run), np.unique(pack)
    columns = [touching(run == r) for r in runs for _ in range(layout.per_run)]
    columns += [touching(pack == p) for p in packs for _ in range(layout.per_pack)]
    columns += [touching(run == 0, run == 1) for _ in range(layout.two_runs)]
    columns += [touching(run == 0, run == 101) for _ in range(layout.two_packs)]
    columns += [rng.normal(size=n) for _ in range(layout.wide)]
    columns += [np.zeros(n) for _ in range(layout.empty)]
    owner = [SOURCE] * len(columns)
    curve = rng.uniform(0.8, 1.2, n)
    columns += [curve * (pack == p) for p in packs]
    columns += [curve * (run == r) for r in runs]
    owner += [0] * packs.size + [1] * runs.size
    mixed = rng.permutation(len(columns))
    dense, owner = np.array(columns)[mixed].T, np.array(owner)[mixed]
    model = MixedModel(
        residual=rng.normal(size=n),
        design=np.stack([np.ones(n), 1e-3 * rng.normal(size=n)], axis=1),
        diagonal=rng.uniform(0.1, 0.3, n),
        columns=columns_of(sparse.csr_array(dense), owner, pack, run),
        components=(
            Component("pack"),
            Component("run"),
            Component("misfit", weights=curve**2 * rng.integers(0, 3, n)),
        ),
    )
    return model, dense, pack, run


@dataclass(frozen=True)
class Dense:
    """The same model in n x n matrices."""

    parts: list[np.ndarray]
    v: np.ndarray
    vi: np.ndarray
    phi: np.ndarray
    p: np.ndarray

    @classmethod
    def of(cls, model: MixedModel, columns: np.ndarray, variances: np.ndarray) -> "Dense":
        owner = model.columns.slots.owner
        parts = [columns[:, owner == i] @ columns[:, owner == i].T for i in (0, 1)]
        parts.append(np.diag(model.components[2].weights))
        shared = columns[:, owner == SOURCE]
        v = np.diag(model.diagonal) + shared @ shared.T
        v = v + sum(s * part for s, part in zip(variances, parts, strict=True))
        vi, x = np.linalg.inv(v), model.design
        phi = np.linalg.inv(x.T @ vi @ x)
        return cls(parts, v, vi, phi, vi - vi @ x @ phi @ x.T @ vi)


def close(expected, tolerance=1e-10):
    """Compare to a part of the largest entry."""
    expected = np.asarray(expected)
    return pytest.approx(expected, rel=tolerance, abs=tolerance * np.max(np.abs(expected)))


@pytest.fixture(autouse=True, params=["one piece", "many pieces"])
def pieces(request, monkeypatch):
    """Once with all points worked on together, once in small tiles and chunks."""
    if request.param == "many pieces":
        monkeypatch.setattr(nesting, "_MOST_ROWS", 8)
        monkeypatch.setattr(nesting, "_CHUNK_ROWS", 20)


@pytest.mark.parametrize("variances", VARIANCES.values(), ids=VARIANCES)
@pytest.mark.parametrize("layout", LAYOUTS.values(), ids=LAYOUTS)
def test_a_profile_is_that_of_the_dense_matrices(layout, variances):
    model, columns, *_ = built(layout, seed=3)
    dense = Dense.of(model, columns, variances)
    at = profile(model, variances)
    x, y, p, parts = model.design, model.residual, dense.p, dense.parts
    n = y.size
    logdet, squares = np.linalg.slogdet(dense.v)[1], y @ p @ y
    fixed = np.linalg.slogdet(x.T @ dense.vi @ x)[1]
    assert at.full == close(-0.5 * (logdet + squares + n * np.log(2 * np.pi)))
    restricted = -0.5 * (logdet + fixed + squares + (n - 2) * np.log(2 * np.pi))
    assert at.restricted == close(restricted)
    assert at.step == close(dense.phi @ x.T @ dense.vi @ y)
    assert at.covariance == close(dense.phi)
    assert at.projected == close(p @ y)
    assert at.precision == close(np.diag(p))
    assert at.weighted_design == close(dense.vi @ x)
    assert at.inverse_diagonal == close(1 / (model.diagonal + variances[2] * np.diag(parts[2])))
    trace = [np.trace(p @ k) for k in parts]
    assert at.trace == close(trace)
    assert at.score == close([0.5 * (y @ p @ k @ p @ y - t) for k, t in zip(parts, trace)])  # noqa: B905
    information = np.array([[0.5 * np.trace(p @ k @ p @ m) for m in parts] for k in parts])
    assert at.information == close(information)
    twice_average = np.array([[y @ p @ k @ p @ m @ p @ y for m in parts] for k in parts])
    assert at.observed == close(twice_average - information)
    right = np.random.default_rng(1).normal(size=(n, 3))
    assert at.project(right) == close(p @ right)
    assert model.times(right, variances) == close(dense.v @ right)
    towards = dense.phi @ x.T @ dense.vi
    assert sensitivity(model, at) == close([towards @ k @ towards.T for k in parts])


@pytest.mark.parametrize("kept", [(0,), (1,), ()], ids=["packs alone", "runs alone", "neither"])
def test_components_may_be_missing(kept):
    """With fewer components the terms of the others stay what they are at a variance of 0."""
    model, columns, pack, run = built(LAYOUTS["shared runs"], seed=4)
    owner = model.columns.slots.owner
    numbers = {old: new for new, old in enumerate(kept)} | {SOURCE: SOURCE}
    left = np.isin(owner, list(numbers))
    fewer = MixedModel(
        model.residual,
        model.design,
        model.diagonal,
        columns_of(
            sparse.csr_array(columns[:, left]), [numbers[o] for o in owner[left]], pack, run
        ),
        tuple(model.components[i] for i in (*kept, 2)),
    )
    variances = np.where(np.isin(np.arange(3), (*kept, 2)), VARIANCES["all"], 0.0)
    at, whole = profile(fewer, variances[[*kept, 2]]), profile(model, variances)
    assert at.restricted == close(whole.restricted)
    assert at.score == close(whole.score[[*kept, 2]])
    assert at.information == close(whole.information[np.ix_([*kept, 2], [*kept, 2])])


@pytest.mark.parametrize("layout", LAYOUTS.values(), ids=LAYOUTS)
def test_columns_pull_and_push_as_the_dense_matrix(layout):
    model, columns, *_ = built(layout, seed=5)
    rng = np.random.default_rng(2)
    right, coefficients = rng.normal(size=(len(columns), 2)), rng.normal(size=(columns.shape[1], 2))
    assert model.columns.pull(right) == close(columns.T @ right, 1e-12)
    assert model.columns.push(coefficients) == close(columns @ coefficients, 1e-12)


@pytest.mark.parametrize("layout", LAYOUTS.values(), ids=LAYOUTS)
def test_whitened_columns_have_the_products_of_the_inverse(layout):
    model, columns, *_ = built(layout, seed=6)
    variances = VARIANCES["no runs"]
    dense = Dense.of(model, columns, variances)
    n = len(columns)
    inverse = inverse_of(
        model.columns, model.scale(variances), model.variance(variances), np.zeros((n, 0)),
        np.zeros((n, 0)),
    )  # fmt: skip
    right = np.random.default_rng(1).normal(size=(n, 3))
    white = inverse.whiten(right)
    assert white.T @ white == close(right.T @ dense.vi @ right)
    assert inverse.whiten(right[:, 0]) == close(white[:, 0])


def test_columns_of_one_run_or_pack_share_their_slots():
    """Eight runs of two sources and an effect each need three slots, not 24."""
    layout = Layout(((5, 5), (5, 5), (5, 5), (5, 5)), wide=3, two_packs=1, two_runs=1)
    model, columns, *_ = built(layout, seed=7)
    assert columns.shape[1] == 8 * 3 + 4 * 3 + 3 + 1 + 1
    assert model.columns.slots.widths == (3, 4, 4)
