"""Decision trees: their file, compiled, proved, walked, on a page and on paper. Right of diagnose, left of session."""
