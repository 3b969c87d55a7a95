"""The most that a request may hold, wherever it comes from: the interface, a page, a file on the command line.

What the matcher or the catalogue limits themselves is defined there.
"""

from __future__ import annotations

from catalog.cases import specimens
from matcher import observations
from matcher.imaging.clicks import clicked_rows, inputs

MAX_OBSERVATIONS = observations.MAX_OBSERVATIONS
"""Most observations in one request: ten times what the feature table can ask of one half, its mate and the pair."""

MAX_REPEATS = 100
"""Most repeated readings in one observation of a request; more would not shrink an uncertainty that the instrument
bounds. The matcher takes more (`matcher.observations.MAX_READINGS`), since stored evidence may hold more."""

MAX_PICTURES = specimens.MAX_PICTURES
"""Most pictures in one request: both halves and the pair from every side."""

MAX_ROWS = clicked_rows.MOST_ROWS
"""Most rows of contacts in one picture: connectors of more are rare, and two of their rows tell the rest."""

MAX_POINTS = inputs.MOST_POINTS
"""Most points clicked in one row: the largest count of contacts that is taken at all."""

MAX_PROFILE = 10_000
"""Most grey levels of one profile: the width of the largest picture that is taken, and half as much again."""

MAX_CANDIDATES = 100
"""Most candidates in one answer; beyond that no person reads on."""
