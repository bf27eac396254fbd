"""Time in posture of one session: shares, static postures, percentiles. Pure."""
