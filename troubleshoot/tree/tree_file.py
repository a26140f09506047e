"""A tree.yaml to a Tree, or everything that is wrong in it; and a Tree back to a text that one can read and change.

What is wrong is told in one go a stage: first of the text, then of the fields, then of names and branches, and of how
they hang together (`tree_doubts.py`).
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from io import StringIO
from pathlib import Path
from textwrap import wrap
from typing import Any

from pydantic import BaseModel, ConfigDict, Field

from troubleshoot.circuit.check_list import list_checks
from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.complaints import complaints_of
from troubleshoot.circuit.network import Network, wire_up
from troubleshoot.errors import FileProblems, Problem, TypedWrong
from troubleshoot.files.check import build
from troubleshoot.files.circuit_file import load_circuit
from troubleshoot.files.file_text import read_text
from troubleshoot.files.tell import gathered, place, shown, shown_path, suggest
from troubleshoot.files.yaml_text import Document, Loc, parse_yaml
from troubleshoot.tree.branch_words import read_branch
from troubleshoot.tree.tree import NOT_DESCRIBED, NOTHING_WRONG, Branch, Claims, Step, Tree, Verdict
from troubleshoot.tree.tree_doubts import Doubt, doubts_of, why_no_check
from troubleshoot.tree.walk import BESIDE
from troubleshoot.words.limits import read_limits
from troubleshoot.words.say import say_check

FILE = "tree.yaml"
CIRCUIT = "circuit.yaml"
WIDTH = 110
"""Columns of the comments that are written beside checks."""


class _Strict(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class ClaimsFields(_Strict):
    """What the maker says of the tree."""

    right: float = Field(default=Claims.right, ge=0, le=1)
    minutes: float = Field(default=Claims.minutes, gt=0)
    readings: int = Field(default=Claims.readings, ge=0)


class StepFields(BaseModel):
    """A step; all other fields are its branches."""

    model_config = ConfigDict(frozen=True, extra="allow")
    __pydantic_extra__: dict[str, str] = Field(init=False)

    check: str = Field(min_length=1)
    note: str = ""


class VerdictFields(_Strict):
    """A verdict."""

    suspects: list[str] = Field(min_length=1)
    repair: str = ""
    prove: list[str] = []
    tell_apart: str = ""


class TreeFields(_Strict):
    """The whole file, as it is written."""

    circuit: str = CIRCUIT
    after: str = ""
    can: list[str] = []
    claims: ClaimsFields = ClaimsFields()
    first: str = Field(min_length=1)
    steps: dict[str, StepFields]
    verdicts: dict[str, VerdictFields] = Field(min_length=1)


def tree_file(path: Path | str) -> Path:
    """The file meant by a file's or a folder's name."""
    path = Path(path)
    return path / FILE if path.is_dir() else path


def read_tree(path: Path | str) -> Tree:
    """Reads a tree's file, or the tree.yaml of a folder, and the circuit that it is for. Raises FileProblems."""
    path = tree_file(path)
    file, text = shown_path(path), read_text(path)
    document = parse_yaml(text, file)
    fields = build(TreeFields, document)
    beside = path.parent / fields.circuit
    if not beside.is_file():
        told = "circuit" if "circuit" in document.data else ""
        raise FileProblems([
            Problem("no-circuit", f"there is no circuit file {shown(fields.circuit)} beside this tree",
                    "write where it is: circuit: FILE", told, file, document.line_of(("circuit",)) if told else 0)
        ])  # fmt: skip
    tree = _built(fields, document, wire_up(load_circuit(beside)))
    return replace(tree, name=path.parent.name if path.name == FILE else path.stem, file=path)


def parse_tree(text: str, file: str, network: Network) -> Tree:
    """A tree from text, for a circuit at hand; `file` is only told in problems. Raises FileProblems."""
    document = parse_yaml(text, file)
    return _built(build(TreeFields, document), document, network)


@dataclass
class _Reader:
    """The fields being made a tree of, with what is found wrong on the way."""

    document: Document
    network: Network
    doubts: list[Doubt]

    def doubt(self, path: Loc, code: str, message: str, hint: str = "") -> None:
        self.doubts.append(Doubt(path, code, message, hint))

    def step(self, name: str, fields: StepFields, checks: Mapping[str, Check]) -> Step | None:
        """A step; None where its check is not known, which is a doubt then."""
        path = ("steps", name)
        wanted = " ".join(fields.check.split())
        check = checks.get(wanted)
        if check is None:
            self.doubt((*path, "check"), *why_no_check(self.network, wanted, checks))
        branches = list[Branch]()
        for words, to in (fields.__pydantic_extra__ or {}).items():
            try:
                branches += [read_branch(words, to, check)] if check else []
            except TypedWrong as error:
                problem = error.problem
                self.doubt((*path, words), problem.code, f"{problem.where}: {problem.message}", problem.hint)
                branches.append(Branch(words, to, math.inf, math.inf))  # takes nothing; leads where it leads
        return Step(name, check, tuple(branches), fields.note) if check else None

    def verdict(self, name: str, fields: VerdictFields, checks: Mapping[str, Check]) -> Verdict:
        """A verdict, its suspects and checks looked up."""
        known = [NOTHING_WRONG, NOT_DESCRIBED, *dict.fromkeys(fault.name for fault in self.network.faults)]
        for number, suspect in enumerate(fields.suspects):
            here = ("verdicts", name, "suspects", number)
            if suspect not in known:
                part = suspect.partition(":")[0]
                near = [each for each in known if each.partition(":")[0] == part]
                called = f"faults of {shown(part)}" if near else "faults are part:mode, as"
                self.doubt(here, "unknown-fault", f"this circuit has no fault '{shown(suspect)}'",
                           suggest(suspect, near or known, called))  # fmt: skip
            elif suspect in fields.suspects[:number]:
                self.doubt(here, "named-twice", f"'{suspect}' is there twice", "delete one")
        prove = [" ".join(words.split()) for words in fields.prove]
        for number, words in enumerate(prove):
            if words not in checks:
                self.doubt(("verdicts", name, "prove", number), *why_no_check(self.network, words, checks))
        return Verdict(name, tuple(fields.suspects), fields.repair, tuple(prove), fields.tell_apart)

    def limits(self, can: list[str]) -> None:
        """Doubts whatever in `can` is not understood."""
        parts = {name: part.spoken for name, part in self.network.circuit.named_parts.items()}
        places = list(dict.fromkeys(part.place for part in self.network.circuit.parts.values()))
        for number, words in enumerate(can):
            said = read_limits(words, parts, places)
            if not said or said.unread or said.reach_here or said.fixed_here:
                self.doubt(("can", number), "unknown-limit", f"'{shown(words)}' is not understood",
                           "in words like: alone, no ohms, no long leads, a lamp, can't reach the pump")  # fmt: skip

    def complaint(self, after: str) -> None:
        known = complaints_of(self.network.circuit)
        if after and after not in known:
            self.doubt(("after",), "unknown-complaint", f"'{shown(after)}' is no complaint about this circuit",
                       suggest(after, known, "there are"))  # fmt: skip


def _built(fields: TreeFields, document: Document, network: Network) -> Tree:
    """The tree that the fields tell of. Raises FileProblems."""
    checks = {check.id: check for check in list_checks(network)}
    reader = _Reader(document, network, [])
    reader.complaint(fields.after)
    reader.limits(fields.can)
    steps = {name: step for name, each in fields.steps.items() if (step := reader.step(name, each, checks))}
    verdicts = {name: reader.verdict(name, each, checks) for name, each in fields.verdicts.items()}
    claims = Claims(**fields.claims.model_dump())
    tree = Tree(network, fields.first, steps, verdicts, after=fields.after, can=tuple(fields.can), claims=claims,
                circuit=fields.circuit)  # fmt: skip
    found = reader.doubts + doubts_of(tree, _leads(fields))
    if found:
        raise gathered([_problem(doubt, document) for doubt in found])
    return tree


def _leads(fields: TreeFields) -> dict[str, dict[str, str]]:
    """Where each step of the file leads, by the words of its branches; also steps whose check is not known."""
    return {name: dict(each.__pydantic_extra__ or {}) for name, each in fields.steps.items()}


def _problem(doubt: Doubt, document: Document) -> Problem:
    where = place(doubt.path, document.data)
    return Problem(doubt.code, doubt.message, doubt.hint, where, document.file, document.line_of(doubt.path))


# ---- writing


def tree_text(tree: Tree) -> str:
    """The tree's file: each check with its sentence as a comment, each suspect with what it is."""
    says = {fault.name: fault.say for fault in tree.network.faults}
    says |= {name: words for name, (words, _) in BESIDE.items()}
    lines = [*_comment(f"A decision tree for: {tree.network.circuit.title}")]
    lines += [f"circuit: {_scalar(tree.circuit)}"] if tree.circuit != CIRCUIT else []
    lines += [f"after: {_scalar(tree.after)}"] if tree.after else []
    lines += [f"can: [{', '.join(map(_in_list, tree.can))}]"] if tree.can else []
    claims = _claims(tree.claims)
    lines += [f"claims: {{{', '.join(f'{name}: {value}' for name, value in claims.items())}}}"] if claims else []
    lines += [f"first: {_scalar(tree.first)}", "", "steps:" if tree.steps else "steps: {}"]
    for number, step in enumerate(tree.steps.values()):
        lines += [
            *([""] if number else []),
            f"  {_scalar(step.name)}:",
            *_comment(say_check(tree.network, step.check), "    "),
        ]
        lines += [f"    check: {_scalar(step.check.id)}"]
        lines += [f"    note: {_scalar(step.note)}"] if step.note else []
        lines += [f"    {_scalar(branch.words)}: {_scalar(branch.to)}" for branch in step.branches]
    lines += ["", "verdicts:"]
    for number, verdict in enumerate(tree.verdicts.values()):
        lines += [*([""] if number else []), f"  {_scalar(verdict.name)}:", "    suspects:"]
        for suspect in verdict.suspects:
            lines += [*_comment(says.get(suspect, ""), "      "), f"      - {_scalar(suspect)}"]
        lines += [f"    repair: {_scalar(verdict.repair)}"] if verdict.repair else []
        lines += ["    prove:", *(f"      - {_scalar(check)}" for check in verdict.prove)] if verdict.prove else []
        lines += [f"    tell_apart: {_scalar(verdict.tell_apart)}"] if verdict.tell_apart else []
    return "\n".join(lines) + "\n"


def with_claims(text: str, claims: Claims) -> str:
    """The same file with other claims; its comments and its order stay."""
    from ruamel.yaml import YAML

    yaml = YAML()
    yaml.preserve_quotes, yaml.width = True, 10_000
    yaml.indent(mapping=2, sequence=4, offset=2)
    data: Any = yaml.load(text)
    fresh = _claims(claims)
    if "claims" not in data:
        data.insert(list(data).index("first"), "claims", fresh)
    else:
        held = data["claims"]
        for name in [each for each in held if each not in fresh]:
            del held[name]
        held.update(fresh)
    written = StringIO()
    yaml.dump(data, written)
    return written.getvalue()


def _claims(claims: Claims) -> dict[str, float]:
    """Those claims that say something."""
    return {name: value for name, value in vars(claims).items() if value != getattr(Claims, name)}


def _comment(words: str, indent: str = "") -> Iterator[str]:
    for line in wrap(" ".join(words.split()), WIDTH - len(indent), break_on_hyphens=False):
        yield f"{indent}# {line}"


_PLAIN = re.compile(r"[^\W\d_][\w .,;'()/%+@<>=:-]*|[0-9][\w.]* [\w .-]*[^\W\d_]", re.ASCII)
_NOT_TEXT = ("null", "true", "false")


def _in_list(text: str) -> str:
    """A text as one of a list on one line."""
    return json.dumps(text, ensure_ascii=False) if set(text) & set(",[]{}") else _scalar(text)


def _scalar(text: str) -> str:
    """A text as YAML: plain where nothing in it could be taken otherwise, else in double quotes."""
    plain = _PLAIN.fullmatch(text) and not re.search(r":( |$)", text) and text.strip() == text
    if plain and text.casefold() not in _NOT_TEXT:
        return text
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\x7f")
