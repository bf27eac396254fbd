"""Analyses and artefacts made in processes of their own, one after the other."""
