"""Routes of the JSON interface, one module per subject."""
