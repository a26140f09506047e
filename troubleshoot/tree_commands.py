"""The verbs about decision trees, `troubleshoot tree VERB`: words typed to calls, each importing what it needs."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from troubleshoot.at_terminal import ask, last_session, width, write

if TYPE_CHECKING:
    from troubleshoot.tree.tree import Tree

TREE_GIVEN = "a tree.yaml, its folder, or the name of a shipped circuit"


def add_tree_verbs(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The verbs about decision trees: `troubleshoot tree VERB`."""
    tree = verbs.add_parser("tree", help="decision trees: made, proved, printed, walked")
    tree.set_defaults(run=lambda _: tree.error("which verb of tree?"))
    kinds = tree.add_subparsers(metavar="VERB")
    walk = kinds.add_parser("walk", help="go through a tree at the vehicle, one step at a time")
    walk.add_argument("tree", nargs="?", help=TREE_GIVEN)
    walk.add_argument("--resume", nargs="?", const="", metavar="SESSION", help="go on with a walk (the last one)")
    walk.add_argument("--folder", type=Path, default=argparse.SUPPRESS, help="where the job is kept")
    walk.set_defaults(run=_walk)
    page = kinds.add_parser("page", help="a tree as one HTML file for a phone, which needs no network")
    page.add_argument("tree", help=TREE_GIVEN)
    page.add_argument("--out", type=Path, metavar="FILE", help="the file to write (the tree's name with .html)")
    page.add_argument("--force", action="store_true", help="replace the file if it is there")
    page.set_defaults(run=_page)
    prints = kinds.add_parser("print", help="a tree for paper: numbered steps as PDF, or a small one as a picture")
    prints.add_argument("tree", help=TREE_GIVEN)
    prints.add_argument("--out", type=Path, metavar="FILE", help="FILE.pdf (the tree's name), FILE.html or FILE.svg")
    prints.add_argument("--paper", choices=("A4", "letter"), default="A4", help="its size")
    prints.add_argument("--layout", default="", help="how the blades of the relays lie (see draw --face)")
    prints.add_argument("--force", action="store_true", help="replace the file if it is there")
    prints.set_defaults(run=_print)
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
    made.set_defaults(run=_compile)
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
    prove.set_defaults(run=_prove)
    show = kinds.add_parser("show", help="a tree as text, with numbered steps")
    show.add_argument("tree", help=TREE_GIVEN)
    show.set_defaults(run=_show)


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


def _walk(arguments: argparse.Namespace) -> int:
    from troubleshoot import places
    from troubleshoot.errors import Problem, TypedWrong
    from troubleshoot.plain.dialogue import PAGE
    from troubleshoot.plain.walk_text import WalkDialogue
    from troubleshoot.session.walking import Walking

    if arguments.resume is not None:
        walking = Walking.resume(Path(arguments.resume or last_session(arguments.folder)))
    elif arguments.tree:
        _known_tree(arguments.tree)
        walking = Walking.start(places.tree_path(arguments.tree), arguments.folder)
    else:
        raise TypedWrong(Problem("no-tree", "which tree?", "troubleshoot tree walk TREE, or tree walk --resume"))
    try:
        WalkDialogue(walking, ask, write, min(width(), PAGE)).run()
    finally:
        walking.session.close()
    return 0


def _page(arguments: argparse.Namespace) -> int:
    from troubleshoot.files.tell import shown_path
    from troubleshoot.plain.new_file import write_new
    from troubleshoot.tree.page import page_html

    tree = _known_tree(arguments.tree)
    target = arguments.out or Path(f"{tree.name}.html")
    write_new(page_html(tree), target, ".html", arguments.force)
    write(f"written to {shown_path(target)}")
    return 0


def _print(arguments: argparse.Namespace) -> int:
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
    write(f"written to {shown_path(target)}")
    return 0


def _prove(arguments: argparse.Namespace) -> int:
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
        write(json.dumps(proof_data(proof), ensure_ascii=False))
    else:
        for line in proof_lines(proof, arguments.all):
            write(line)
    if certificate:
        sys.stderr.write(f"written to {shown_path(certificate)}\n")
    return 0 if proof.holds else 1


def _compile(arguments: argparse.Namespace) -> int:
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
        write(made_line(shown_path(paths[name]), made))
    return 1 if wrong else 0


def _show(arguments: argparse.Namespace) -> int:
    from troubleshoot.tree.paper import tree_lines

    for line in tree_lines(_known_tree(arguments.tree), min(width(), 100)):
        write(line)
    return 0
