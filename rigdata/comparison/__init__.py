"""Ratios of materials, batches and states, with verdicts."""
