"""What the command line prints: plain tables that read well without colour, and at 80 columns."""
