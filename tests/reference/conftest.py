"""Lets these tests draw friction points as the coverage study does, and read the NIST sets."""

import sys
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[1] / "studies"), str(Path(__file__).parent)]
