"""Frames to channels in SI: calibration curves, thermocouples, sensor lag."""
