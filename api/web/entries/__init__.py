"""One half's or series' page, and its printed sheets."""
