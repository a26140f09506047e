"""A circuit of any size, written as a circuit file: lamps, each with two fuses, a relay and a ground bolt of its own,
all worked by one switch. An invented scenario; it only serves to see how cost grows with the number of parts."""

from __future__ import annotations

SHARED = 5
EACH = 5

HEAD = """\
format: 2
title: Row of {count} lamps on shared feeds
feeds: row of lamps
applies: Generated, to see how the work grows with the number of parts.
scenario: invented
joint: 1 mohm ± 60 %
works: {{key: "off", operate: [switch]}}
parts:
  battery:
    kind: battery
    charge: 88 % ± 12 %
    internal_resistance: 4 mohm ± 40 %
    charging_resistance: 100 mohm ± 60 %
  body: {{kind: metal}}
  link: {{kind: fuse, style: link, rating: 30 A, resistance: 2 mohm ± 20 %, holder_contact: 1 mohm ± 60 %}}
  switch: {{kind: switch, style: toggle, contact_resistance: 5 mohm ± 60 %, plug_contact: 2 mohm ± 60 %}}
  coil_splice: {{kind: splice, say: splice of the coil feed}}
"""

PARTS = """\
  fuse_{n}: {{kind: fuse, rating: 5 A, resistance: 17.9 mohm ± 15 %, holder_contact: 3 mohm ± 60 %}}
  coil_fuse_{n}: {{kind: fuse, rating: 3 A, resistance: 31 mohm ± 20 %, holder_contact: 3 mohm ± 60 %}}
  relay_{n}:
    kind: relay
    contacts: make
    rating: 30 A
    coil_resistance: 85 ohm ± 10 %
    pull_in: 6.8 V ± 12 %
    release: 2.5 V ± 40 %
    contact_resistance: 4 mohm ± 60 %
    socket_contact: 3 mohm ± 60 %
  lamp_{n}: {{kind: lamp, watts: 21 W, plug_contact: 5 mohm ± 60 %}}
  bolt_{n}: {{kind: ground_bolt, to: body, joint: 2 mohm ± 60 %}}
"""

SHARED_WIRES = """\
wires:
  - {name: body_ground, from: body.metal, to: battery.neg, gauge: 25 mm², length: 0.5 m, joint: 0.2 mohm ± 60 %}
  - {name: switch_feed, from: battery.pos, to: link.in, gauge: 4 mm², length: 0.3 m}
  - {name: fused_feed, from: link.out, to: switch.in, gauge: 4 mm², length: 1.5 m}
  - {name: switch_out, from: switch.out, to: coil_splice.stud, gauge: 4 mm², length: 0.3 m}
"""

WIRES = """\
  - {{name: feed_{n}, from: battery.pos, to: fuse_{n}.in, gauge: 2.5 mm², length: 0.4 m}}
  - {{name: fused_{n}, from: fuse_{n}.out, to: relay_{n}.30, gauge: 1.5 mm², length: 0.8 m}}
  - {{name: lamp_wire_{n}, from: relay_{n}.87, to: lamp_{n}.plus, gauge: 1.5 mm², length: 2 m}}
  - {{name: lamp_ground_{n}, from: lamp_{n}.minus, to: bolt_{n}.stud, gauge: 1.5 mm², length: 0.3 m}}
  - {{name: coil_feed_{n}, from: coil_splice.stud, to: coil_fuse_{n}.in, gauge: 0.75 mm², length: 1 m}}
  - {{name: coil_out_{n}, from: coil_fuse_{n}.out, to: relay_{n}.86, gauge: 0.75 mm², length: 1.5 m}}
  - {{name: coil_ground_{n}, from: relay_{n}.85, to: bolt_{n}.stud, gauge: 0.75 mm², length: 0.3 m}}
"""


def circuit_text(parts: int) -> str:
    """A circuit file of so many parts: 5 and a multiple of 5."""
    count, rest = divmod(parts - SHARED, EACH)
    if rest or count < 1:
        raise ValueError(f"{parts} parts: make it 10, 15, 20 ...")
    numbers = range(1, count + 1)
    return HEAD.format(count=count) + "".join(PARTS.format(n=n) for n in numbers) + SHARED_WIRES + "".join(
        WIRES.format(n=n) for n in numbers
    )  # fmt: skip
