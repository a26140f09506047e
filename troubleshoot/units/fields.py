"""Named pydantic types for the fields of a circuit file: text with a unit in, floats in SI out.

A float or a Measure that is already built passes in Python, so that models can be made by
code. A file's bare number is a mistake: validate files with `context=FROM_FILE`, which refuses
it (reading JSON text refuses it anyway). Written as JSON, a field is its exact text again.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler, ValidationInfo
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from troubleshoot.errors import Problem, TypedWrong
from troubleshoot.units.measure import Measure, parse_measure
from troubleshoot.units.quantity import parse_quantity
from troubleshoot.units.show import write_quantity
from troubleshoot.units.table import EXAMPLES

FROM_FILE: dict[str, bool] = {"from_file": True}


def as_pydantic(problem: Problem) -> PydanticCustomError:
    """Turn a problem with typed words into pydantic's error, with the same code, message and hint."""
    code: Any = problem.code  # pydantic wants a literal string; ours are stable codes
    return PydanticCustomError(code, "{message}", {"message": str(problem), "hint": problem.hint})


@dataclass(frozen=True)
class FromText:
    """Annotates a float field: reads `12.6 V` as one `dimension`, and writes it so again."""

    dimension: str

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        exact_text = core_schema.plain_serializer_function_ser_schema(self.write, when_used="json")
        return core_schema.with_info_plain_validator_function(self._validated, serialization=exact_text)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        description = f"a {self.dimension} with its unit"
        return {"type": "string", "description": description, "examples": self.examples()}

    def _validated(self, given: Any, info: ValidationInfo) -> float | Measure:
        if isinstance(given, str):
            try:
                return self.read(given)
            except TypedWrong as error:
                raise as_pydantic(error.problem) from None
        is_written = info.mode == "json" or bool(info.context and info.context.get("from_file"))
        built = self.built(given)
        if built is None or (is_written and not isinstance(given, Measure)):
            hint = f"write it like {self.examples()[0]}"
            raise as_pydantic(Problem("missing-unit", f"a {self.dimension} needs its unit", hint))
        return built

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
Celsius = Annotated[float, FromText("temperature")]
Watts = Annotated[float, FromText("power")]
Siemens = Annotated[float, FromText("conductance")]

VoltsMeasure = Annotated[Measure, MeasureFromText("voltage")]
AmperesMeasure = Annotated[Measure, MeasureFromText("current")]
OhmsMeasure = Annotated[Measure, MeasureFromText("resistance")]
FractionMeasure = Annotated[Measure, MeasureFromText("fraction")]
MetresMeasure = Annotated[Measure, MeasureFromText("length")]
CelsiusMeasure = Annotated[Measure, MeasureFromText("temperature")]
