"""A wire's size as a circuit file gives it, `14 AWG` or `2.5 mm²`: the text and its cross-section."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, core_schema

from troubleshoot.errors import Problem, TypedWrong
from troubleshoot.units.awg import read_awg
from troubleshoot.units.fields import as_pydantic
from troubleshoot.units.pattern import gauge_pattern
from troubleshoot.units.quantity import parse_quantity
from troubleshoot.units.typed import clean, wrong


@dataclass(frozen=True)
class Gauge:
    """A wire size: `text` as written, cross-section `area_m2` in m², and `awg` where it was given so."""

    text: str
    area_m2: float
    awg: int | None = None

    @classmethod
    def read(cls, text: str) -> Gauge:
        """Read `14 AWG`, `2/0 AWG`, `2.5 mm²` or `2.5 mm2`; raises TypedWrong."""
        area_m2 = parse_quantity(text, "area")
        if area_m2 == 0.0:
            raise wrong("not-a-gauge", text, "a wire has some copper in it", "write 14 AWG or 2.5 mm2")
        return cls(text=text.strip(), area_m2=area_m2, awg=read_awg(clean(text)))

    @classmethod
    def __get_pydantic_core_schema__(cls, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        text_only = core_schema.plain_serializer_function_ser_schema(lambda gauge: gauge.text, when_used="json")
        return core_schema.no_info_plain_validator_function(cls._validated, serialization=text_only)

    @classmethod
    def __get_pydantic_json_schema__(cls, schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        return {
            "title": "wire size",
            "type": "string",
            "description": "a wire size",
            "pattern": gauge_pattern(),
            "patternErrorMessage": "write a wire size, like 14 AWG or 2.5 mm2",
            "examples": ["14 AWG", "2.5 mm2"],
        }

    @classmethod
    def _validated(cls, given: Any) -> Gauge:
        if isinstance(given, Gauge):
            return given
        if not isinstance(given, str):
            hint = "write it like 14 AWG or 2.5 mm2"
            raise as_pydantic(Problem("missing-unit", "a wire size needs its unit", hint))
        try:
            return cls.read(given)
        except TypedWrong as error:
            raise as_pydantic(replace(error.problem, code="wrong-gauge")) from None
