"""Raw logs to flagged frames, in the units the logger wrote."""
