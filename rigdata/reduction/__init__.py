"""Channels to friction points: corrections, windows, coefficients and their sources."""
