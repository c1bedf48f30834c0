"""Every figure of the package; the one place that knows matplotlib."""
