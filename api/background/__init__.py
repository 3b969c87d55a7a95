"""Background tasks of the server: apply due changes, and rank open cases again."""
