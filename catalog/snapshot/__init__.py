"""Snapshots: one state of the whole catalogue in memory, in the form of the matcher and the search."""
