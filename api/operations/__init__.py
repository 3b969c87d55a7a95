"""Everything that people do to the catalogue, each act once, for routes, pages and commands."""
