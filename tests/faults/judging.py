"""What became of a fault that was put into one log of a campaign whose truth is known."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from unittest import mock

import numpy as np

from rigdata.campaign.campaign import Run, read_campaign
from rigdata.errors import Severity
from rigdata.reduction import reduce, work
from rigdata.reduction.drag import fit_drag
from rigdata.reduction.faults import levels
from rigdata.reduction.results import Reduction
from rigdata.simulation.truth import Truth
from tests.faults.inject import Injection, Injector
from tests.faults.log_text import LogText

WRONG_U = 3.0
_MOVED_U = 0.5


@dataclass(frozen=True)
class Outcome:
    """What became of one fault.

    Attributes
    ----------
    named : str
        ``rightly``: a finding has its kind, run and channel; ``wrongly``: the run has
        findings, but none that has; ``missed``; ``traceback``.
    findings : tuple of str
        All that was found, as ``run kind channel``.
    accused : int
        Other runs that something was found in.
    silent : int
        Points used without a warning that the fault moved to more than 3 u from the truth.
    moved : bool
        Whether the fault moved or took away any point by more than half its u.
    """

    injection: Injection
    run: str
    procedure: str
    named: str
    findings: tuple[str, ...]
    accused: int
    silent: int
    moved: bool
    error: str = ""


class Bench:
    """One simulated campaign, reduced once; then again and again with one log spoilt."""

    def __init__(self, folder: Path, truth: Truth) -> None:
        self.folder, self.truth = folder, truth
        self.campaign = read_campaign(folder)
        self._kept: dict[object, object] = {}
        with self._remembering():
            self.clean = reduce.reduce_campaign(self.campaign)

    def runs_for(self, procedures: frozenset[str]) -> list[Run]:
        """Return the runs of some procedures."""
        return [r for r in self.campaign.runs if r.procedure in procedures and not r.exclude]

    def spoilt(self, inject: Injector, run: Run, rng: np.random.Generator) -> Outcome:
        """Put a fault into the log of one run, reduce, judge, and put the log back."""
        whole = run.log.read_bytes()
        injection = None
        try:
            log = LogText.read(run.log)
            injection = inject(log, rng)
            log.write()
            with self._remembering():
                found = reduce.reduce_campaign(read_campaign(self.folder))
            return self._judged(injection, run, found)
        except Exception as fault:  # a traceback is an outcome, and a bad one
            return Outcome(
                injection, run.id, run.procedure, "traceback", (), 0, 0, True, repr(fault)
            )
        finally:
            run.log.write_bytes(whole)

    def _judged(self, injection: Injection, run: Run, found: Reduction) -> Outcome:
        own = [fault for fault in found.faults if fault.run == run.id]
        kinds = {injection.kind, injection.also}
        right = any(
            fault.kind.slug in kinds and fault.channel == injection.channel for fault in own
        )
        silent, moved = self._effect(found)
        return Outcome(
            injection,
            run.id,
            run.procedure,
            "rightly" if right else "wrongly" if own else "missed",
            tuple(f"{f.run} {f.kind.slug} {f.channel}" for f in found.faults),
            len({fault.run for fault in found.faults} - {run.id}),
            silent,
            moved,
        )

    def _effect(self, found: Reduction) -> tuple[int, bool]:
        """Count points wrong in silence, and tell whether any point moved or went."""
        silent, moved = 0, False
        warned = _warned(found)
        for run in self.campaign.runs:
            now, before = (_used(result, run.id) for result in (found, self.clean))
            if before.size == 0:
                continue
            points, clean = found.points, self.clean.points
            if now.size == before.size:
                change = np.abs(points.mu[now] - clean.mu[before])
                if (change <= _MOVED_U * points.u_mu[now]).all():
                    continue
            if now.size != before.size:
                moved = True
            for i in now:
                middle = 0.5 * (points.start_s[i] + points.end_s[i])
                old = before[
                    np.argmin(np.abs(0.5 * (clean.start_s + clean.end_s)[before] - middle))
                ]
                u = float(points.u_mu[i])
                if abs(points.mu[i] - clean.mu[old]) <= _MOVED_U * u:
                    continue
                moved = True
                wrong = abs(points.mu[i] - self._true(points, i, old)) > WRONG_U * u
                was = abs(clean.mu[old] - self._true(clean, old, old)) > WRONG_U * clean.u_mu[old]
                silent += int(wrong and not was and run.id not in warned)
        return silent, moved

    def _true(self, points, i: int, clean: int) -> float:
        """Coefficient that a point should have found: that of its pack, run and bedding."""
        pack, run = str(points.pack[i]), str(points.run[i])
        where = points.temperature_c[i], points.pressure_mpa[i]
        if points.kind[i] == "static":
            mu = self.truth.pack_static_mu(pack, points.dwell_s[i], *where)
        else:
            mu = self.truth.pack_mu(pack, points.slip_speed_m_s[i], *where)
        plates = self.campaign.packs[pack]
        area = np.pi * (plates.outer_radius_mm**2 - plates.inner_radius_mm**2)
        area *= plates.friction_faces * plates.contact_area_fraction
        work = 1e3 * float(self.clean.points.pack_work_kj[clean]) / area
        law = self.truth.materials[self.truth.packs[pack].material]
        bedding = float(law.bedding_factor(work)) if plates.state == "new" else 1.0
        return float(mu) * self.truth.run_factors[run] * bedding

    @contextmanager
    def _remembering(self) -> Iterator[None]:
        """Let a log that is as it was be read and reduced only once."""
        real = {name: getattr(work, name) for name in ("reduce_zero_run", "reduce_drag_run")}
        examine, whole = work.examine_run, work.reduce_run

        def examined(run, pack, rig, _cache):
            key = ("examined", run.id, run.log.read_bytes())
            return self._once(key, lambda: examine(run, pack, rig))

        def plain(name):
            def call(one, *rest):
                return self._once((name, id(one)), lambda: real[name](one, *rest))

            return call

        def reduced(one, pack, rig, drag, zero):
            drag_key = None if drag is None else (drag.runs, drag.coefficients.tobytes())
            key = ("reduced", id(one), drag_key, rig.inertia_kg_m2, rig.inertia_u_kg_m2)
            return self._once(key, lambda: whole(one, pack, rig, drag, zero))

        def fitted(data, oil, *, borrowed=False):
            key = tuple((one.run, one.torque.tobytes()) for one in data)
            return self._once(
                ("drag", key, borrowed), lambda: fit_drag(data, oil, borrowed=borrowed)
            )

        with ExitStack() as stack:
            for module in (reduce, levels):
                stack.enter_context(mock.patch.object(module, "fit_drag", fitted))
            stack.enter_context(mock.patch.object(work, "examine_run", examined))
            stack.enter_context(mock.patch.object(work, "reduce_run", reduced))
            for name in real:
                stack.enter_context(mock.patch.object(work, name, plain(name)))
            yield

    def _once(self, key: object, make):
        if key not in self._kept:
            self._kept[key] = make()
        return self._kept[key]


def _used(found: Reduction, run: str) -> np.ndarray:
    return np.flatnonzero((found.points.run == run) & found.points.used)


def _warned(found: Reduction) -> set[str]:
    """Return the runs of which a warning is given: their own, or one of their pack's drag."""
    said = {
        run
        for run, notices in found.said.items()
        if any(notice.severity is not Severity.NOTE for notice in notices)
    }
    runs = {run.id: run for run in found.campaign.runs}
    packs = {runs[run].pack for run in said if runs[run].procedure in ("zero", "drag")}
    for notice in found.notices:
        if notice.severity is not Severity.NOTE and notice.where.startswith("pack"):
            packs |= set(re.findall(r"[\w.-]+", notice.where)) & set(found.campaign.packs)
    return said | {run.id for run in found.campaign.runs if run.pack in packs}
