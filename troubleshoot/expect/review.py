"""What there is to say of a wiring before a meter comes out: each finding with what to do about it.

`review` looks at how things are joined (`review_feeds`) and at what the healthy circuit does once it is solved
(`review_work`). It judges the wiring as it is written down, not the car.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from troubleshoot.circuit.network import Network, wire_up
from troubleshoot.expect.finding import SEVERITIES, Finding
from troubleshoot.expect.review_feeds import review_feeds
from troubleshoot.expect.review_work import review_work
from troubleshoot.files.circuit_file import circuit_file, load_circuit
from troubleshoot.files.yaml_text import read_yaml

__all__ = ["Finding", "review", "review_file"]


def review(network: Network) -> list[Finding]:
    """All findings, the worst first; of the same severity in the order of the file."""
    found = list(review_feeds(network))
    try:
        found += review_work(network, {finding.code for finding in found})
    except np.linalg.LinAlgError:
        found.append(
            Finding(
                "unsolvable", "fault", ("wires",), "the circuit as a whole", "it cannot be worked out",
                "some of it is joined to nothing, so that its volts are not settled by anything",
                "look for the part that no wire joins to the rest, and wire it or leave it out", "reckoned",
            )
        )  # fmt: skip
    wires = [wire.name for wire in network.circuit.wires]
    order = [*network.circuit.parts, *wires]

    def rank(finding: Finding) -> tuple[int, int]:
        at = finding.path[1] if len(finding.path) > 1 else ""
        name = wires[at] if isinstance(at, int) else at
        return SEVERITIES.index(finding.severity), order.index(name) if name in order else -1

    return _together(sorted(found, key=rank))


def _together(found: list[Finding]) -> list[Finding]:
    """What is said of several parts in the same words is said once, at the first of them."""
    once: dict[tuple[str, ...], Finding] = {}
    for each in found:
        key = (each.code, each.severity, each.what, each.why, each.do)
        first = once.get(key)
        once[key] = replace(first, where=f"{first.where}, {each.where}") if first else each
    return list(once.values())


def review_file(path: Path | str) -> tuple[str, list[Finding]]:
    """The title of a circuit file and its findings, each with its line. Raises FileProblems."""
    circuit, document = load_circuit(path), read_yaml(circuit_file(path))
    return circuit.title, [replace(each, line=document.line_of(each.path)) for each in review(wire_up(circuit))]
