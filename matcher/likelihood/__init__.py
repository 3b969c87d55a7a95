"""Likelihood of the observations under each half: one module for each kind of evidence."""
