"""The machine review: what a careful first reader would ask about an entry before it is saved. Pure but for one module.

`review` judges an entry by what stands around it, which `surroundings` reads from the catalogue.
"""

from catalog.review.around import Surroundings, among
from catalog.review.findings import Code, Finding, Severity, is_clean, severe
from catalog.review.gathering import surroundings
from catalog.review.reviewing import review

__all__ = ["Code", "Finding", "Severity", "Surroundings", "among", "is_clean", "review", "severe", "surroundings"]
