"""From readings to a value with its uncertainty, by the GUM."""
