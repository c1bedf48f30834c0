"""What goes wrong on a bench, found in the logs and named: one module a kind or a family."""
