"""Named sources, effective sample size, degrees of freedom, covariance, Monte Carlo."""
