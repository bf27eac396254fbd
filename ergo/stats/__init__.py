"""Time in posture: angles and scores in, shares, holds and percentiles with intervals out. Pure."""
