#!/bin/sh
# How do I get the coefficients into a spreadsheet, or into another program's own format?
#
# From the repository's folder, after 'sh examples/run'. The workbook needs the optional
# package: python3 -m pip install ".[workbook]"
set -u  # not -e: code 3 means done, with something left out

# One workbook a material and state, beside coefficients.csv: a sheet a pressure, mu and intervals.
rigdata tables examples/ramp-differential/results --format xlsx --format mat --format modelica

# points.csv, comparison.csv and coefficients.csv open as they are; this says what the columns are.
rigdata docs files
