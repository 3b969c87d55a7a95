"""The `otherhalf` command."""
