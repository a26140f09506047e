"""A proof in words: the figures, what falls short, and every finding with its place."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from troubleshoot.tree.findings import Finding
from troubleshoot.tree.margins import say_margin
from troubleshoot.tree.prove import Proof

SAID = {
    "missed": "Cars that come to a verdict that does not name their fault",
    "not-found": "Faults that it cannot find",
    "holds-more": "Verdicts with faults that one more check would tell apart",
    "nobody-comes": "Steps that no car comes to",
    "proves-nothing": "Steps at which all take one branch",
    "asked-twice": "Steps that ask what is known",
}
"""What findings of one kind are called together; those that are not here are wrong in the file itself."""

SHOWN = 12
"""Findings of one kind that are told; the others are counted, and told on request."""


def proof_lines(proof: Proof, everything: bool = False) -> Iterator[str]:
    """What came of a proof, for a person; ends in whether it holds."""
    sample, circuit = proof.sample, proof.tree.network.circuit
    yield f"{proof.tree.name or 'tree'}: {circuit.title}"
    yield f"{len(sample.cars)} sampled cars with {len(sample.faults)} faults, seed {sample.seed}"
    yield f"right: {proof.right:.4f} of them, {proof.weighted_right:.4f} with each fault as frequent as guessed"
    yield f"time: {proof.minutes:.2f} minutes in the mean, {proof.worst_minutes:.1f} at most{_over_bound(proof)}"
    yield f"checks: {proof.readings:.1f} in the mean, {proof.worst_readings} at most"
    if any(verdict.tell_apart for verdict in proof.tree.verdicts.values()):
        yield (f"with what tells the suspects of a verdict apart: {proof.all_minutes:.2f} minutes in the mean, "
               f"{proof.all_worst_readings} checks at most")  # fmt: skip
    if proof.tightest:
        yield f"nearest to a limit, of what belongs on one side: {say_margin(proof.tree, proof.tightest)}"
    if sample.idle:
        yield f"not looked for, as they do nothing that one would bring a car for: {', '.join(sample.idle)}"
    for code in dict.fromkeys([*(f.code for f in proof.findings if f.code not in SAID), *SAID]):
        yield from _of_kind(code, [each for each in proof.findings if each.code == code], everything)
    for words in proof.falls_short:
        yield f"falls short: {words}"
    yield "the proof holds" if proof.holds else "the proof does not hold"


def _over_bound(proof: Proof) -> str:
    if proof.over_bound is None or not math.isfinite(proof.over_bound):
        return ""
    return f"; {proof.over_bound:.3f} times what no tree can be under ({(proof.bound_s or 0) / 60:.2f} minutes)"


def _of_kind(code: str, found: list[Finding], everything: bool) -> Iterator[str]:
    if not found:
        return
    yield f"{SAID.get(code, 'Wrong')} ({len(found)}):"
    shown = found if everything or code not in SAID else found[:SHOWN]
    for each in shown:
        yield f"  {each.place}: {each.message}" + (f" ({each.hint})" if each.hint and code != "missed" else "")
    if len(shown) < len(found):
        yield f"  and {len(found) - len(shown)} more: --all tells them"


def proof_data(proof: Proof) -> dict[str, Any]:
    """The same for a program."""
    found = [{"code": f.code, "place": f.place, "message": f.message, "hint": f.hint} for f in proof.findings]
    figures = {**proof.figures(), "holds": proof.holds, "falls_short": list(proof.falls_short)}
    return {"tree": proof.tree.name, **figures, "findings": found}
