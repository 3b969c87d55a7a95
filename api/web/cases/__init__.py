"""Open cases: parts that nobody could name yet."""
