"""Which contact of the mate carries what, in every view, and what a misplaced half would touch."""
