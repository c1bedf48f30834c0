"""Bedding-in: from which sliding work on a pack's coefficient is steady."""
