"""Figures of a session: each function takes what to draw and a width, and gives a Figure."""
