"""Signing in, one's tokens, the journal, and what maintainers do."""
