"""The list of halves, and several halves compared."""
