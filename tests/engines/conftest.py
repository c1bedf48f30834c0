"""The small campaign with one dead run that the command line is tested on."""

from tests.cli.conftest import campaign as campaign
