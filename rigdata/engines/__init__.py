"""Engines: where a function is applied to many runs, here or elsewhere."""
