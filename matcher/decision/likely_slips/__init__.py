"""Hints: what may have gone wrong at the bench, how probable that is, and what it would change.

Nothing here acts by itself: `hints` says what a person may want to look at again.
"""

from matcher.decision.likely_slips.report import hints
from matcher.results import Hint

__all__ = ["Hint", "hints"]
