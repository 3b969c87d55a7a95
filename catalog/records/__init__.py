"""Reading entries from the database and writing them."""
