"""All stages in a row, and each stage from the files of the one before it."""
