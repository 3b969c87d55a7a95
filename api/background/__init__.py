"""Background tasks of the server: carry out due changes, and rank open cases again."""
