"""The plan of a campaign that is still to be made: which tests, in which order, how good."""
