"""The list of halves, and halves compared."""
