"""What every request passes through: settings, access, paging, problems, logs."""
