"""From a coefficient table to the lock torque of a differential, and back to its setup."""
