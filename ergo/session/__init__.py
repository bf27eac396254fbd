"""What travels between analysis, storage and reports. Pure."""
