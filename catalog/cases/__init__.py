"""Open cases: specimens that somebody measured and nobody has named yet, what others say of them, and how they end."""
