"""The entries of the catalogue, independent of any database."""
