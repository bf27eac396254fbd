"""Fitting of what the program has learned: stored examples in, model files out."""
