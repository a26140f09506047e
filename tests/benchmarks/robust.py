"""How well the fault is found when something beside the fault is wrong: a reading, a second fault, a fault that comes
and goes, a circuit that is not as its file says.

    python tests/benchmarks/robust.py [--quick] [--seed N] [--misses] [--only NAME ...]

Each kind is a file of its own, `robust_NAME.py`, with `figures(quick, seed)`. Lists under names that end in `_misses`
are stories of sessions that missed: shown with `--misses`, counted in the JSON that ends each kind and, of all, in that
of the last line.
"""

from __future__ import annotations

import argparse
import importlib
import json
import time
from pathlib import Path


def kinds() -> list[str]:
    """The files of kinds that are here."""
    return sorted(path.stem for path in Path(__file__).parent.glob("robust_*.py"))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="fewer sessions, same code")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--misses", action="store_true", help="the story of every session that missed")
    parser.add_argument("--only", nargs="+", choices=kinds(), default=kinds(), help="these kinds only")
    given = parser.parse_args()
    whole: dict[str, object] = {"seed": given.seed, "quick": given.quick}
    for kind in given.only:
        start = time.perf_counter()
        print(f"== {kind.removeprefix('robust_')}")
        found = importlib.import_module(kind).figures(given.quick, given.seed)
        for name, value in found.items():
            if name.endswith("_misses") and isinstance(value, list):
                if given.misses:
                    print("\n\n".join(["", *map(str, value), ""]))
                found[name] = len(value)
        whole |= found
        print(f"{json.dumps(found)}\n({time.perf_counter() - start:.0f} s)")
    print(json.dumps(whole))


if __name__ == "__main__":
    main()
