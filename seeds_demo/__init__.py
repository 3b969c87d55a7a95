"""The invented demo catalogue and demo specimens, as data, and their loader.

``data/catalogue.jsonl`` holds records of `catalog.model.entries`, one a line: series with laws, single halves, matings.
The lines are the source; they are edited by hand. ``data/specimens.json`` holds specimens whose truth is known:
readings were simulated from the true half with the spread of its process, the errors of the instrument and, where a
specimen's ``slips`` say so, a gross slip. They show how the program answers and were chosen to be worth showing: a
share of them identified is no measure of how often it is right.

All makers, series and part numbers are invented. The names are words coined from birds and field plants. Each was
looked up, alone, in a full-text index of public source and documentation, in lists of package names of several
registries, and in the footprints of an open electronics library; names found there as words of their own were dropped.
Where a name is also a piece of longer words, the index's first ten places alone were read. That is as far as could be
known: neither the live web nor any trade mark register was searched.
"""
