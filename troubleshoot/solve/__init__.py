"""Nodal analysis in numpy, SI floats: branches and devices as arrays. Right of files, left of car."""
