"""Do campaigns of any make go through the command line without a traceback?

    python -m tests.studies.random_campaigns [CAMPAIGNS] [FIRST SEED]

Each has one to three packs of two materials, a law and a rate of its own, and in most of
them some runs were never made.  `rigdata run` ends with 0, 3 or, where nothing can be
reduced, 1 and a message; anything else is printed with its seed.
"""

from __future__ import annotations

import random
import sys
import tempfile
import traceback
import warnings
from collections import Counter
from dataclasses import replace
from pathlib import Path

from click.testing import CliRunner

from rigdata.cli.main import main as rigdata
from rigdata.simulation.campaign import simulate_campaign
from rigdata.simulation.demo import study_spec
from rigdata.simulation.spec import CampaignSpec
from tests.studies.simulated import CURVES, plan


def campaign(draw: random.Random) -> CampaignSpec:
    """A small campaign, as often as not with up to half of its runs missing."""
    kind, packs = draw.choice(("study", *CURVES)), draw.choice((1, 2, 2, 3))
    rate = draw.choice((10.0, 20.0, 50.0))
    spec = study_spec(packs=packs) if kind == "study" else plan(kind, packs, rate)
    if draw.random() < 0.4:
        return spec
    made = draw.sample(spec.runs, draw.randint(-(-len(spec.runs) // 2), len(spec.runs) - 1))
    return replace(spec, runs=tuple(run for run in spec.runs if run in made))


def outcome(seed: int) -> str:
    """Run one campaign and return how it ended, printing what should not have been."""
    with tempfile.TemporaryDirectory() as name, warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        folder = Path(name) / "campaign"
        simulate_campaign(campaign(random.Random(seed)), seed, folder)
        done = CliRunner().invoke(rigdata, ["run", str(folder), "--workers", "1"])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        print(f"{seed}: {done.exception!r}", flush=True)
        traceback.print_exception(*done.exc_info)
        return "traceback"
    for own in (one for one in caught if "rigdata" in one.filename):
        print(f"{seed}: {own.filename}:{own.lineno}: {own.message}", flush=True)
    if done.exit_code == 1:
        print(f"{seed}: {done.output.strip()[-300:]}", flush=True)
    return f"exit code {done.exit_code}"


def main() -> None:
    """Print how many ended how."""
    count, first = (int(sys.argv[i]) if len(sys.argv) > i else d for i, d in ((1, 100), (2, 0)))
    ends = Counter(outcome(seed) for seed in range(first, first + count))
    print(", ".join(f"{end}: {number}" for end, number in sorted(ends.items())))


if __name__ == "__main__":
    main()
