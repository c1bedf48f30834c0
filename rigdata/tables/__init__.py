"""Coefficient tables for setup calculators."""
