"""Observations as people write them: the short form, its checks, and the places of errors."""
