"""What each check may show in every cell, and which limits tell most."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.setups import Setup
from troubleshoot.expect.table import Table
from troubleshoot.solve.linear import Floats
from troubleshoot.tree.chances import NEVER, WITHIN, Chances, Shown, telling

VOLTS = Check("a to b volts on", Setup("on"), "a", "b")
OHMS = Check("a to b ohms off", Setup("off"), "a", "b", "ohms")


def shown(means: list[float], sigmas: list[float], floats: list[bool] | None = None, check: Check = VOLTS) -> Shown:
    mean = np.repeat(np.array(means)[:, None], len(WITHIN), axis=1)
    nothing = np.zeros(len(means))
    return Shown(check, mean, np.array(sigmas), np.array(floats or [False] * len(means)), nothing, nothing + 0.05)


def test_a_reading_is_under_a_limit_as_often_as_a_gaussian_is() -> None:
    under = shown([12.0, 11.0], [0.2, 0.5]).under(np.array([11.5, 12.0]))
    assert under == pytest.approx(norm.cdf([[-2.5, 0.0], [1.0, 2.0]]), abs=1e-9)


def test_what_floats_reads_nothing_half_the_time() -> None:
    (under,) = shown([8.0], [0.1], [True]).under(np.array([1.0, 9.0]))
    assert under == pytest.approx([0.5, 1.0])


def test_a_value_held_over_a_turn_of_the_key_is_the_other_one_in_a_dry_car_half_the_time() -> None:
    reads = replace(shown([8.0], [0.1], [True]), dry=np.array([11.2]))
    (under,) = reads.under(np.array([1.0, 9.0, 12.0]))
    assert under == pytest.approx([0.0, 0.5, 1.0])


def test_ohms_are_compared_by_ratio() -> None:
    (under,) = shown([float(np.log(100.5))], [0.1], check=OHMS).under(np.array([100.0, 1000.0]))
    assert under == pytest.approx([0.5, 1.0])


def test_bands_are_shares_and_leave_out_what_hardly_happens() -> None:
    bands = shown([12.0, 11.5, 0.0], [0.1, 0.1, 0.01]).bands(np.array([5.0, 11.5]))
    assert bands.sum(axis=1) == pytest.approx([1.0, 1.0, 1.0])
    assert bands[0].tolist() == [0.0, 0.0, 1.0]
    assert bands[1] == pytest.approx([0.0, 0.5, 0.5])
    assert ((bands == 0) | (bands >= NEVER)).all()


def test_the_limit_goes_where_it_parts_the_groups_and_least_lies_on_both_sides() -> None:
    limits = np.array([2.0, 6.0, 10.5])
    under = shown([0.0, 3.0, 11.0], [0.5, 1.5, 0.3]).under(limits)
    groups: Floats = np.array([[0.3, 0.3, 0.0], [0.0, 0.0, 0.4]])  # the first two cells are look-alikes
    assert telling(under, groups, straddling=2.0).tolist() == [1]


def test_no_limit_is_put_within_one_group() -> None:
    under = shown([0.0, 12.0], [0.1, 0.1]).under(np.array([3.0, 6.0]))
    assert telling(under, np.array([[0.5, 0.5]]), straddling=2.0).size == 0


def test_chances_of_a_circuit_are_shares_and_every_check_tells_something(table: Table) -> None:
    readings = table.readings[:40]
    group_of = np.unique(table.names, return_inverse=True)[1]
    chances = Chances(table, readings, table.weight, group_of)
    assert 0 < len(chances.checks) <= len(readings)
    for chance, limits in zip(chances.chance, chances.limits, strict=True):
        assert chance.shape == (len(table.cells), limits.size + 1)
        assert chance.sum(axis=1) == pytest.approx(1.0)
        assert (np.diff(limits) > 0).all()
        assert (chance != chance[0]).any()
