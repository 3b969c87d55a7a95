"""The photo page: points marked in a picture become measurements."""
