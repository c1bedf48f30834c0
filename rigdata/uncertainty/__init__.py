"""Named sources, effective sample size, degrees of freedom, low-rank covariance."""
