"""Drawings of connector halves: from dimensions to shapes in mm, from shapes to SVG. No web, no database."""
