"""Observations as people write them: the short form, its checks, and where an error is told."""
