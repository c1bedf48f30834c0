"""Friction coefficients with honest uncertainty from the logs of a clutch-plate bench rig."""

__version__ = "0.1.0"
