"""Which measurement to take next, how fine, and when further measuring cannot change the order."""
