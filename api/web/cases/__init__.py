"""Open cases: parts that are not identified yet."""
