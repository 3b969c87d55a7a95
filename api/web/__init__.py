"""The pages for people. They call the same functions as the JSON interface does, and never the interface itself."""
