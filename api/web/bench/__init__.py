"""The bench: boxes in a drawing, and the answer beside it."""
