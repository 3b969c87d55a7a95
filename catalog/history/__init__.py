"""What happened to the catalogue, and changing it: every change is a new revision, and a row of the journal."""
