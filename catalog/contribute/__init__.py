"""Contributions from people: reviewed by machine, then written."""
