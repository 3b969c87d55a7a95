"""Land patterns: those that are stored, those that are calculated for dummies, and files of both."""
