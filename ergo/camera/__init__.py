"""Lens, level and place of the camera: notes and pictures in, cameras out."""
