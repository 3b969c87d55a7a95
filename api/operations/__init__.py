"""What people do to the catalogue, each act once, used by routes, pages and commands alike."""
