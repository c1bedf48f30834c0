#!/bin/sh
# What is left of the lock when the plates are worn, and when must they come out?
#
# From the repository's folder, after 'sh examples/run'.
set -u  # not -e: code 3 means done, with something left out

# Thickness, loss of bite and service life, from inspections.csv and the coefficients.
rigdata wear examples/ramp-differential/results

# The same pack with new and with worn plates, cold and hot.
rigdata lock examples/ramp-differential/differential.toml \
    --table examples/ramp-differential/results/tables/rough-on-steel/new \
    --against examples/ramp-differential/results/tables/rough-on-steel/worn \
    --show change --temperature 95,120
