"""Many linear circuits that differ from one base in a few branches, solved together.

Nodal analysis: with incidence matrix A (nodes × branches), conductances g and sources e,
A·diag(g)·Aᵀ·v = A·(g∘e), node 0 being the reference (v = 0). A case that differs from the base in K
branches needs only a K×K system (Sherman, Morrison and Woodbury):
G'⁻¹ = Z - Z·U·(I + D·S)⁻¹·D·Uᵀ·Z with Z = G⁻¹, S = Uᵀ·Z·U, D = diag(Δg).
Cases in which that loses digits are solved anew.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

DIGITS_LOST = 1e-6
"""Relative error up to which a lifted solution is trusted; it is estimated as the largest entry of
(I + D·S)⁻¹ × the largest Δg·(ohms from the port's nodes to the reference) × the rounding of a float. A fixed
bound on the first alone let a 100 kohm joint be read as -913 ohm with the battery off, where whole islands
hang on leakage (found against ngspice)."""


@dataclass(frozen=True)
class Incidence:
    """Which nodes each branch joins: `a` and `b`, shape (branches,), node 0 the reference."""

    count: int
    a: Ints
    b: Ints

    def across(self, volts: Floats) -> Floats:
        """Volts across every branch, from node volts (..., nodes) to (..., branches)."""
        return np.asarray(volts[..., self.a] - volts[..., self.b])

    def matrix(self) -> Floats:
        """A without the reference row, shape (nodes - 1, branches)."""
        full = np.zeros((self.count, self.a.size))
        full[self.a, np.arange(self.a.size)] += 1.0
        full[self.b, np.arange(self.a.size)] -= 1.0
        return full[1:]


class Solved:
    """The solutions of C cases over one incidence. `volts` has shape (C, nodes)."""

    def __init__(
        self, net: Incidence, siemens: Floats, emf_v: Floats, base: int = 0, lost: float = DIGITS_LOST
    ) -> None:
        """Solves for `siemens` and `emf_v`, both (C, branches); row `base` is what the others differ from.

        Cases whose lifted solution may be off by more than `lost`, relative, are solved by themselves.

        Raises numpy.linalg.LinAlgError when a node has no path at all to the reference.
        """
        self.net = net
        self._lost = lost
        self.siemens = siemens
        self.emf_v = emf_v
        self._full = net.matrix()
        self._inverse = np.linalg.inv((self._full * siemens[base]) @ self._full.T)
        self._lift(siemens - siemens[base])
        driven = (siemens * emf_v) @ self._full.T
        self.volts = self.respond(driven)

    def _lift(self, delta: Floats) -> None:
        """Prepares the K×K part of every case, and the whole inverse of those that need it."""
        changed = delta != 0.0
        width = max(1, int(changed.sum(axis=1).max()))
        order = np.argsort(~changed, axis=1, kind="stable")[:, :width]
        step = np.take_along_axis(delta, order, axis=1)
        columns = self._inverse @ self._full  # z = Z·u for every branch
        s = (self._full.T @ columns)[order[:, :, None], order[:, None, :]]
        system = np.eye(width) + step[:, :, None] * s
        lifted = np.linalg.inv(_guarded(system))
        self._ports = order
        self._columns = columns.T  # (branches, nodes - 1)
        self._middle = lifted * step[:, None, :]
        held_ohm = np.concatenate([[0.0], np.diagonal(self._inverse)])
        port_ohm = np.maximum(held_ohm[self.net.a], held_ohm[self.net.b])[order]
        reach = (np.abs(step) * port_ohm).max(axis=1) * np.finfo(float).eps
        ill = np.abs(lifted).max(axis=(1, 2)) * reach > self._lost
        self._anew = np.flatnonzero(ill | ~np.isfinite(lifted).all(axis=(1, 2)))
        self._middle[self._anew] = 0.0
        if self._anew.size:
            scaled = self._full[None] * self.siemens[self._anew][:, None, :]
            self._own = np.linalg.inv(scaled @ self._full.T)

    def respond(self, injected: Floats) -> Floats:
        """Node volts (C, nodes) for amperes injected at all nodes but the reference, (nodes - 1,) or (C, ·)."""
        plain = injected @ self._inverse  # Z is symmetric
        injected = np.broadcast_to(injected, (self.siemens.shape[0], self._full.shape[0]))
        plain = np.broadcast_to(plain, injected.shape)
        at_ports = np.take_along_axis(plain @ self._full, self._ports, axis=1)
        weights = np.einsum("ckl,cl->ck", self._middle, at_ports)
        answer = plain - np.einsum("ck,ckn->cn", weights, self._columns[self._ports])
        if self._anew.size:
            answer[self._anew] = np.einsum("cnm,cm->cn", self._own, injected[self._anew])
        return np.concatenate([np.zeros((answer.shape[0], 1)), answer], axis=1)

    def currents(self) -> Floats:
        """Amperes from a to b in every branch, shape (C, branches)."""
        return self.siemens * (self.net.across(self.volts) - self.emf_v)

    def between(self, red: int, black: int) -> Floats:
        """G⁻¹·u for the pair of nodes, (C, nodes): what one ampere from black to red would do."""
        injected = np.zeros(self._full.shape[0])
        if red:
            injected[red - 1] += 1.0
        if black:
            injected[black - 1] -= 1.0
        return self.respond(injected)


def _guarded(system: Floats) -> Floats:
    """Replaces exactly singular systems, which are solved anew, by ones that invert to something huge."""
    signs, _ = np.linalg.slogdet(system)
    singular = signs == 0
    if singular.any():
        system = system.copy()
        system[singular] = np.eye(system.shape[1]) * 1e-12
    return system
