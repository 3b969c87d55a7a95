"""One state of the whole catalogue in memory, as the matcher and the search want it."""
