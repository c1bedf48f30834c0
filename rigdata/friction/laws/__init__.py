"""Formulas for the friction coefficient, one a file."""
