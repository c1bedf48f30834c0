"""Frames to channels in SI: calibration curves, thermometers, sensor lag."""
