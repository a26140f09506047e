"""One sampled car: a circuit with a fault and drawn unknowns, and its meter. Right of solve, left of words.

Nothing here is linearised, and nothing is shared with the predictions but the solver: what is drawn, how a
meter rounds and how a joint drifts is written again, so that a test by sampled cars can fail.
"""

from troubleshoot.car.car import Car

__all__ = ["Car"]
