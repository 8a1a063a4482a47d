"""What every room shares: flags, errors, settings, uncertainty, records."""
