"""Advice on the next measurement: which to take, how precisely, and when further measuring cannot change the order."""
