"""Friction points to fitted laws, scatter and envelope."""
