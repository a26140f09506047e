"""The command `troubleshoot`: reads the words typed, imports what the verb needs, prints. The last room."""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Sequence
from pathlib import Path

from troubleshoot.at_terminal import ask, last_session, width, write
from troubleshoot.errors import TroubleshootError
from troubleshoot.tree_commands import add_tree_verbs


def main(argv: Sequence[str] | None = None) -> int:
    """Runs one command; returns the exit status: 0 done, 1 a problem that was told, 2 wrong usage."""
    arguments = _parser().parse_args(argv)
    try:
        status: int = arguments.run(arguments)
        return status
    except TroubleshootError as error:
        sys.stderr.write(f"{error}\n")
        return 1
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    except KeyboardInterrupt:
        sys.stderr.write("\n")
        return 130


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="troubleshoot",
        description="Finds the fault in a relay-fed vehicle circuit from meter readings, one check at a time.",
    )
    parser.add_argument("--folder", type=Path, help="where jobs are kept")
    parser.add_argument("--ascii", action="store_true", help="the screens in plain ASCII")
    parser.set_defaults(run=_screens)
    verbs = parser.add_subparsers(metavar="VERB", description="Without a verb: the screens, for one hand and no mouse.")
    find = verbs.add_parser("find", help="find the fault: asks one check at a time")
    find.add_argument("circuit", nargs="?", help="a circuit.yaml, its folder, or the name of a shipped circuit")
    find.add_argument("--json", action="store_true", help="one JSON object a line each way")
    find.add_argument("--resume", nargs="?", const="", metavar="SESSION", help="go on with a session (the last one)")
    find.add_argument("--folder", type=Path, default=argparse.SUPPRESS, help="where the session is kept")
    find.add_argument("--guesses", type=Path, help="a file of priors and costs in place of the shipped one")
    find.add_argument("--accuracy", type=float, default=0.5, metavar="PERCENT", help="the meter's, of reading (0.5)")
    find.set_defaults(run=_find)
    expect = verbs.add_parser("expect", help="what every terminal should read, in every key state")
    expect.add_argument("circuit", help="a circuit.yaml, its folder, or the name of a shipped circuit")
    expect.add_argument(
        "--fault", default="", metavar="PART:MODE[=SEVERITY]", help="beside it, the value with this fault"
    )
    expect.add_argument("--json", action="store_true", help="as one JSON object")
    expect.set_defaults(run=_expect)
    draw = verbs.add_parser("draw", help="the circuit drawn, with the volts expected at each point")
    draw.add_argument("circuit", help="a circuit.yaml, its folder, or the name of a shipped circuit")
    draw.add_argument("--key", default="", metavar="STATE", help="the key state (that in which the load should work)")
    draw.add_argument("--fault", default="", metavar="PART:MODE[=SEVERITY]", help="the volts with this fault")
    draw.add_argument("--face", default="", metavar="RELAY", help="the face of this relay in place of the circuit")
    draw.add_argument("--layout", default="", help="for --face: how its blades lie (left it tells which there are)")
    draw.add_argument("--svg", type=Path, metavar="FILE", help="as a picture, into a new file")
    draw.add_argument("--narrow", action="store_true", help="with --svg: for a phone, one way under the other")
    draw.add_argument("--force", action="store_true", help="replace the file if it is there")
    draw.set_defaults(run=_draw)
    review = verbs.add_parser("review", help="what is dangerous, wrong or doubtful in a wiring")
    review.add_argument("circuit", help="a circuit.yaml, its folder, or the name of a shipped circuit")
    review.add_argument("--json", action="store_true", help="as one JSON object")
    review.set_defaults(run=_review)
    describe = verbs.add_parser("describe", help="write your own circuit down by answering questions")
    describe.add_argument("--out", type=Path, metavar="FOLDER", help="where circuit.yaml goes; never over an old one")
    describe.add_argument("--resume", action="store_true", help="go on with the last description that was left")
    describe.add_argument("--folder", type=Path, default=argparse.SUPPRESS, help="where the answers are kept meanwhile")
    describe.add_argument("--ascii", action="store_true", default=argparse.SUPPRESS, help="draw in plain ASCII")
    describe.set_defaults(run=_describe)
    listing = verbs.add_parser("circuits", help="the shipped circuits, and when each applies")
    listing.set_defaults(run=_circuits)
    update = verbs.add_parser("update", help="write a circuit file of an older format in today's, as a new file")
    update.add_argument("circuit", help="a circuit.yaml, its folder, or the name of a shipped circuit")
    update.add_argument("--out", type=Path, required=True, metavar="NEW", help="the file to write; never an old one")
    update.set_defaults(run=_update)
    schema = verbs.add_parser("schema", help="the JSON Schema of circuit.yaml, for editors")
    schema.set_defaults(run=_schema)
    add_tree_verbs(verbs)
    return parser


def _screens(arguments: argparse.Namespace) -> int:
    from troubleshoot.tui.app import run

    run(arguments.folder, arguments.ascii)
    return 0


def _circuit_file(given: str) -> Path:
    """The circuit file that was named; that it is of an older format is told beside the answer."""
    from troubleshoot import places
    from troubleshoot.files.circuit_file import notices

    path = places.circuit_path(given)
    for notice in notices(path):
        sys.stderr.write(f"{notice}\n")
    return path


def _find(arguments: argparse.Namespace) -> int:
    from troubleshoot.errors import Problem, TypedWrong
    from troubleshoot.session.session import Session

    if arguments.resume is not None:
        session = Session.resume(arguments.resume or last_session(arguments.folder))
    elif arguments.circuit:
        session = Session.start(
            _circuit_file(arguments.circuit),
            folder=arguments.folder,
            guesses=arguments.guesses,
            accuracy_percent=arguments.accuracy,
        )
    else:
        raise TypedWrong(Problem("no-circuit", "which circuit?", "troubleshoot find CIRCUIT, or find --resume"))
    try:
        if arguments.json:
            from troubleshoot.plain.json_lines import JsonLines

            JsonLines(session, lambda data: write(json.dumps(data, ensure_ascii=False))).run(sys.stdin)
        else:
            from troubleshoot.plain.dialogue import PAGE, Dialogue

            Dialogue(session, ask, write, min(width(), PAGE)).run()
    finally:
        session.close()
    return 0


def _expect(arguments: argparse.Namespace) -> int:
    from troubleshoot.expect.wall import make_wall
    from troubleshoot.files.circuit_file import load_circuit
    from troubleshoot.plain.wall_text import wall_data, wall_lines

    wall = make_wall(load_circuit(_circuit_file(arguments.circuit)), arguments.fault)
    if arguments.json:
        write(json.dumps(wall_data(wall), ensure_ascii=False))
    else:
        for line in wall_lines(wall, width()):
            write(line)
    return 0


def _draw(arguments: argparse.Namespace) -> int:
    from shutil import get_terminal_size

    from troubleshoot.draw import ASCII, LINES
    from troubleshoot.files.circuit_file import load_circuit
    from troubleshoot.files.tell import shown_path
    from troubleshoot.plain import drawing_text as drawing
    from troubleshoot.plain.new_file import check_target, write_new

    if arguments.svg:
        check_target(arguments.svg, ".svg", arguments.force)
    circuit = load_circuit(_circuit_file(arguments.circuit))
    strokes = ASCII if arguments.ascii else LINES
    made = None if arguments.face else drawing.make_drawing(circuit, arguments.key, arguments.fault)
    if arguments.svg:
        svg = (
            drawing.drawing_svg(made, arguments.narrow)
            if made
            else drawing.face_svg(circuit, arguments.face, arguments.layout)
        )
        write_new(svg, arguments.svg, ".svg", arguments.force)
        write(f"written to {shown_path(arguments.svg)}")
        return 0
    width = min(get_terminal_size().columns, 100)
    lines = drawing.drawing_lines(made, width, strokes) if made else []
    for line in lines or drawing.face_lines(circuit, arguments.face, arguments.layout, strokes):
        write(line)
    return 0


def _review(arguments: argparse.Namespace) -> int:
    from troubleshoot.expect.review import review_file
    from troubleshoot.files.tell import shown_path
    from troubleshoot.plain.review_text import is_bad, review_data, review_lines

    path = _circuit_file(arguments.circuit)
    title, findings = review_file(path)
    if arguments.json:
        write(json.dumps(review_data(title, shown_path(path), findings), ensure_ascii=False))
    else:
        for line in review_lines(title, findings):
            write(line)
    return 1 if is_bad(findings) else 0


def _describe(arguments: argparse.Namespace) -> int:
    from troubleshoot import places
    from troubleshoot.draw import ASCII, LINES
    from troubleshoot.errors import Problem, TypedWrong
    from troubleshoot.plain.builder_text import BuilderDialogue
    from troubleshoot.session.builder import Builder
    from troubleshoot.session.drafts import list_drafts

    folder = arguments.folder or places.sessions()
    if arguments.resume:
        drafts = list_drafts(folder)
        if not drafts:
            raise TypedWrong(Problem("no-draft", "nothing was left to go on with", "begin: troubleshoot describe"))
        builder = Builder.resume(drafts[0].path)
    else:
        builder = Builder.start(folder)
    try:
        BuilderDialogue(builder, ask, write, arguments.out, ASCII if arguments.ascii else LINES).run()
    finally:
        builder.close()
    return 0


def _circuits(arguments: argparse.Namespace) -> int:
    from textwrap import fill

    from troubleshoot import places
    from troubleshoot.files.circuit_file import load_circuit

    del arguments
    for path in sorted(places.trees().glob("*/circuit.yaml")):
        circuit = load_circuit(path)
        write(f"{path.parent.name}: {circuit.title}")
        write(fill(circuit.applies, 78, initial_indent="    ", subsequent_indent="    "))
    return 0


def _update(arguments: argparse.Namespace) -> int:
    from troubleshoot import places
    from troubleshoot.files.tell import shown_path
    from troubleshoot.files.update import update

    told = update(places.circuit_path(arguments.circuit), arguments.out)
    if told:
        write(f"written to {shown_path(arguments.out)}:")
    for line in told or ["this file is of today's format already: nothing to change, nothing written"]:
        write(line)
    return 0


def _schema(arguments: argparse.Namespace) -> int:
    from troubleshoot.files.schema import schema_text

    del arguments
    sys.stdout.write(schema_text())
    return 0


if __name__ == "__main__":
    sys.exit(main())
