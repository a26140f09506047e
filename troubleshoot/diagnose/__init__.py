"""Belief, slips, next check, explanation. A pure function of table and evidence. Right of expect, left of session."""
