"""The machine review: what a careful first reader would ask about an entry before it is saved. Pure but for one module.

`review` checks an entry against its neighbours, which `read_neighbours` reads from the catalogue.
"""

from catalog.review.entry_review import review
from catalog.review.findings import Code, Finding, Severity, is_clean, severe
from catalog.review.neighbour_query import read_neighbours
from catalog.review.neighbours import Neighbours, among

__all__ = ["Code", "Finding", "Neighbours", "Severity", "among", "is_clean", "read_neighbours", "review", "severe"]
