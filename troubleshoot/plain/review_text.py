"""The findings of a review as text or as JSON."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from textwrap import wrap
from typing import Any

from troubleshoot.expect.finding import SEVERITIES, Finding

SAY = {
    "danger": "can hurt somebody or burn something: see to it before anything is switched on",
    "fault": "it will not do what it should",
    "doubt": "look at it",
    "note": "unusual or hardly known, and no harm",
}


def is_bad(findings: Sequence[Finding]) -> bool:
    """Whether there is a danger or a fault among them."""
    return any(finding.severity in ("danger", "fault") for finding in findings)


def review_lines(title: str, findings: Sequence[Finding], width: int = 78) -> list[str]:
    """The worst first: what, then why, what to do and by whose word."""
    lines = [*wrap(title, width), *wrap(counted(findings), width)]
    shown = ""
    for finding in findings:
        if finding.severity != shown:
            shown = finding.severity
            lines += ["", *wrap(f"{shown.upper()} ({SAY[shown]})", width)]
        lines += finding_lines(finding, width)
    told = "This is said of the wiring as it is written down; what was left out, and the car itself, may differ."
    return [*lines, "", *wrap(told, width)]


def finding_lines(finding: Finding, width: int = 78) -> list[str]:
    """One finding, hanging under where it is."""
    line = f" (line {finding.line})" if finding.line else ""

    def hung(head: str, text: str) -> list[str]:
        return wrap(f"{head}{text}", width, initial_indent="    ", subsequent_indent="      ")

    return [
        *wrap(f"- {finding.where}{line}: {finding.what}.", width, subsequent_indent="  "),
        *hung("Why: ", f"{finding.why}."),
        *hung("Do: ", f"{finding.do}."),
        *hung("By: ", f"{finding.source}."),
    ]


def counted(findings: Sequence[Finding]) -> str:
    """ "1 danger, 2 faults, 1 doubt", or that there is nothing."""
    counts = Counter(finding.severity for finding in findings)
    told = [f"{counts[s]} {s}{'' if counts[s] == 1 else 's'}" for s in SEVERITIES if counts[s]]
    return ", ".join(told) if told else "nothing dangerous, wrong or doubtful found"


def review_data(title: str, file: str, findings: Sequence[Finding]) -> dict[str, Any]:
    """The same as plain data."""
    return {
        "title": title,
        "file": file,
        "findings": [
            {
                "code": finding.code, "severity": finding.severity, "line": finding.line, "where": finding.where,
                "what": finding.what, "why": finding.why, "do": finding.do, "source": finding.source,
            }
            for finding in findings
        ],
    }  # fmt: skip
