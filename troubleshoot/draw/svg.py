"""Any circuit as a wiring drawing in SVG: battery at the left, feeds at the top, ground at the bottom.

Where everything goes comes from `plan`, the shapes and the file from `paper`. Black on white only; a wire's colour
is a word. Right of both and of `circuit_line`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from troubleshoot.circuit import Network
from troubleshoot.draw.circuit_line import GaugeUnit, follow, list_ways, say_gauge
from troubleshoot.draw.links import Link, Links, find_links
from troubleshoot.draw.paper import LETTERS, SIZE, STEP, TOGETHER, Paper, clean, wrapped
from troubleshoot.draw.pieces import Bar, Item, Plan, Run
from troubleshoot.draw.plan import make_plan
from troubleshoot.draw.symbols import Symbol, symbol_of
from troubleshoot.parts import Fuse, GroundBolt

COLUMN, LINE, TEXT, BESIDE = 204, 30, 25, 12
"""Pixels: a column's width, where its line runs, and how far right of it texts begin, by symbols and by lines."""

MARGIN, SYMBOL = 16, 76.0
"""Pixels: around the drawing, and the height of a part's symbol with its leads."""


def draw_svg(
    network: Network,
    volts: Mapping[str, str] | None = None,
    note: str = "",
    gauge: GaugeUnit = "as written",
    narrow: bool = False,
) -> str:
    """The drawing as the text of an SVG file.

    `volts` holds what to write at each point, by node ("12.31 V"); `note` says in words what those volts are.
    `narrow`: for a phone, the way through each load and each coil by itself, one under the other; what else hangs
    on a point is named there.
    """
    return Sheet(network, volts or {}, gauge).draw(clean(note), narrow)


def x_of(column: int) -> float:
    """Where a column's line runs."""
    return MARGIN + column * COLUMN + LINE


class Sheet:
    """One drawing in the making: what is written where."""

    def __init__(self, network: Network, volts: Mapping[str, str], gauge: GaugeUnit) -> None:
        self.network, self.circuit, self.gauge = network, network.circuit, gauge
        self.volts = {node: clean(told) for node, told in volts.items()}
        self.found = self.drawn = find_links(self.circuit)

    # ---- what to write

    def symbol(self, link: Link) -> Symbol:
        part = self.circuit.parts[link.part]
        return symbol_of(part.kind, link.inside, getattr(part, "style", ""))

    def heavy(self, link: Link) -> bool:
        return link.wire is None and self.symbol(link).heavy

    def moves(self, link: Link) -> bool:
        return link.wire is None and self.symbol(link).moves

    def say_link(self, link: Link) -> list[str]:
        """The lines beside a link: a wire's name and make, a part's name and what it is."""
        if link.wire:
            wire = link.wire
            size = say_gauge(wire.gauge, self.gauge).replace(" ", TOGETHER)
            made = ", ".join(t for t in (wire.colour, size, f"{wire.length:g}{TOGETHER}m") if t)
            return wrapped(wire.name.replace("_", " "), LETTERS + 2) + wrapped(made, LETTERS + 2)
        part = self.circuit.named_parts[link.part]
        if isinstance(part, GroundBolt) and self.drawn.meeting[link.a] > 2:
            return wrapped(f"bolted to the {self.circuit.named_parts[part.to].spoken}")
        says = self.symbol(link).says
        name = f"{part.spoken}, {part.rating:g}{TOGETHER}A" if isinstance(part, Fuse) else f"{part.spoken} {says}"
        return wrapped(name) + [line for told in self.say_more(link) for line in wrapped(told)]

    def say_more(self, link: Link) -> list[str]:
        """Told beside a part's first symbol: what lies across it, and which terminals have no wire."""
        if next(other for other in self.found.links if other.part == link.part and not other.wire) != link:
            return []
        part = self.circuit.parts[link.part]
        bare = self.found.bare.get(link.part, ())
        told = [f"no wire on {', '.join(bare)}"] if bare else []
        if getattr(part, "suppression", "none") == "diode":
            told.append(f"diode across, + on {getattr(part, 'diode_plus', '')}")
        elif getattr(part, "suppression", "none") == "resistor":
            told.append("resistor across")
        elif getattr(part, "diode", False):
            told.append("diode across")
        return told

    def say_pin(self, item: Item) -> list[str]:
        """At a point within a run: the terminal's stamped name and the volts there; at a ring the volts."""
        told = self.volts.get(item.spot, "").replace(" ", TOGETHER)
        if item.link:
            return wrapped(f"ring: {told}")
        terminal, part = self.circuit.terminals[item.spot], item.spot.partition(".")[0]
        name = "" if terminal.name in ("stud", "metal") else terminal.name
        if all(link.part != part for link in self.found.links) and part not in self.found.boxed:
            name = terminal.say  # nothing else names it, as with a splice
        return wrapped(f"{name}: {told}" if name and told else name or told) + self.say_also(item.spot)

    def say_bar(self, spot: str) -> list[str]:
        """Above a bar: what it is in full, and the volts there."""
        told = self.volts.get(spot, "")
        return wrapped(self.circuit.terminals[spot].say) + (wrapped(told) if told else []) + self.say_also(spot)

    def say_also(self, spot: str) -> list[str]:
        """The wires that end there and are not drawn."""
        drawn = {link.wire for link in self.drawn.links}
        others = [w.name.replace("_", " ") for w in self.circuit.wires if spot in (w.start, w.end) and w not in drawn]
        return wrapped(f"also: {', '.join(others)}") if others else []

    def say_box(self, name: str) -> list[str]:
        """In a boxed part: its name, and which pins have no wire."""
        bare = self.found.bare.get(name, ())
        told = wrapped(f"no wire on {', '.join(bare)}") if bare else []
        return wrapped(self.circuit.named_parts[name].spoken) + told

    def box_height(self, name: str) -> float:
        return STEP * len(self.say_box(name)) + 16

    def describe(self, note: str) -> str:
        """What the drawing holds, for those who do not see it: every part, every wire with its ends, the volts."""
        parts = ", ".join(part.spoken for part in self.circuit.named_parts.values())
        wires = "; ".join(f"{w.spoken} from {w.start} to {w.end}" for w in self.circuit.wires)
        told = "; ".join(f"{node} {volts}" for node, volts in self.volts.items())
        said = f"Wiring drawing. Parts: {parts}. Wires: {wires}."
        return f"{said} {note or 'Volts'}: {told}." if told else said

    # ---- the pieces of a run

    def furnish(self, run: Run, tells_top: bool, tells_bottom: bool) -> list[Item]:
        """Everything on the run from its top bar to its bottom bar."""
        items: list[Item] = []
        if run.top in self.found.boxed:
            items.append(self.pin_item(run.spots[0]))
        elif tells_top:
            items.append(self.bar_item(run.top))
        for place, link in enumerate(run.links):
            first, last = run.spots[2 * place], run.spots[2 * place + 1]
            if place:
                items.append(self.pin_item(first))
            items += self.link_items(link, first, last)
        if run.bottom in self.found.boxed:
            items.append(self.pin_item(run.spots[-1]))
        elif tells_bottom:
            items.append(self.bar_item(run.bottom))
        return items

    def link_items(self, link: Link, first: str, last: str) -> list[Item]:
        """The link itself, and a wire's rings where there are volts to write at them."""
        lines, forward = len(self.say_link(link)), first == link.a
        if link.wire is None:
            half = STEP * lines + 8
            return [Item("part", max(SYMBOL, 2.0 * half if self.moves(link) else half), link, "", forward)]
        rings = [Item("point", 20, link, f"{link.wire.name}.at.{end}") for end in (first, last)]
        before, after = ([ring] if ring.spot in self.volts else [] for ring in rings)
        return [*before, Item("wire", STEP * lines + 12, link, "", forward), *after]

    def pin_item(self, spot: str) -> Item:
        return Item("point", STEP * len(self.say_pin(Item("point", 0, None, spot))) + 6, None, spot)

    def bar_item(self, spot: str) -> Item:
        return Item("bar", STEP * len(self.say_bar(spot)) + 4, None, spot)

    # ---- onto paper

    def draw(self, note: str, narrow: bool) -> str:
        plans = [(title, links, self.plan(links)) for title, links in (self.ways() if narrow else [("", self.found)])]
        columns = max(plan.columns for _, _, plan in plans)
        paper, letters = Paper(), columns * 26
        head = [*wrapped(self.circuit.title, letters), *(wrapped(note, letters) if note else [])]
        paper.write(head, MARGIN, MARGIN + SIZE, weight="bold")
        y = MARGIN + SIZE + float(STEP * len(head))
        legend = wrapped(
            "A dot joins; lines that cross without a dot do not. Switches and relays are at rest.", letters
        )
        paper.write(legend, MARGIN, y, size=11)
        y += STEP * (len(legend) - 1)
        for title, links, plan in plans:
            self.drawn = links
            paper.write([title] if title else [], MARGIN, y + 2 * STEP, size=14, weight="bold")
            y = self.draw_plan(paper, plan.lowered(y + (3 if title else 2) * STEP))
        return paper.finish(2 * MARGIN + columns * COLUMN, y + MARGIN, self.circuit.title, self.describe(note))

    def ways(self) -> list[tuple[str, Links]]:
        """What is on the way through each load and each coil; everything at once where there is no way at all."""
        ways = []
        for title, through in list_ways(self.circuit):
            names = follow(self.network, through)
            on_it = [link for link in self.found.links if link.name in names or link.part == self.circuit.battery]
            if names:
                ways.append((title.capitalize(), replace(self.found, links=tuple(on_it))))
        return ways or [("", self.found)]

    def plan(self, links: Links) -> Plan:
        self.drawn = links
        return make_plan(self.circuit, links, self)

    def draw_plan(self, paper: Paper, plan: Plan) -> float:
        """Draws it; returns how far down the page it reaches."""
        for bar in plan.bars.values():
            self.draw_bar(paper, bar, plan)
        for tie in plan.ties:
            paper.line(x_of(tie.columns[0]), tie.y, x_of(tie.columns[-1]), tie.y, dashed=True)
        for run in plan.runs:
            self.draw_run(paper, run, plan)
        return plan.height + 2 * STEP

    def draw_bar(self, paper: Paper, bar: Bar, plan: Plan) -> None:
        first, last = x_of(bar.first), x_of(bar.last)
        if bar.height:
            paper.box(first - 14, bar.y, last + COLUMN - LINE - 20, bar.y + bar.height, fill="white")
            write_amid(paper, self.say_box(bar.name), first, bar.y + bar.height / 2, weight="bold")
            return
        metal = self.circuit.terminals[bar.name].name == "metal"
        left = first - 16 if metal else first
        paper.line(left, bar.y, last, bar.y, thick=metal)
        if metal:
            paper.ground(left, bar.y)
        ends = [x_of(run.column) for run in plan.runs if bar.name in (run.top, run.bottom)]
        for x in ends:
            paper.dot(x, bar.y, hollow=len(ends) == 1 and not metal)

    def draw_run(self, paper: Paper, run: Run, plan: Plan) -> None:
        x, top = x_of(run.column), plan.bars[run.top]
        y = top.y + top.height
        for item, at in zip(run.items, run.at, strict=True):
            middle = at + item.height / 2
            if item.kind == "part" and item.link:
                paper.line(x, y, x, middle - SYMBOL / 2)
                y = middle + SYMBOL / 2
                paper.symbol(self.symbol(item.link), x, middle - SYMBOL / 2, y, item.forward)
                self.write_part(paper, item.link, x, middle)
            elif item.kind == "wire" and item.link:
                write_amid(paper, self.say_link(item.link), x + BESIDE, middle, style="italic")
            elif item.kind == "bar":
                paper.write(self.say_bar(item.spot), x + BESIDE, at + SIZE, weight="bold")
            else:
                paper.dot(x, middle, hollow=True)
                write_amid(paper, self.say_pin(item), x + BESIDE, middle, weight="bold")
        paper.line(x, y, x, plan.bars[run.bottom].y)

    def write_part(self, paper: Paper, link: Link, x: float, middle: float) -> None:
        """Beside the symbol; above its tie where it has one."""
        lines = self.say_link(link)
        if self.moves(link):
            paper.write(lines, x + TEXT, middle - STEP * (len(lines) - 1) - 8)
        else:
            write_amid(paper, lines, x + TEXT, middle)


def write_amid(paper: Paper, lines: list[str], x: float, middle: float, weight: str = "", style: str = "") -> None:
    """Lines of text with their middle at a height."""
    paper.write(lines, x, middle - STEP * (len(lines) - 1) / 2 + 4, weight, style)
