"""From a picture's bytes to grey levels, to marked points and rows of contacts."""
