"""The command line; the one place that knows click and exit codes."""
