"""A second scenario: two incoming batches of plates beside the batch in use."""

from __future__ import annotations

import datetime

from rigdata.simulation.rig import RigDesign
from rigdata.simulation.scenario import OIL, ROUGH, SHORT, standard_runs
from rigdata.simulation.spec import CampaignSpec, PackDesign

IN_USE, LOW, ALIKE = "LA-07", "LA-15", "LA-16"
FACTORS = {IN_USE: 1.0, LOW: 0.96, ALIKE: 0.995}

_DAY = datetime.date(2025, 5, 12)
_PACKS = 6
_LETTERS = "FGL"  # with the seed of the demo these packs are a fair sample of their batches
_TESTS = ("zero", "drag", "sweep-middle", "load")


def incoming_spec() -> CampaignSpec:
    """Return the plan: six bedded packs of each batch, a speed and a load sweep of each."""
    packs = tuple(
        PackDesign(f"{letter}{number}", ROUGH.name, batch=batch, state="bedded")
        for letter, batch in zip(_LETTERS, FACTORS, strict=True)
        for number in range(1, _PACKS + 1)
    )
    tests: dict[str, tuple[str, ...]] = dict.fromkeys((pack.name for pack in packs), _TESTS)
    return CampaignSpec(
        name="rough-faced plates, incoming batches",
        baseline=ROUGH.name,
        rig=RigDesign(),
        materials=(ROUGH,),
        packs=packs,
        runs=standard_runs(packs, tests, SHORT, _DAY),
        date=_DAY,
        oil=OIL,
        batch_factors=FACTORS,
    )
