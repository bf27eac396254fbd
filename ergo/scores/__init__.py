"""Printed tables applied: a posture track in, steps, scores and levels per frame out. Pure."""
