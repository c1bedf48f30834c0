#!/bin/sh
# Is the uncertainty that I am told still right where the model is not a straight line?
#
# From the repository's folder, after 'sh examples/run'. The causes are drawn at random through
# the whole model (JCGM 101) and the result is held against the linear budget (JCGM 100).
# Take 200000 draws for a verdict; with these few it only says that they are too few.
set -u  # not -e: code 3 means done, with something left out

# One friction point; for the coefficient of a material give --material and --state instead.
rigdata budget examples/ramp-differential/results --point R004/1 --monte-carlo 10000
