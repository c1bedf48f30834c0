"""Do two rigs find the same coefficient for the same plates, within what both say of themselves?

    python examples/recipes/two_rigs.py TABLE TABLE

takes a folder of tables from each rig. The number is E_n of ISO 13528: the difference over the
expanded uncertainties of both. Up to 1 the rigs agree; beyond, one of them knows less than it
says. It takes the rigs as independent, so it is of no use where they share a calibration record.
"""

import sys

import numpy as np

import rigdata

one, other = (rigdata.read_table(folder) for folder in sys.argv[1:3])
_, temperatures, pressures = one.axes
print("m/s     degC   MPa    mu one  mu two  E_n")
told = 0
for speed in np.geomspace(0.01, 0.5, 6):
    for temperature in (temperatures[0] + temperatures[-1]) * np.array([0.45, 0.55]):
        where = (speed, temperature, float(np.median(pressures)))
        try:
            a, b = one.mu(*where), other.mu(*where)
        except rigdata.RigdataError:
            continue  # not tested on both
        expanded = np.hypot(a.mean_high - a.mu, b.mean_high - b.mu)
        e_n = (a.mu - b.mu) / expanded
        verdict = "" if abs(e_n[0]) <= 1.0 else "  they disagree"
        numbers = f"{a.mu[0]:.4f}  {b.mu[0]:.4f}  {e_n[0]:+.2f}{verdict}"
        print(f"{speed:.3f}  {temperature:5.0f}  {where[2]:4.2f}   {numbers}")
        told += 1
if not told:
    sys.exit("The two rigs have tested no condition in common.")
