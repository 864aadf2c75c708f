"""JSON Schemas of the record files, made from the models."""

import json
from typing import Any

from negcat.records.base import Record
from negcat.records.models import Records

__all__ = ["schema_documents", "schema_text"]

_DIALECT = "https://json-schema.org/draft/2020-12/schema"

_FILES: dict[str, str] = {
    "films": "film",
    "shutters": "shutter",
    "lenses": "lens",
    "holders": "holder",
    "scanners": "scanner",
    "tablets": "tablet",
    "print_targets": "print_target",
    "sheets": "sheet",
    "developments": "development",
    "film_tests": "film_test",
    "dated_changes": "dated_change",
    "advised_times": "advised_time",
}


def schema_documents() -> dict[str, dict[str, Any]]:
    """Describe a record file and each kind of record in JSON Schema 2020-12.

    Returns
    -------
    File name → schema: ``records.schema.json`` for a whole YAML or JSON record file, and one for each record.
    """
    documents = {"records.schema.json": _document(Records, "A record file: any of these lists")}
    for name, model in Records.MODELS.items():
        documents[f"{_FILES[name]}.schema.json"] = _document(model, f"One record of the list {name}")
    return documents


def schema_text(document: dict[str, Any]) -> str:
    """Write a schema as the text of its file."""
    return json.dumps(document, indent=2, ensure_ascii=False) + "\n"


def _document(model: type[Record], title: str) -> dict[str, Any]:
    schema = _as_files_are_written(model.model_json_schema(mode="validation"))
    return {"$schema": _DIALECT, **schema, "title": title}


def _as_files_are_written(node: Any) -> Any:
    """Say what a record file may hold: a number may be written as text (½, 1 1/3)."""
    if isinstance(node, list):
        return [_as_files_are_written(part) for part in node]
    if not isinstance(node, dict):
        return node
    schema = {
        key: value if key in ("default", "examples", "enum") else _as_files_are_written(value)
        for key, value in node.items()
    }
    # The limits of a number that may be left out come under the validator's own names.
    for written, meant in (("ge", "minimum"), ("le", "maximum")):
        if written in schema and not isinstance(schema[written], dict):
            schema[meant] = schema.pop(written)
    if schema.get("type") == "number":
        schema["type"] = ["number", "string"]
    return schema
