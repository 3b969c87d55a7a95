"""Forms that add and revise entries, with the review's findings."""
