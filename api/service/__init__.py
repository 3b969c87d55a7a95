"""What all requests share: settings, access, paging, problems, logs."""
