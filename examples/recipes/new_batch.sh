#!/bin/sh
# Is the new batch of plates like the one in use, and how many packs would it take to tell?
#
# From the repository's folder, after 'sh examples/run'.
set -u  # not -e: code 3 means done, with something left out

# Every batch against those before it; within 3 % they count as alike.
rigdata compare examples/ramp-differential/results --batch-margin 0.03

# The same against one batch that is named, as a goods-in check would do it.
rigdata compare examples/ramp-differential/results \
    --reference-batch LA-07 --batch-margin 0.03

# What limits the answer: with few packs it is the spread between them.
rigdata budget examples/ramp-differential/results --material rough-on-steel --state new
