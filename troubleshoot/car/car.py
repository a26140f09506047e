"""A car with one fault, its values drawn from the file's tolerances, and what a person reads off it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from troubleshoot.circuit.checks import Check, Setup
from troubleshoot.circuit.network import Network
from troubleshoot.parts.branch import Fault
from troubleshoot.solve.cases import OPEN, Bench, Case, Draw
from troubleshoot.solve.linear import Floats, Solved
from troubleshoot.solve.settle import State

METER_OHM = 10e6
GAIN_SIGMA = 0.0025
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

HOT_W = 4.0
WEAK_SHARE = 0.75


class Car:
    """Answers checks as the meter and the person's ears would. Same seed, same car and same readings."""

    def __init__(
        self, network: Network, fault: Fault | None = None, severity: float | None = None, seed: int = 0
    ) -> None:
        self.network = network
        self.fault = fault
        self.severity = severity
        self._rng = np.random.default_rng([seed, 77])
        self._where = self._pick_branch()
        self.bench = Bench(network, [Case(self._where, severity)], self._draw())
        self._healthy = Bench(network, [Case()], self.bench.draw)
        self._gain = 1 + GAIN_SIGMA * self._rng.standard_normal()
        self._leads = LEAD_OHM + 0.05 * self._rng.standard_normal()
        self._states: dict[Setup, tuple[State, bool]] = {}
        self._kept: dict[Setup, Solved] | None = None

    def _pick_branch(self) -> Fault | None:
        """Puts a stretch's fault into any one of its joints and wires, not always the first."""
        if self.fault is None:
            return None
        for stretch in self.network.stretches:
            if self.fault.part == stretch.name and self.fault.mode == "bad":
                branch = str(self._rng.choice(list(stretch.branches)))
                return replace(self.fault, changes=(replace(self.fault.changes[0], target=branch),))
        return self.fault

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
            each([d.start_spread for d in net.motors]),
            KELVIN_SIGMA * normal(1),
        )

    # ---- how it stands

    def _state(self, setup: Setup) -> tuple[State, bool]:
        if setup not in self._states:
            # the start is prevented by something pulled just for the cranking
            prevented = frozenset({self.network.circuit.start_prevented.unplug}) & setup.removed
            plain = setup.removed - prevented
            for key, (state, chatters) in self.bench.run(plain, setup.key, prevented=prevented).items():
                out = plain | prevented if key == "cranking" else plain
                self._states[Setup(key, out)] = (state, bool(chatters[0]))
        return self._states[setup]

    def _solve(self, setup: Setup, drift: bool = True) -> Solved:
        """The circuit in a setup, the bad joint drifted anew (during a survey: once a setup)."""
        if self._kept is not None and drift:
            if setup not in self._kept:
                self._kept[setup] = self._solve_anew(setup, True)
            return self._kept[setup]
        return self._solve_anew(setup, drift)

    def _solve_anew(self, setup: Setup, drift: bool) -> Solved:
        state, _ = self._state(setup)
        siemens, emf_v = self.bench.arrays(setup.key, setup.removed, state)
        if drift and self._where and self.severity not in (None, OPEN):
            for change in self._where.changes:
                if change.value is None and change.what in ("series", "connect"):
                    at = self.network.branch_at[change.target]
                    extra = float(self.severity or 0.0) * np.expm1(DRIFT * self._rng.standard_normal())
                    siemens[:, at] = 1 / (1 / siemens[:, at] + extra)
        return Solved(self.bench.net, siemens, emf_v)

    def matters(self) -> bool:
        """Whether the fault does anything to this car: 0.2 V less at the motor, a device that acts otherwise,
        a coil that draws more, or one whose pull has come close to its limit."""
        for key in ("off", "on", "cranking"):
            pair = []
            for bench in (self.bench, self._healthy):
                state, chatters = bench.run(frozenset(), key)[key]
                solved = Solved(bench.net, *bench.arrays(key, frozenset(), state))
                bits = np.concatenate([state.pulled, state.blown, state.turning], axis=1)
                across = bench.net.across(solved.volts)[:, bench.devices.motors.branch]
                relays = bench.devices.relays
                amps = np.abs(solved.currents()[:, relays.coil])
                pair.append((bits, across, amps, amps * relays.turns / relays.pull_in_a, bool(chatters[0])))
            bad, good = pair
            if (bad[0] != good[0]).any() or bad[4] or (good[1] - bad[1] > 0.2).any():
                return True
            if (bad[2] > 1.3 * good[2] + 0.05).any():
                return True
            if self._is_series() and ((bad[3] < 1.25) & (good[3] >= 1.25)).any():
                return True
        return False

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
        if check.function in ("volts_min", "volts_max"):
            values = [self._volts(check, Setup("on")), self._volts(check, check.setup)]
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
        solved = self._solve(setup)
        red, black = self.bench.node_at[check.red], self.bench.node_at[check.black]
        reply = solved.between(red, black)[0]
        source_ohm = reply[red] - reply[black]
        true = (solved.volts[0, red] - solved.volts[0, black]) * METER_OHM / (METER_OHM + source_ohm)
        if self._state(setup)[1]:
            true *= self._rng.uniform(0.3, 1.0)
        sag = 1 + SAG * self._rng.standard_normal() if check.function != "millivolts" else 1.0
        return float(true * self._gain * sag)

    def _digits(self, volts: float, function: str) -> str:
        """The number as a 6000-count meter shows it."""
        if function == "millivolts" and abs(volts) < 0.6:
            return f"{volts * 1000:.1f} mV"
        return f"{volts:.3f} V" if abs(volts) < 6 else f"{volts:.2f} V"

    def _ohms(self, check: Check) -> str:
        solved = self._solve(check.setup)
        red, black = self.bench.node_at[check.red], self.bench.node_at[check.black]
        reply = solved.between(red, black)[0]
        ohm = max(0.0, float(reply[red] - reply[black])) + self._leads
        ohm *= 1 + 0.005 * self._rng.standard_normal()
        if ohm > 40e6:
            return "OL"
        _, scale, unit, digits = next(ohms_range for ohms_range in OHMS_RANGES if ohm < ohms_range[0])
        return f"{ohm / scale:.{digits}f} {unit}"

    def complaint(self) -> str:
        """What the owner would say of it, one of the complaints that `find` offers."""
        pump = self.network.motors[0].name
        off, on, cranking = (self._heard(Setup(key), pump) for key in ("off", "on", "cranking"))
        if off != "no":
            return "runs-key-off"
        if self._state(Setup("on"))[1] or self._state(Setup("cranking"))[1]:
            return "chatters"
        if self._state(Setup("on"))[0].blown.any() and self._rng.random() < 0.5:
            return "blows-fuse"
        if cranking == "no":
            return "cranks-no-start" if on == "no" else "dead-while-cranking"
        return "weak" if "weak" in (on, cranking) else "unsure"

    def _look(self, check: Check) -> str:
        kind, _, name = check.about.partition(":")
        state, chatters = self._state(check.setup if kind != "whole" else Setup("off"))
        net = self.network
        if kind == "click":
            at = [d.name for d in net.relays].index(name)
            return "buzzes" if chatters else "clicks" if state.pulled[0, at] else "no click"
        if kind == "whole":
            return "blown" if state.blown[0, [d.name for d in net.fuses].index(name)] else "whole"
        if kind == "runs":
            return self._heard(check.setup, name)
        solved = self._solve(check.setup)
        watts = solved.siemens[0] * np.square(solved.net.across(solved.volts)[0] - solved.emf_v[0])
        motors = {d.branch for d in net.motors}
        total = sum(
            watts[i] for i, b in enumerate(net.branches)
            if b.name.partition(".")[0] == name and b.name not in motors
        )  # fmt: skip
        return "hot" if total > HOT_W * np.exp(0.2 * self._rng.standard_normal()) else "cool"

    def _heard(self, setup: Setup, name: str) -> str:
        at = [d.name for d in self.network.motors].index(name)
        state, _ = self._state(setup)
        if not state.turning[0, at]:
            return "no"
        branch = self.bench.devices.motors.branch[at]
        amps = abs(self._solve(setup, drift=False).currents()[0, branch])
        on = self._healthy.run(frozenset(), "on")["on"][0]
        healthy = Solved(self._healthy.net, *self._healthy.arrays("on", frozenset(), on))
        share = amps / abs(healthy.currents()[0, branch])
        return "weak" if share < WEAK_SHARE + 0.05 * self._rng.standard_normal() else "runs"
