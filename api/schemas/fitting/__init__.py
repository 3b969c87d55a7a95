"""Requests and answers of what follows identification."""
