"""A pydantic error's `loc` followed through the model: which segments are in the file, what may stand there.

Used by `check` alone. pydantic puts the tag of a union into `loc` ("parts", "fp", "relay", "coil"); only the
model knows that "relay" is such a tag and not a field, which fields that kind of part has, and what may be written.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel

from troubleshoot.files.yaml_text import Loc

_Schema = Mapping[str, Any]


@dataclass(frozen=True)
class Place:
    """`path`: the loc without union tags. `names`: the fields of the group there, or the union's kinds.
    `model`: the group's own, where it has one."""

    path: Loc
    names: tuple[str, ...]
    model: type[BaseModel] | None = None


def follow(model: type[BaseModel], loc: Loc) -> Place:
    """Where `loc` leads in the model. Where it cannot be followed, the rest of `loc` is kept."""
    definitions: dict[str, _Schema] = {}
    schema: _Schema | None = model.__pydantic_core_schema__
    path: list[str | int] = []
    for segment in loc:
        schema = _unwrap(schema, definitions)
        is_union = schema is not None and schema["type"] in ("tagged-union", "union")
        if not is_union:
            path.append(segment)
        schema = None if schema is None else _step(schema, segment, definitions)
    group = _unwrap(schema, definitions, until="model")
    return Place(tuple(path), _names(_unwrap(schema, definitions)), group.get("cls") if group else None)


def how_to_add(model: type[BaseModel], name: str) -> str:
    """What to write for a field that is not there: "add it, as in 'rating: 6.2 A': of the make contact"."""
    schema = model.model_json_schema()
    field = schema.get("$defs", {}).get(model.__name__, schema)["properties"].get(name, {})
    if field.get("type") == "array":
        return f"add '{name}:' and its list below"
    if field.get("type") == "object" or "$ref" in field:
        return f"add '{name}:' and its fields below"
    examples = [*field.get("examples", ()), *field.get("enum", ()), field.get("const", "...")]
    meant = str(field.get("description", "")).rstrip(".")
    is_said = not meant or field.get("patternErrorMessage", "").startswith(f"write {meant}")
    return f"add it, as in '{name}: {examples[0]}'" + ("" if is_said else f": {meant[0].lower()}{meant[1:]}")


def _unwrap(schema: _Schema | None, definitions: dict[str, _Schema], until: str = "") -> _Schema | None:
    """The schema under defaults, validators and references: the one that has fields, items or choices."""
    while schema is not None:
        kind = schema["type"]
        if kind == until:
            return schema
        if kind == "definitions":
            definitions.update({each["ref"]: each for each in schema["definitions"]})
        if kind == "definition-ref":
            schema = definitions.get(schema["schema_ref"])
        elif kind == "lax-or-strict":
            schema = schema["lax_schema"]
        elif kind == "json-or-python":
            schema = schema["python_schema"]
        elif kind == "chain":
            schema = schema["steps"][0]
        elif isinstance(schema.get("schema"), Mapping):
            schema = schema["schema"]
        else:
            return schema
    return None


def _step(schema: _Schema, segment: str | int, definitions: dict[str, _Schema]) -> _Schema | None:
    kind = schema["type"]
    found: _Schema | None = None
    if kind in ("model-fields", "typed-dict"):
        for name, field in schema["fields"].items():
            if segment in (name, field.get("validation_alias")):
                found = field["schema"]
    elif kind == "dict":
        found = schema.get("values_schema")
    elif kind in ("list", "set", "frozenset"):
        found = schema.get("items_schema")
    elif kind == "tuple":
        items = schema["items_schema"]
        spread = schema.get("variadic_item_index", len(items))
        if isinstance(segment, int) and items:
            found = items[min(segment, spread, len(items) - 1)]
    elif kind == "tagged-union":
        found = schema["choices"].get(segment)
    elif kind == "union":
        choices = [choice[0] if isinstance(choice, tuple) else choice for choice in schema["choices"]]
        found = next((each for each in choices if _class_name(each, definitions) == segment), None)
    return found


def _class_name(schema: _Schema, definitions: dict[str, _Schema]) -> str:
    """The class of a model among a union's choices, which is what pydantic puts into `loc` for it."""
    while schema["type"] == "definition-ref":
        schema = definitions[schema["schema_ref"]]
    return schema["cls"].__name__ if schema["type"] == "model" else ""


def _names(schema: _Schema | None) -> tuple[str, ...]:
    if schema is None:
        return ()
    if schema["type"] in ("model-fields", "typed-dict"):
        aliases = {name: field.get("validation_alias") for name, field in schema["fields"].items()}
        return tuple(alias if isinstance(alias, str) else name for name, alias in aliases.items())
    if schema["type"] == "tagged-union":
        return tuple(str(tag) for tag in schema["choices"])
    return ()
