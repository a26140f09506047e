"""The JSON Schema of circuit.yaml, for editors: made from the models, stored as `trees/circuit.schema.json`.

An editor that knows of JSON Schema completes and checks while one types; how the parts fit together is checked only
when the file is read. An editor finds it by the first line of a circuit file, an open convention:
`# yaml-language-server: $schema=../circuit.schema.json`.
"""

from __future__ import annotations

import json
from typing import Any

from pydantic.json_schema import GenerateJsonSchema
from pydantic_core import CoreSchema
from pydantic_core.core_schema import ComputedField, ModelField, WithDefaultSchema

from troubleshoot.circuit.circuit import Circuit
from troubleshoot.units import Measure


def circuit_schema() -> dict[str, Any]:
    """What a circuit file may hold, by JSON Schema 2020-12.

    Beyond the standard's words `patternErrorMessage` is used: editors say it in place of a regular expression.
    """
    schema = Circuit.model_json_schema(by_alias=True, schema_generator=_ForEditors)
    shared: dict[str, Any] = {}
    schema = {name: _sharing(value, shared) for name, value in schema.items()}
    schema["$defs"] |= dict(sorted(shared.items()))
    return {"$schema": GenerateJsonSchema.schema_dialect, **schema}


def schema_text() -> str:
    """The schema as the stored file has it."""
    return json.dumps(circuit_schema(), indent=1, ensure_ascii=False) + "\n"


class _ForEditors(GenerateJsonSchema):
    """Without the titles that pydantic makes of the fields' names, and with defaults as one would type them."""

    def field_title_should_be_set(self, schema: CoreSchema | ModelField | ComputedField | Any) -> bool:
        return False

    def get_default_value(self, schema: WithDefaultSchema) -> Any:
        default = super().get_default_value(schema)
        inner: Any = schema["schema"]
        write = inner.get("serialization", {}).get("function")
        return write(default) if write and isinstance(default, (float, Measure)) else default


def _sharing(schema: Any, shared: dict[str, Any]) -> Any:
    """The same schema with each kind of text-with-unit written once, in `shared`, and referred to.

    What is said of one field alone, its own description and default, stays at the field.
    """
    if isinstance(schema, list):
        return [_sharing(each, shared) for each in schema]
    if not isinstance(schema, dict):
        return schema
    if "patternErrorMessage" not in schema:
        return {name: _sharing(value, shared) for name, value in schema.items()}
    name = schema["title"].replace(" ", "_")
    told = {key: schema[key] for key in ("type", "pattern", "patternErrorMessage", "examples")}
    assert shared.setdefault(name, told) == told, f"two kinds of text are called {name}"
    own = {key: value for key, value in schema.items() if key not in told and key != "title"}
    return {**own, "$ref": f"#/$defs/{name}"}
