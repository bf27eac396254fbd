"""Several cameras on one session: tracks and angles of each in, one set out. Pure."""
