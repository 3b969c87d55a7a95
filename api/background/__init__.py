"""What runs by itself beside the requests: due changes, and open cases looked at again."""
