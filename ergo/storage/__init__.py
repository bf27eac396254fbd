"""Sessions on disk: a Session in, files out, and back again."""
