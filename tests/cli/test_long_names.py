"""Names on the command line that no system takes: one message, as of any that is not there."""

import pytest
from click.testing import CliRunner

from rigdata.campaign.campaign import read_campaign
from rigdata.cli.main import main
from rigdata.errors import CampaignError

LONG = "x" * 5000


@pytest.mark.parametrize(
    "words",
    [
        ["check", LONG],
        ["fit", LONG],
        ["plan", LONG],
        ["calibrations", LONG],
        ["lock", "differential.toml", "--table", LONG],
    ],
    ids=lambda words: words[0],
)
def test_they_are_told_to_be_absent(words):
    told = CliRunner().invoke(main, words)
    assert told.exit_code == 2
    assert "there is no" in told.output


def test_in_python_too():
    with pytest.raises(CampaignError, match="no such file"):
        read_campaign(LONG)
