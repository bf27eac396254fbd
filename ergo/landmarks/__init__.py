"""Body points found: frames in, one pose track per person out."""
