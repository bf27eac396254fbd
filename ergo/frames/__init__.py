"""Pictures in: paths in, upright RGB frames with true times out."""
