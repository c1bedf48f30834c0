"""One self-contained HTML report."""
