"""Whether a half and its mate carry a current by their ratings."""
