"""What is written in a circuit file or typed, to SI floats and back: the first room, alone with pint."""

from troubleshoot.units.awg import awg_area_m2
from troubleshoot.units.fields import (
    FROM_FILE,
    Amperes,
    AmperesMeasure,
    Celsius,
    CelsiusMeasure,
    Fraction,
    FractionMeasure,
    Metres,
    MetresMeasure,
    Ohms,
    OhmsMeasure,
    PositiveAmperes,
    PositiveMetres,
    PositiveOhmsMeasure,
    PositiveVoltsMeasure,
    Seconds,
    ShareMeasure,
    Siemens,
    UnsignedVolts,
    Volts,
    VoltsMeasure,
    Watts,
)
from troubleshoot.units.gauge import Gauge
from troubleshoot.units.measure import Measure, parse_measure
from troubleshoot.units.quantity import parse_quantity
from troubleshoot.units.show import OVER_LIMIT_OHM, show, show_measure, write_quantity
from troubleshoot.units.typed import clean, quote

__all__ = [
    "FROM_FILE",
    "OVER_LIMIT_OHM",
    "Amperes",
    "AmperesMeasure",
    "Celsius",
    "CelsiusMeasure",
    "Fraction",
    "FractionMeasure",
    "Gauge",
    "Measure",
    "Metres",
    "MetresMeasure",
    "Ohms",
    "OhmsMeasure",
    "PositiveAmperes",
    "PositiveMetres",
    "PositiveOhmsMeasure",
    "PositiveVoltsMeasure",
    "Seconds",
    "ShareMeasure",
    "Siemens",
    "UnsignedVolts",
    "Volts",
    "VoltsMeasure",
    "Watts",
    "awg_area_m2",
    "clean",
    "parse_measure",
    "parse_quantity",
    "quote",
    "show",
    "show_measure",
    "write_quantity",
]
