"""What every request passes: settings, access, paging, problems, logs."""
