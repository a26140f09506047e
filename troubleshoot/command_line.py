"""The command `troubleshoot`: reads the words typed, imports what the verb needs, prints. The last room."""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from troubleshoot.errors import TroubleshootError

if TYPE_CHECKING:
    from troubleshoot.tree.tree import Tree

TREE_GIVEN = "a tree.yaml, its folder, or the name of a shipped circuit"


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
    _tree_verbs(verbs)
    return parser


def _tree_verbs(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The verbs about decision trees: `troubleshoot tree VERB`."""
    tree = verbs.add_parser("tree", help="decision trees: made, proved, printed, walked")
    tree.set_defaults(run=lambda _: tree.error("which verb of tree?"))
    kinds = tree.add_subparsers(metavar="VERB")
    walk = kinds.add_parser("walk", help="go through a tree at the vehicle, one step at a time")
    walk.add_argument("tree", nargs="?", help=TREE_GIVEN)
    walk.add_argument("--resume", nargs="?", const="", metavar="SESSION", help="go on with a walk (the last one)")
    walk.add_argument("--folder", type=Path, default=argparse.SUPPRESS, help="where the job is kept")
    walk.set_defaults(run=_tree_walk)
    page = kinds.add_parser("page", help="a tree as one HTML file for a phone, which needs no network")
    page.add_argument("tree", help=TREE_GIVEN)
    page.add_argument("--out", type=Path, metavar="FILE", help="the file to write (the tree's name with .html)")
    page.add_argument("--force", action="store_true", help="replace the file if it is there")
    page.set_defaults(run=_tree_page)
    prints = kinds.add_parser("print", help="a tree for paper: numbered steps as PDF, or a small one as a picture")
    prints.add_argument("tree", help=TREE_GIVEN)
    prints.add_argument("--out", type=Path, metavar="FILE", help="FILE.pdf (the tree's name), FILE.html or FILE.svg")
    prints.add_argument("--paper", choices=("A4", "letter"), default="A4", help="its size")
    prints.add_argument("--layout", default="", help="how the blades of the relays lie (see draw --face)")
    prints.add_argument("--force", action="store_true", help="replace the file if it is there")
    prints.set_defaults(run=_tree_print)
    made = kinds.add_parser("compile", help="a tree made from a circuit, or one for each circuit of a folder")
    made.add_argument("circuit", help="a circuit.yaml, its folder, a shipped circuit's name, or a folder of circuits")
    made.add_argument("--least", choices=("mean-time", "worst-time", "pages"), default="mean-time", help="of what")
    made.add_argument("--with", dest="can", action="append", default=[], metavar="WORDS",
                      help='what one has or lacks: "alone", "no ohms", "a lamp", "can\'t reach the pump"')  # fmt: skip
    made.add_argument("--after", default="", metavar="COMPLAINT", help="begin after this complaint: dead, weak ...")
    made.add_argument("--out", type=Path, metavar="FILE", help="the file to write (tree.yaml beside the circuit)")
    made.add_argument("--force", action="store_true", help="replace the file if it is there")
    made.add_argument("--prove", type=int, nargs="?", const=20, default=0, metavar="CARS", help="and prove it (20)")
    made.add_argument("--guesses", type=Path, help="a file of priors and costs in place of the shipped one")
    made.add_argument("--cores", type=int, default=-1, metavar="N", help="of this machine, for a folder (all)")
    made.add_argument("--scheduler", default="", metavar="ADDRESS", help="a Dask scheduler's, for a folder")
    made.set_defaults(run=_tree_compile)
    prove = kinds.add_parser(
        "prove", help="a tree tried with sampled cars: what it finds, what it costs, what is wrong"
    )
    prove.add_argument("tree", help=TREE_GIVEN)
    prove.add_argument("--cars", type=int, default=20, metavar="N", help="cars of each fault at each severity (20)")
    prove.add_argument("--severities", type=int, default=5, metavar="N", help="severities of each fault (5)")
    prove.add_argument("--seed", type=int, default=0, help="another one draws other cars (0)")
    prove.add_argument("--guesses", type=Path, help="a file of priors and costs in place of the shipped one")
    prove.add_argument("--all", action="store_true", help="every finding, not the first of each kind")
    prove.add_argument("--json", action="store_true", help="as one JSON object")
    prove.add_argument("--certify", action="store_true", help="keep the figures beside the tree, as TREE.proof.json")
    prove.set_defaults(run=_tree_prove)
    show = kinds.add_parser("show", help="a tree as text, with numbered steps")
    show.add_argument("tree", help=TREE_GIVEN)
    show.set_defaults(run=_tree_show)


def _screens(arguments: argparse.Namespace) -> int:
    from troubleshoot.tui.app import run

    run(arguments.folder, arguments.ascii)
    return 0


def _write(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def _width() -> int:
    """Columns of the terminal; what is piped is set for a page."""
    from shutil import get_terminal_size

    from troubleshoot.plain.wall_text import WIDTH

    return get_terminal_size((WIDTH, 24)).columns if sys.stdout.isatty() else WIDTH


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
        session = Session.resume(arguments.resume or _last(arguments.folder))
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

            JsonLines(session, lambda data: _write(json.dumps(data, ensure_ascii=False))).run(sys.stdin)
        else:
            from troubleshoot.plain.dialogue import Dialogue

            Dialogue(session, _ask, _write).run()
    finally:
        session.close()
    return 0


def _ask(prompt: str) -> str:
    """A line from the person; what comes by pipe is echoed, so that a record reads whole."""
    line = input(prompt)
    if not sys.stdin.isatty():
        _write(line)
    return line


def _last(folder: Path | None) -> Path:
    from troubleshoot import places
    from troubleshoot.errors import Problem, TypedWrong

    where = folder or places.sessions()
    found = sorted(where.glob("*.jsonl"), key=lambda path: path.stat().st_mtime)
    found = [path for path in found if not path.name.startswith("example-")]
    if not found:
        raise TypedWrong(
            Problem("no-session", f"there is no session in {where}", "begin one: troubleshoot find CIRCUIT")
        )
    return found[-1]


def _expect(arguments: argparse.Namespace) -> int:
    from troubleshoot.expect.wall import make_wall
    from troubleshoot.files.circuit_file import load_circuit
    from troubleshoot.plain.wall_text import wall_data, wall_lines

    wall = make_wall(load_circuit(_circuit_file(arguments.circuit)), arguments.fault)
    if arguments.json:
        _write(json.dumps(wall_data(wall), ensure_ascii=False))
    else:
        for line in wall_lines(wall, _width()):
            _write(line)
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
        _write(f"written to {shown_path(arguments.svg)}")
        return 0
    width = min(get_terminal_size().columns, 100)
    lines = drawing.drawing_lines(made, width, strokes) if made else []
    for line in lines or drawing.face_lines(circuit, arguments.face, arguments.layout, strokes):
        _write(line)
    return 0


def _review(arguments: argparse.Namespace) -> int:
    from troubleshoot.expect.review import review_file
    from troubleshoot.files.tell import shown_path
    from troubleshoot.plain.review_text import is_bad, review_data, review_lines

    path = _circuit_file(arguments.circuit)
    title, findings = review_file(path)
    if arguments.json:
        _write(json.dumps(review_data(title, shown_path(path), findings), ensure_ascii=False))
    else:
        for line in review_lines(title, findings):
            _write(line)
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
        BuilderDialogue(builder, _ask, _write, arguments.out, ASCII if arguments.ascii else LINES).run()
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
        _write(f"{path.parent.name}: {circuit.title}")
        _write(fill(circuit.applies, 78, initial_indent="    ", subsequent_indent="    "))
    return 0


def _update(arguments: argparse.Namespace) -> int:
    from troubleshoot import places
    from troubleshoot.files.tell import shown_path
    from troubleshoot.files.update import update

    told = update(places.circuit_path(arguments.circuit), arguments.out)
    if told:
        _write(f"written to {shown_path(arguments.out)}:")
    for line in told or ["this file is of today's format already: nothing to change, nothing written"]:
        _write(line)
    return 0


def _schema(arguments: argparse.Namespace) -> int:
    from troubleshoot.files.schema import schema_text

    del arguments
    sys.stdout.write(schema_text())
    return 0


def _known_tree(given: str) -> Tree:
    """The tree that was named; that its proof is out of date is told beside the answer."""
    from troubleshoot import places
    from troubleshoot.files.guesses_file import SHIPPED
    from troubleshoot.tree.certificate import notice_of
    from troubleshoot.tree.tree_file import read_tree

    tree = read_tree(places.tree_path(given))
    notice = notice_of(tree, SHIPPED)
    if notice:
        sys.stderr.write(f"{tree.name}: {notice}\n")
    return tree


def _tree_walk(arguments: argparse.Namespace) -> int:
    from troubleshoot import places
    from troubleshoot.errors import Problem, TypedWrong
    from troubleshoot.plain.walk_text import WalkDialogue
    from troubleshoot.session.walking import Walking

    if arguments.resume is not None:
        walking = Walking.resume(Path(arguments.resume or _last(arguments.folder)))
    elif arguments.tree:
        _known_tree(arguments.tree)
        walking = Walking.start(places.tree_path(arguments.tree), arguments.folder)
    else:
        raise TypedWrong(Problem("no-tree", "which tree?", "troubleshoot tree walk TREE, or tree walk --resume"))
    try:
        WalkDialogue(walking, _ask, _write).run()
    finally:
        walking.session.close()
    return 0


def _tree_page(arguments: argparse.Namespace) -> int:
    from troubleshoot.files.tell import shown_path
    from troubleshoot.plain.new_file import write_new
    from troubleshoot.tree.page import page_html

    tree = _known_tree(arguments.tree)
    target = arguments.out or Path(f"{tree.name}.html")
    write_new(page_html(tree), target, ".html", arguments.force)
    _write(f"written to {shown_path(target)}")
    return 0


def _tree_print(arguments: argparse.Namespace) -> int:
    from troubleshoot.files.tell import shown_path
    from troubleshoot.plain.drawing_text import layout_named
    from troubleshoot.plain.new_file import check_target, write_new
    from troubleshoot.tree.paper import paper_html, print_pdf
    from troubleshoot.tree.picture import picture_svg

    tree = _known_tree(arguments.tree)
    target = arguments.out or Path(f"{tree.name}.pdf")
    suffix = target.suffix.lower() if target.suffix.lower() in (".html", ".svg") else ".pdf"
    check_target(target, suffix, arguments.force)
    if suffix == ".svg":
        made: str | bytes = picture_svg(tree)
    else:
        html = paper_html(tree, arguments.paper, layout_named(arguments.layout) if arguments.layout else None)
        made = html if suffix == ".html" else print_pdf(html)
    write_new(made, target, suffix, arguments.force)
    _write(f"written to {shown_path(target)}")
    return 0


def _tree_prove(arguments: argparse.Namespace) -> int:
    from troubleshoot import places
    from troubleshoot.files.tell import shown_path
    from troubleshoot.session.proving import prove_file
    from troubleshoot.tree.proof_text import proof_data, proof_lines

    proof, notice, certificate = prove_file(
        places.tree_path(arguments.tree), arguments.cars, arguments.severities, arguments.seed, arguments.guesses,
        arguments.certify,
    )  # fmt: skip
    if notice:
        sys.stderr.write(f"{notice}\n")
    if arguments.json:
        _write(json.dumps(proof_data(proof), ensure_ascii=False))
    else:
        for line in proof_lines(proof, arguments.all):
            _write(line)
    if certificate:
        sys.stderr.write(f"written to {shown_path(certificate)}\n")
    return 0 if proof.holds else 1


def _tree_compile(arguments: argparse.Namespace) -> int:
    from troubleshoot import places
    from troubleshoot.errors import Problem, TypedWrong
    from troubleshoot.files.tell import shown_path
    from troubleshoot.plain.compiled_text import made_line, progress
    from troubleshoot.session.compiling import keep, make, orders
    from troubleshoot.tree.many import work_on

    given = Path(arguments.circuit)
    folder = given.is_dir() and not (given / "circuit.yaml").is_file()
    wanted = orders(
        given if folder else places.circuit_path(arguments.circuit), least=arguments.least, can=tuple(arguments.can),
        after=arguments.after, guesses=str(arguments.guesses or ""), cars=arguments.prove,
    )  # fmt: skip
    if arguments.out:
        if folder:
            raise TypedWrong(Problem("one-file", "--out is for one circuit", "for a folder, leave it out"))
        wanted = {arguments.out: next(iter(wanted.values()))}
    there = [path for path in wanted if path.exists() and not arguments.force]
    if there:
        raise TypedWrong(Problem("file-exists", f"{shown_path(there[0])} is there already", "--force replaces it"))
    paths, wrong = {str(path): path for path in wanted}, 0
    work = work_on({str(path): order for path, order in wanted.items()}, make, arguments.cores, arguments.scheduler)
    for name, made in progress(work, len(wanted), sys.stderr):
        if made.problem:
            wrong += 1
        else:
            keep(paths[name], made)
        _write(made_line(shown_path(paths[name]), made))
    return 1 if wrong else 0


def _tree_show(arguments: argparse.Namespace) -> int:
    from troubleshoot.tree.paper import tree_lines

    for line in tree_lines(_known_tree(arguments.tree), min(_width(), 100)):
        _write(line)
    return 0


if __name__ == "__main__":
    sys.exit(main())
