"""What an entry is, without any database."""
