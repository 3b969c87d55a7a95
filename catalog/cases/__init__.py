"""Open cases: specimens that are not identified yet, what others say about them, and how they are resolved."""
