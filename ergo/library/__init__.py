"""Many sessions by name, on SQLite or PostgreSQL."""
