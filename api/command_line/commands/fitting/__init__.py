"""Commands of what follows identification."""
