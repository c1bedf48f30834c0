#!/bin/sh
# Which preload gives the old lock with the new plates, and which one the breakaway that I want?
#
# From the repository's folder, after 'sh examples/run'.
set -u  # not -e: code 3 means done, with something left out

# Other plates, same lock: the calibration of the rig cancels in the answer.
rigdata lock examples/ramp-differential/differential.toml \
    --table examples/ramp-differential/results/tables/steel-on-steel/new \
    --against examples/ramp-differential/results/tables/rough-on-steel/new \
    --show swap --temperature 95

# 120 N m on the bench, one output held and the case free: static friction counts.
rigdata lock examples/ramp-differential/differential.toml \
    --table examples/ramp-differential/results/tables/rough-on-steel/new \
    --show breakaway --breakaway 120
