"""How any setup calculator reads a coefficient table: plain Python, no packages.

    python examples/table_reader.py results/tables/rough/new 0.25 80 1.4

prints mu and its 95 % intervals at 0.25 m/s, 80 degC and 1.4 MPa.
"""

import bisect
import itertools
import json
import math
import pathlib
import sys


def load(folder):
    """Return the kinetic table of one material and state."""
    path = pathlib.Path(folder) / "coefficients.json"
    table = json.loads(path.read_text(encoding="utf-8"))
    if table["format"] != 1:
        raise ValueError(f"format {table['format']} of {path} is not known here")
    return table["kinetic"]


def is_inside(surface, speed, temperature, pressure):
    """Whether a condition lies in the hull of what was tested, with its small tolerance."""
    hull = surface["envelope"]
    place = (math.log(max(speed, 1e-6)), temperature, math.log(pressure))
    scaled = [x / unit for x, unit in zip(place, hull["unit"], strict=True)]
    return all(
        sum(n * x for n, x in zip(normal, scaled, strict=True)) <= offset + 1.0 + 1e-9
        for normal, offset in zip(hull["normals"], hull["offsets"], strict=True)
    )


def read(surface, field, *condition):
    """Return a field, such as "mu" or "mean_low", by straight lines between the nodes."""
    nodes = [axis["values"] for axis in surface["axes"]]
    if not all(values[0] <= x <= values[-1] for values, x in zip(nodes, condition, strict=True)):
        raise ValueError(f"{condition} lies outside the table")
    if not is_inside(surface, *condition):
        raise ValueError(f"{condition} was not tested")
    ends = []
    for values, x in zip(nodes, condition, strict=True):
        low = min(max(bisect.bisect_right(values, x) - 1, 0), max(len(values) - 2, 0))
        share = (x - values[low]) / (values[low + 1] - values[low]) if len(values) > 1 else 0.0
        ends.append([(low, 1.0 - share), (low + 1, share)] if share else [(low, 1.0)])
    grid = surface["arrays"][field]
    corners = itertools.product(*ends)
    return sum(wv * wt * wp * grid[v][t][p] for (v, wv), (t, wt), (p, wp) in corners)


if __name__ == "__main__":
    kinetic, asked = load(sys.argv[1]), [float(value) for value in sys.argv[2:5]]
    for name in ("mu", "mean_low", "mean_high"):
        print(f"{name:10} {read(kinetic, name, *asked):.4f}")
