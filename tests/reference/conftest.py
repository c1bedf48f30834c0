"""Lets these tests draw friction points with the generator of the coverage study."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "studies"))
