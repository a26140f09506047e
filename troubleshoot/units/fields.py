"""Named pydantic types for the fields of a circuit file: text with a unit in, floats in SI out.

A float or a Measure that is already built passes in Python, so that models can be made by
code. A file's bare number is a mistake: validate files with `context=FROM_FILE`, which refuses
it (reading JSON text refuses it anyway). Written as JSON, a field is its exact text again.
The positive ones are for what cannot be nothing, as the ohms of a joint; their bands stay above zero too.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated, Any, ClassVar

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler, ValidationInfo
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from troubleshoot.errors import Problem, TypedWrong
from troubleshoot.units.measure import Measure, parse_measure
from troubleshoot.units.pattern import quantity_pattern
from troubleshoot.units.quantity import parse_quantity
from troubleshoot.units.show import show, write_quantity
from troubleshoot.units.table import EXAMPLES
from troubleshoot.units.typed import wrong

FROM_FILE: dict[str, bool] = {"from_file": True}


def as_pydantic(problem: Problem) -> PydanticCustomError:
    """Turn a problem with typed words into pydantic's error, with the same code, words, message and hint."""
    code: Any = problem.code  # pydantic wants a literal string; ours are stable codes
    message = f"{problem.where}: {problem.message}" if problem.where else problem.message
    return PydanticCustomError(code, "{message}", {"message": message, "hint": problem.hint})


@dataclass(frozen=True)
class FromText:
    """Annotates a float field: reads `12.6 V` as one `dimension`, and writes it so again.

    Values outside `least`..`most` (SI) are refused, and with `positive` all that is or may be 0 or less.
    """

    dimension: str
    positive: bool = False
    least: float = -math.inf
    most: float = math.inf
    has_tolerance: ClassVar[bool] = False

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        exact_text = core_schema.plain_serializer_function_ser_schema(self.write, when_used="json")
        return core_schema.with_info_plain_validator_function(self._validated, serialization=exact_text)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        description = f"a {self.dimension} with its unit{', more than 0' if self.positive else ''}"
        may_be_negative = not self.positive and self.least < 0
        limit = " over 0" if self.positive else "" if may_be_negative else " from 0"
        return {
            "title": f"{self.dimension}{limit}{' with tolerance' if self.has_tolerance else ''}",
            "type": "string",
            "description": description,
            "pattern": quantity_pattern(self.dimension, may_be_negative, self.has_tolerance),
            "patternErrorMessage": f"write {description}, like {self.examples()[0]}",
            "examples": self.examples(),
        }

    def _validated(self, given: Any, info: ValidationInfo) -> float | Measure:
        try:
            if isinstance(given, str):
                return self._sensible(self.read(given), given)
            return self._sensible(self._built(given, info), "")
        except TypedWrong as error:
            raise as_pydantic(error.problem) from None

    def _built(self, given: Any, info: ValidationInfo) -> float | Measure:
        is_written = info.mode == "json" or bool(info.context and info.context.get("from_file"))
        built = self.built(given)
        if built is None or (is_written and not isinstance(given, Measure)):
            hint = f"write it like {self.examples()[0]}"
            raise TypedWrong(Problem("missing-unit", f"a {self.dimension} needs its unit", hint))
        return built

    def _sensible(self, read: float | Measure, text: str) -> float | Measure:
        """Return what was read from `text` if it may stand here; raises `out-of-range` or `too-wide`."""
        value, half_band = (read.value, read.half_band) if isinstance(read, Measure) else (read, 0.0)
        text, example = text or self.write(read), EXAMPLES[self.dimension]
        if self.positive and value <= 0:
            message = f"a {self.dimension} here is more than 0"
            raise wrong("out-of-range", text, message, f"write it like {example}")
        if self.positive and half_band >= value:
            hint = f"stay under 100 %: what is hardly known is a range, like 1..{example}, or ± 90 %"
            raise wrong("too-wide", text, "the tolerance reaches down to 0 or below", hint)
        if not self.least <= value <= self.most:
            limits = f"from {show(self.least, self.dimension)}"
            limits += f" to {show(self.most, self.dimension)}" if self.most < math.inf else " up"
            hint = f"write it like {example}"
            raise wrong("out-of-range", text, f"a {self.dimension} here goes {limits}", hint)
        return read

    def examples(self) -> list[str]:
        """Return what could be written in such a field."""
        return [EXAMPLES[self.dimension]]

    def read(self, text: str) -> float | Measure:
        """Read the text of the field; raises TypedWrong."""
        return parse_quantity(text, self.dimension)

    def built(self, given: Any) -> float | Measure | None:
        """Return `given` if it is such a value already, else None."""
        is_number = isinstance(given, (int, float)) and not isinstance(given, bool)
        return float(given) if is_number and math.isfinite(given) else None

    def write(self, value: Any) -> str:
        """Return the exact text of the field."""
        return write_quantity(value, self.dimension)


@dataclass(frozen=True)
class MeasureFromText(FromText):
    """Annotates a Measure field: reads `6 mohm ± 30 %` as one `dimension`, and writes it so again."""

    has_tolerance: ClassVar[bool] = True

    def examples(self) -> list[str]:
        """Return what could be written in such a field."""
        example = EXAMPLES[self.dimension]
        return [f"{example} ± {_TOLERANCES[self.dimension]}", example]

    def read(self, text: str) -> Measure:
        """Read the text of the field; raises TypedWrong."""
        return parse_measure(text, self.dimension)

    def built(self, given: Any) -> Measure | None:
        """Return `given` if it is a Measure already, else None."""
        return given if isinstance(given, Measure) else None

    def write(self, value: Any) -> str:
        """Return the exact text of the field."""
        text = write_quantity(value.value, self.dimension)
        return f"{text} ± {write_quantity(value.half_band, self.dimension)}" if value.half_band else text


_TOLERANCES = {
    "voltage": "0.1 V",
    "current": "20 %",
    "resistance": "10 %",
    "fraction": "10 %",
    "length": "20 %",
    "temperature": "10 °C",
}

Volts = Annotated[float, FromText("voltage")]
Amperes = Annotated[float, FromText("current")]
Ohms = Annotated[float, FromText("resistance")]
Metres = Annotated[float, FromText("length")]
Seconds = Annotated[float, FromText("time")]
Fraction = Annotated[float, FromText("fraction")]
Share = Annotated[float, FromText("fraction", least=0.0, most=1.0)]
Celsius = Annotated[float, FromText("temperature")]
Watts = Annotated[float, FromText("power")]
Siemens = Annotated[float, FromText("conductance")]

VoltsMeasure = Annotated[Measure, MeasureFromText("voltage")]
AmperesMeasure = Annotated[Measure, MeasureFromText("current")]
OhmsMeasure = Annotated[Measure, MeasureFromText("resistance")]
FractionMeasure = Annotated[Measure, MeasureFromText("fraction")]
MetresMeasure = Annotated[Measure, MeasureFromText("length")]
CelsiusMeasure = Annotated[Measure, MeasureFromText("temperature")]

PositiveAmperes = Annotated[float, FromText("current", positive=True)]
PositiveWatts = Annotated[float, FromText("power", positive=True)]
PositiveMetres = Annotated[float, FromText("length", positive=True)]
UnsignedVolts = Annotated[float, FromText("voltage", least=0.0)]
PositiveVoltsMeasure = Annotated[Measure, MeasureFromText("voltage", positive=True)]
PositiveOhmsMeasure = Annotated[Measure, MeasureFromText("resistance", positive=True)]
ShareMeasure = Annotated[Measure, MeasureFromText("fraction", least=0.0, most=1.0)]
