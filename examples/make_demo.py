"""Make the demo campaign and the demo rig's calibration records again.

Run it from anywhere; the same seed gives the same bytes.
"""

from __future__ import annotations

from pathlib import Path

from rigdata.simulation.demo import write_example

REPOSITORY = Path(__file__).resolve().parent.parent
CAMPAIGN = REPOSITORY / "examples" / "ramp-differential"
RIG = REPOSITORY / "calibration"


def main() -> None:
    for log in (CAMPAIGN / "logs").glob("R*.csv"):
        log.unlink()
    write_example(CAMPAIGN, size="small", rig_folder=RIG, force=True)
    total = sum(path.stat().st_size for path in CAMPAIGN.rglob("*") if path.is_file())
    print(f"{CAMPAIGN.relative_to(REPOSITORY)}: {total / 1e6:.1f} MB")


if __name__ == "__main__":
    main()
