"""History of the catalogue: every change makes a new revision and a row in the journal."""
