"""Predictions and sensitivities for every suspect, and which suspects look alike. Right of words, left of diagnose."""
