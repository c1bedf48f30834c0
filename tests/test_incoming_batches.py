"""The incoming batches of the demo, from their logs to their verdicts."""

import pytest
from click.testing import CliRunner

from rigdata.cli.main import main
from rigdata.comparison.batches_file import read_batches
from rigdata.simulation.incoming import ALIKE, FACTORS, IN_USE, LOW


@pytest.fixture(scope="module")
def checks(tmp_path_factory):
    folder = tmp_path_factory.mktemp("incoming") / "campaign"
    for args in (
        ["example", folder, "--scenario", "incoming-batches"],
        ["reduce", folder],
        ["fit", folder],
        ["compare", folder, "--reference-batch", IN_USE],
    ):
        result = CliRunner().invoke(main, [str(arg) for arg in args])
        assert result.exit_code == 0, result.output
    return {check.batch: check for check in read_batches(folder / "results" / "batches.json")}


def test_a_batch_four_percent_low_is_found(checks):
    assert checks[LOW].verdict == "lower"
    assert checks[LOW].low < FACTORS[LOW] < checks[LOW].high
    assert checks[LOW].against == (IN_USE,)


def test_half_a_percent_is_not_resolved_and_the_packs_to_do_it_are_told(checks):
    check = checks[ALIKE]
    assert check.verdict == "not resolved"
    assert check.more_packs > 6
    assert f"test {check.more_packs} more packs of each" in check.words
    assert check.resolvable > 0.005


def test_calibration_cancels_between_batches_of_one_rig(checks):
    # Six packs of each that differ by 2 %, and nothing else to speak of.
    check = checks[ALIKE]
    packs_alone = check.pack_sd * (1.0 / 6.0 + 1.0 / 6.0) ** 0.5
    assert check.u == pytest.approx(packs_alone, rel=0.03)
