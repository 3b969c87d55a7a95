"""The density of a half that is not in the catalogue."""
