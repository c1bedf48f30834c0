#!/bin/sh
# How does a setup calculator read the tables when rigdata is not there?
#
# From the repository's folder, after 'sh examples/run'. The reader is sixty lines of plain
# Python without any package; it refuses what was not tested, as rigdata does.
set -u  # not -e: code 3 means done, with something left out

# mu and the interval of its mean at 0.1 m/s, 95 degC and 1.5 MPa.
python examples/table_reader.py \
    examples/ramp-differential/results/tables/rough-on-steel/new 0.1 95 1.5
python examples/table_reader.py \
    examples/ramp-differential/results/tables/steel-on-steel/new 0.1 95 1.5
