"""Background tasks: carrying out due changes, and ranking open cases again."""
