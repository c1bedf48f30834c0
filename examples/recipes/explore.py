"""What do the points themselves say, before any law: pack by pack, run by run?

    python examples/recipes/explore.py RESULTS PICTURE.svg

The cells (# %%) run one by one in an editor that knows them, or in a notebook.
"""

# %% Points as a table
import sys
from pathlib import Path

import rigdata
from rigdata.figures.curves import speed_curve
from rigdata.figures.files import save_figure
from rigdata.figures.style import marks_of
from rigdata.friction.fits_file import read_fits

results = Path(sys.argv[1])
points = rigdata.read_points(results / "points.csv", results / "budget.csv")
frame = points.frame()
frame = frame[frame.used & (frame.kind == "kinetic")]

# %% Level and spread of each pack
print(frame.groupby(["material", "state", "pack"]).mu.agg(["size", "mean", "std"]).round(4))

# %% Rising against falling sweeps
print(frame.groupby(["material", "direction"]).mu.mean().round(4))

# %% The curve of the new plates against slip speed, with the points near its pressure
kinetic, _static = read_fits(results / "fits.json")
fits = {group: fit for group, fit in kinetic.items() if group.state == "new"}
reference = rigdata.read_campaign(results.parent).reference
near = abs(points.pressure_mpa / reference.pressure_mpa - 1.0) < 0.2
chosen = points.select(points.used & (points.kind == "kinetic") & near)
figure = speed_curve(chosen, fits, reference, marks_of(fits))
words = "One line a material with the intervals of its mean and of one more pack, and all points."
title = "Friction coefficient of new plates against slip speed"
save_figure(figure, Path(sys.argv[2]), title=title, description=words)
