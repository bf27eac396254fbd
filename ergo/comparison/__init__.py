"""Sessions against each other and over time: what differs, what is chance. Pure."""
