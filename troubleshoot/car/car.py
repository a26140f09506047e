"""A car with a fault or two, its values drawn from the file's tolerances, and what a person reads off it."""

from __future__ import annotations

import copy
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.network import Network
from troubleshoot.circuit.setups import Setup, cranking_setup, cut_offs, live_setups, setup_before, working_setup
from troubleshoot.parts.branch import Change, Fault
from troubleshoot.solve.cases import OPEN, Bench, Case, Draw
from troubleshoot.solve.linear import Floats, Solved
from troubleshoot.solve.meter import FLOATING_OHM

METER_OHM = 10e6
LOW_OHM = 3e3
CLAMP_SHARE = 0.015
CLAMP_ZERO_A = 0.06
GAIN_SIGMA = 0.0025
ZERO_COUNTS = 1.5
"""What a meter shows on volts with its leads joined, in its last digits, at most: with the half that is lost in
rounding the two counts of a maker's ±(0.5 % + 2) (typical maker data, no single source)."""

DRY_SHARE = 0.5
DRIER = 1e4
"""Of so many cars all that is open is dry: behind it a meter finds this many times the resistance, and so next to
nothing (invented)."""

LEAD_OHM = 0.2
KELVIN_SIGMA = 12.0
DRIFT = 0.1
CRANK_DIP_V = 0.12
"""Spread of a held value while cranking: no two cranks are alike (invented)."""

OHMS_RANGES = (
    (600, 1, "ohm", 1), (6e3, 1e3, "kohm", 3), (6e4, 1e3, "kohm", 2),
    (6e5, 1e3, "kohm", 1), (6e6, 1e6, "Mohm", 3), (1e9, 1e6, "Mohm", 2),
)  # fmt: skip
"""A 6000-count meter's ranges: up to which ohms, shown in what, with how many decimals."""

LEAK_LN = -0.7
LEAK_SPREAD = 1.0
"""Leakage of what is open, against the stated: mostly less, and much more uncertain than is reckoned with."""

SAG = 0.0015
"""The battery is never quite the same from one reading to the next: relative (invented; 20 mV at 12.5 V)."""

WELL, WEAK, NO = 0, 1, 2
DARK_SHARE = 0.05
BRIGHT_V = 8.5
DARK_V = 2.0
HOT_W = 4.0
WEAK_SHARE = 0.75


class Car:
    """Answers checks as the meter and the person's ears would. Same seed, same car and same readings."""

    def __init__(
        self, network: Network, fault: Fault | None = None, severity: float | None = None, seed: int = 0,
        second: tuple[Fault, float | None] | None = None,
    ) -> None:  # fmt: skip
        self.network = network
        self.fault = fault
        self.severity = severity
        self._rng = np.random.default_rng([seed, 77])
        faults = [(fault, severity)] if fault else []
        picked = [(self._pick_branch(one), its) for one, its in [*faults, *([second] if second else [])]]
        self._draws = self._draw()
        self._have(picked)
        self._healthy = Bench(network, [Case()], self._draws)
        self._gain = 1 + GAIN_SIGMA * self._rng.standard_normal()
        self._leads = LEAD_OHM + 0.05 * self._rng.standard_normal()
        apart = np.random.default_rng([seed, 78])
        self._zero = ZERO_COUNTS * apart.uniform(-1.0, 1.0)
        self._is_dry = bool(apart.random() < DRY_SHARE)
        self._kept: dict[Setup, Solved] | None = None
        self._first = self._rng.bit_generator.state

    def rewind(self) -> None:
        """From here on it is read off as if for the first time: the same checks in the same order, the same answers."""
        self._rng.bit_generator.state = self._first

    def _have(self, faults: list[tuple[Fault, float | None]]) -> None:
        """Gives the car these faults, each with its severity: none, one or two."""
        self.faults = faults
        self._where: Fault | None = None
        self.severity = None
        if faults:
            self._where, self.severity = faults[0]
        for fault, severity in faults[1:]:
            self._where = replace(faults[0][0], changes=(*faults[0][0].changes, *_with_value(fault, severity)))
        self.bench = Bench(self.network, [Case(self._where, self.severity)], self._draws)

    def repaired(self, which: int) -> Car:
        """The same car, its drawn values kept, with its first (0) or second (1) fault repaired; what that has blown is
        replaced too."""
        left = copy.copy(self)
        left._have([fault for at, fault in enumerate(self.faults) if at != which])
        left.fault = left._where
        return left

    def with_new(self, part: str) -> Car:
        """The same car with a known good one in place of a part, pushed home; what a short blows is blown again."""
        new, net = copy.copy(self), self.network
        home = {b.name for b in net.branches if part in b.needs}
        left = []
        for fault, severity in self.faults:
            stays = tuple(c for c in net.renewed(fault, part).changes if not (c.reseats and c.target in home))
            left += [(replace(fault, changes=stays), severity)] if stays else []
        new._have(left)
        new.fault = new._where
        return new

    def _pick_branch(self, fault: Fault) -> Fault:
        """Puts a stretch's fault into any one of its joints and wires, not always the first."""
        for stretch in self.network.stretches:
            if fault.part == stretch.name and fault.mode == "bad":
                branch = str(self._rng.choice(list(stretch.branches)))
                return replace(fault, changes=(replace(fault.changes[0], target=branch),))
        return fault

    def _draw(self) -> Draw:
        net = self.network
        normal = self._rng.standard_normal
        branches = net.branches

        def each(sigmas: list[float]) -> Floats:
            return np.array([sigmas]) * normal((1, len(sigmas))) if sigmas else np.zeros((1, 0))

        emf_shift = normal()  # one battery: both of its branches move together
        return Draw(
            each([b.spread for b in branches]),
            LEAK_LN + LEAK_SPREAD * normal((1, len(branches))),
            np.array([[b.emf_sigma_v * emf_shift for b in branches]]),
            each([d.pull_in_spread for d in net.relays]),
            each([d.blow_spread for d in net.fuses]),
            each([d.start_spread for d in net.bends]),
            KELVIN_SIGMA * normal(1),
        )

    # ---- how it stands

    def _chatters(self, setup: Setup) -> bool:
        return bool(self.bench.settled(setup)[1][0])

    def _solve(self, setup: Setup, drift: bool = True) -> Solved:
        """The circuit in a setup, the bad joint drifted anew (during a survey: once a setup)."""
        if self._kept is not None and drift:
            if setup not in self._kept:
                self._kept[setup] = self._solve_anew(setup, True)
            return self._kept[setup]
        return self._solve_anew(setup, drift)

    def _solve_anew(self, setup: Setup, drift: bool) -> Solved:
        more_ohm = dict[int, float]()
        for fault, severity in self.faults if drift else ():
            for change in fault.changes:
                if severity not in (None, OPEN) and change.value is None and change.what in ("series", "connect"):
                    at = self.network.branch_at[change.target]
                    drifted = float(severity or 0.0) * np.expm1(DRIFT * self._rng.standard_normal())
                    more_ohm[at] = more_ohm.get(at, 0.0) + drifted
        return self.bench.solved_with(setup, more_ohm)

    def matters(self) -> bool:
        """Whether the fault does anything to this car: 0.2 V less at a load, a device that acts otherwise,
        a coil that draws more, or one whose pull has come close to its limit."""
        circuit = self.network.circuit
        watched = [setup for setup in live_setups(circuit) if setup.key != "accessory"]
        watched += [working_setup(circuit, frozenset({name})) for name in cut_offs(circuit)]
        watched += [replace(working_setup(circuit), warm=True)]
        return any(self._matters_in(setup) for setup in watched)

    def _matters_in(self, setup: Setup) -> bool:
        pair = []
        starters = {name for name, part in self.network.circuit.parts.items() if part.kind == "starter"}
        acting = [d.name for d in self.network.relays if d.name not in starters or setup.key in ("off", "on", "prime")]
        for bench in (self.bench, self._healthy):
            state, chatters = bench.settled(setup)
            solved = bench.solved(setup)
            pulled = {d.name: bool(state.pulled[0, i]) for i, d in enumerate(self.network.relays)}
            signs = [int(n) if d.kind == "motor" else abs(int(n))
                     for d, n in zip(self.network.bends, state.bent[0], strict=True)]  # fmt: skip
            acts = ([pulled[name] for name in acting], state.blown[0].tolist(), signs)
            across = np.abs(bench.net.across(solved.volts)[0, self._load_branches()])
            which = [i for i, d in enumerate(self.network.relays) if d.name in self.network.circuit.relays]
            relays = bench.devices.relays
            amps = np.abs(solved.currents()[0, relays.coil[which]])
            drive = amps * relays.turns[0, which] / relays.pull_in_a[0, which]
            taken = np.abs(solved.currents()[0, self._load_branches()])
            pair.append((acts, across, amps, drive, bool(chatters[0]), taken))
        bad, good = pair
        if bad[0] != good[0] or bad[4] or (good[1] - bad[1] > 0.2).any():
            return True
        if (bad[2] > 1.3 * good[2] + 0.05).any() or (bad[5] < 0.8 * good[5] - 0.05).any():
            return True
        return self._is_series() and bool(((bad[3] < 1.25) & (good[3] >= 1.25)).any())

    def _load_branches(self) -> list[int]:
        return [self.network.branch_at[how.branch] for how in self.network.circuit.loads.values()]

    def _is_series(self) -> bool:
        """Whether it is a resistance in line: that shows in volts even where the relay still pulls in. A coil
        that needs more volts than it should, and gets them, shows in nothing that one may measure."""
        return self._where is not None and any(change.what == "series" for change in self._where.changes)

    # ---- what a person reads

    def answer(self, check: Check) -> str:
        """What one would type for this check."""
        if check.kind == "observation":
            return self._look(check)
        if check.is_ohms:
            return self._ohms(check)
        if check.wire:
            return f"{self._amps(check):.2f} A"
        if check.is_held:
            before = setup_before(self.network.circuit, check.setup) or check.setup
            values = [self._volts(check, before), self._volts(check, check.setup)]
            values[1] += CRANK_DIP_V * self._rng.standard_normal() * min(1.0, abs(values[1]) / 3)
            shown = min(values) if check.function == "volts_min" else max(values)
        else:
            shown = self._volts(check, check.setup)
        return self._digits(shown, check.function)

    def survey(self, checks: Sequence[Check]) -> list[str]:
        """The answers to many checks, made one after another with nothing moved between those of a setup."""
        self._kept = {}
        try:
            return [self.answer(check) for check in checks]
        finally:
            self._kept = None

    def _volts(self, check: Check, setup: Setup) -> float:
        solved, red, black, source_ohm = self._between(check, setup)
        meter_ohm = LOW_OHM if check.function == "low_volts" else METER_OHM
        true = (solved.volts[0, red] - solved.volts[0, black]) * meter_ohm / (meter_ohm + source_ohm)
        if self._chatters(setup):
            true *= self._rng.uniform(0.3, 1.0)
        sag = 1 + SAG * self._rng.standard_normal() if check.function != "millivolts" else 1.0
        return float(true * self._gain * sag)

    def _between(self, check: Check, setup: Setup) -> tuple[Solved, int, int, float]:
        """The circuit, where the leads are on in it, and the ohms between them; what leaks does so in a damp car."""
        solved = self._solve(setup)
        red, black = self.bench.node_at[check.red], self.bench.node_at[check.black]
        reply = solved.between(red, black)[0]
        ohm = float(reply[red] - reply[black])
        return solved, red, black, ohm * (DRIER if self._is_dry and ohm > FLOATING_OHM else 1.0)

    def _amps(self, check: Check) -> float:
        """What a DC clamp shows that was zeroed a while ago."""
        true = float(self._solve(check.setup).currents()[0, self.network.branch_at[check.wire]])
        return true * (1 + CLAMP_SHARE * self._rng.standard_normal()) + CLAMP_ZERO_A * self._rng.standard_normal()

    def _digits(self, volts: float, function: str) -> str:
        """The number as a 6000-count meter shows it."""
        if function == "millivolts" and abs(volts) < 0.6:
            return f"{volts * 1000 + self._zero / 10:.1f} mV"
        return f"{volts + self._zero / 1000:.3f} V" if abs(volts) < 6 else f"{volts + self._zero / 100:.2f} V"

    def _ohms(self, check: Check) -> str:
        ohm = max(0.0, self._between(check, check.setup)[3]) + self._leads
        ohm *= 1 + 0.005 * self._rng.standard_normal()
        if ohm > 40e6:
            return "OL"
        _, scale, unit, digits = next(ohms_range for ohms_range in OHMS_RANGES if ohm < ohms_range[0])
        return f"{ohm / scale:.{digits}f} {unit}"

    def complaint(self) -> str:
        """What the owner would say of it, one of the complaints that `find` offers."""
        circuit = self.network.circuit
        working, crank = working_setup(circuit), cranking_setup(circuit)
        off, on, cranking = (self._all_heard(s) for s in (Setup("off"), working, crank or working))
        if off != NO:
            return "runs-key-off"
        if circuit.relays and (self._chatters(working) or (crank and self._chatters(crank))):
            return "chatters"
        if self.bench.settled(working)[0].blown.any() and self._rng.random() < 0.5:
            return "blows-fuse"
        if cranking == NO and crank:
            return "cranks-no-start" if on == NO else "dead-while-cranking"
        if on == NO:
            return "dead"
        return "weak" if WEAK in (on, cranking) else "unsure"

    def _all_heard(self, setup: Setup) -> int:
        """How the worst of the loads works (at rest: the best), by the place of its answer."""
        heard = [self._heard(setup, name) for name in self.network.circuit.loads]
        return min(heard) if setup == Setup("off") else max(heard)

    def _look(self, check: Check) -> str:
        kind, _, name = check.about.partition(":")
        setup = check.setup if kind != "whole" else Setup("off")
        state, chatters = self.bench.settled(setup)
        net = self.network
        if kind == "click":
            at = [d.name for d in net.relays].index(name)
            return "buzzes" if chatters[0] else "clicks" if state.pulled[0, at] else "no click"
        if kind == "numbers":
            return check.answers[1 if name in {fault.shows for fault, _ in self.faults} else 0]
        if kind == "wiggle":
            return check.answers[1]
        if kind == "swap":
            return self.with_new(name)._tried(check)
        if kind == "whole":
            return "blown" if state.blown[0, [d.name for d in net.fuses].index(name)] else "whole"
        if kind == "runs":
            return check.answers[self._heard(setup, name)]
        if kind == "flows":
            return "yes" if self._heard(setup, name) != NO and self._bent(setup, name) > 0 else "no"
        solved = self._solve(setup)
        volts = np.abs(solved.net.across(solved.volts)[0])
        if kind == "lamp":
            across = volts[net.branch_at[f"{name}.filament"]] + 0.3 * self._rng.standard_normal()
            return check.answers[0 if across > BRIGHT_V else 1 if across > DARK_V else 2]
        amps = solved.currents()[0]
        loads = {how.branch for how in net.circuit.loads.values()}
        total = sum(
            amps[i] ** 2 / solved.siemens[0, i] for i, b in enumerate(net.branches)
            if b.name.partition(".")[0] == name and b.name not in loads and solved.siemens[0, i] > 0
        )  # fmt: skip
        return "hot" if total > HOT_W * np.exp(0.2 * self._rng.standard_normal()) else "cool"

    def _tried(self, check: Check) -> str:
        """How all goes with the new part, in the check's words: works, still wrong, or for a fuse blown once more."""
        fuses = [d.name for d in self.network.fuses]
        state, chatters = self.bench.settled(check.setup)
        if check.swaps in fuses and state.blown[0, fuses.index(check.swaps)]:
            return check.answers[2]
        well = self._all_heard(check.setup) == WELL and self._all_heard(Setup("off")) == NO and not chatters[0]
        return check.answers[0 if well else 1]

    def _bent(self, setup: Setup, name: str) -> int:
        """Which way a load works: 1, -1, or 0 for not at all."""
        branch = self.network.circuit.loads[name].branch
        at = [d.branch for d in self.network.bends].index(branch)
        return int(self.bench.settled(setup)[0].bent[0, at])

    def _heard(self, setup: Setup, name: str) -> int:
        """How a load works in a setup: WELL, WEAK or NO."""
        if not self._bent(setup, name):
            return NO
        at = self.network.branch_at[self.network.circuit.loads[name].branch]
        amps = abs(self._solve(setup, drift=False).currents()[0, at])
        healthy = self._healthy.solved(working_setup(self.network.circuit))
        share = amps / abs(healthy.currents()[0, at])
        if share < DARK_SHARE:
            return NO
        return WEAK if share < WEAK_SHARE + 0.05 * self._rng.standard_normal() else WELL


def _with_value(fault: Fault, severity: float | None) -> tuple[Change, ...]:
    """A fault's changes with its severity written into them."""
    return tuple(replace(c, value=severity) if c.value is None and severity is not None else c for c in fault.changes)
