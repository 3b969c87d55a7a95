"""Hints: possible mistakes at the bench, their probabilities, and what they would change.

Nothing here changes an observation: `hints` names what a person may want to check again.
"""

from matcher.decision.likely_slips.report import hints
from matcher.results import Hint

__all__ = ["Hint", "hints"]
