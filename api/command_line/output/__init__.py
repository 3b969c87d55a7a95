"""Output of the command line: plain tables that are readable without colour and at 80 columns."""
