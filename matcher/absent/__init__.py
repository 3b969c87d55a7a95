"""The hypothesis that the half is not in the catalogue, and its density."""
