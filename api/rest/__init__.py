"""The addresses of the interface, one module per subject."""
