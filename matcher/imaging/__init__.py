"""Measurements from pictures: clicked points and found contacts."""
