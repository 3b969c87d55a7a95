"""How probable what was observed is for each half: one module for each kind of evidence."""
