"""What the validator found, in sentences that say what is wrong and how to mend it."""

from collections.abc import Iterator
from typing import Any, get_args

from pydantic import ValidationError
from pydantic.fields import FieldInfo

from negcat.records.base import InconsistentRecordError, Path, Record
from negcat.records.fields import shown
from negcat.records.nearest import did_you_mean, nearest_name

__all__ = ["explain", "field_at"]


def field_at(model: type[Record], path: Path) -> tuple[FieldInfo | None, type[Record], Path]:
    """Find the field a path leads to, or the last one on its way.

    Returns
    -------
    The field (None where the path leads to none), the model it belongs to, and the path of the field.
    """
    found: FieldInfo | None = None
    owner, inside = model, model
    at: Path = ()
    for length, step in enumerate(path, 1):
        if isinstance(step, str) and step in inside.model_fields:
            found, owner, at = inside.model_fields[step], inside, path[:length]
            inner = _model_in(found.annotation)
            if inner is None:
                break
            inside = inner
        elif isinstance(step, str):
            # A field that isn't known: the model it stands in is what there is to say about it.
            return None, inside, path[: length - 1]
    return found, owner, at


def _model_in(annotation: Any) -> type[Record] | None:
    if isinstance(annotation, type) and issubclass(annotation, Record):
        return annotation
    return next((model for part in get_args(annotation) if (model := _model_in(part))), None)


def explain(error: ValidationError, model: type[Record]) -> Iterator[tuple[Path, str]]:
    """Turn a validation error into (path, sentence) for every fault, in the order of the fields.

    Parameters
    ----------
    error : what the model raised.
    model : the model of the record.

    Yields
    ------
    Path in the record, and a sentence; an empty one where another sentence says it already.
    """
    faults = error.errors(include_url=False)
    paths = {fault["loc"] for fault in faults}
    misspelt = {
        (
            *fault["loc"][:-1],
            nearest_name(str(fault["loc"][-1]), field_at(model, fault["loc"])[1].model_fields),
        )
        for fault in faults
        if fault["type"] == "extra_forbidden"
    }
    for fault in faults:
        path, kind = fault["loc"], fault["type"]
        if kind == "missing" and path in misspelt:
            yield path, ""  # "unknown field 'fim'; did you mean 'film'?" has said it
            continue
        if kind == "too_short" and any(
            len(other) > len(path) and other[: len(path)] == path for other in paths
        ):
            continue  # its items were refused, and each says so itself
        inner = fault.get("ctx", {}).get("error")
        if isinstance(inner, InconsistentRecordError):
            for further, sentence in inner.found:
                yield (*path, *further), _clause(sentence)
        elif isinstance(inner, ValueError):
            yield path, _clause(str(inner))
        else:
            yield path, _sentence(fault, path, kind, model)


def _clause(sentence: str) -> str:
    return sentence.removesuffix(".")


def _sentence(fault: Any, path: Path, kind: str, model: type[Record]) -> str:
    info, owner, at = field_at(model, path)
    name = path[-1] if path else ""
    written, context = fault["input"], fault.get("ctx", {})
    if kind == "extra_forbidden":
        return f"unknown field {shown(name)}; {did_you_mean(str(name), owner.model_fields)}"
    if kind == "missing" and at == path:
        return f"{name} is missing; write {_example(str(name), info)}"
    if kind in ("missing", "tuple_type", "list_type", "dict_type") or "model" in kind:
        if at != path and owner is not None and kind in ("missing", "tuple_type"):
            return f"{shown(written)} is no pair; write two times, as in [10, 20]"
        if "model" in kind or kind == "dict_type":
            return f"{shown(written)} is no mapping; write its fields, as in {_fields(info)}"
        return f"{shown(written)} is no list; write {_example(str(at[-1]), info)}"
    if kind in ("greater_than_equal", "less_than_equal"):
        low, high, unit = _limits(info, context)
        return f"{shown(written)} is outside {low} … {high}{unit}; look at the figure and its unit"
    if kind == "finite_number":
        return f"{shown(written)} is no finite number; write one figure"
    if kind == "literal_error":
        words = [
            part.strip("' ") for part in str(context.get("expected", "")).replace(" or ", ", ").split(",")
        ]
        near = nearest_name(written, words) if isinstance(written, str) else None
        return f"{shown(written)} is none of {', '.join(words)}" + (
            f"; did you mean '{near}'?" if near else "; write one of them"
        )
    if kind == "too_short":
        least = context.get("min_length")
        return (
            f"there are {context.get('actual_length')} and at least {least} are needed; add what is missing"
        )
    if kind == "too_long":
        return f"there are more than {context.get('max_length')}; that is the most, take some out"
    return f"{shown(written)} can't be taken ({fault['msg']})"


def _example(name: str, info: FieldInfo | None) -> str:
    if info is None or not info.examples:
        return f"{name}: …"
    return f"{name}: {_flow(info.examples[0])}"


def _flow(value: Any) -> str:
    """Write an example as one would in a YAML file."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key}: {_flow(part)}" for key, part in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_flow, value)) + "]"
    return str(value)


def _fields(info: FieldInfo | None) -> str:
    inner = _model_in(info.annotation) if info is not None else None
    if inner is None:
        return "name: value"
    needed = [name for name, part in inner.model_fields.items() if part.is_required()]
    first = needed or list(inner.model_fields)[:1]
    return "{" + ", ".join(_example(name, inner.model_fields[name]) for name in first) + "}"


def _limits(info: FieldInfo | None, context: dict[str, Any]) -> tuple[str, str, str]:
    low, high = context.get("ge"), context.get("le")
    unit = ""
    if info is not None:
        for part in _constraints(info):
            low = getattr(part, "ge", low) if low is None else low
            high = getattr(part, "le", high) if high is None else high
        if isinstance(info.json_schema_extra, dict):
            unit = f" {info.json_schema_extra['unit']}"
    return (
        "−∞" if low is None else f"{low:.12g}",
        "∞" if high is None else f"{high:.12g}",
        unit,
    )


def _constraints(info: FieldInfo) -> list[Any]:
    """Gather the constraints of a field and of the items in it."""
    found = list(info.metadata)
    pending = list(get_args(info.annotation))
    while pending:
        part = pending.pop()
        for meta in getattr(part, "__metadata__", ()):
            found += meta.metadata if isinstance(meta, FieldInfo) else [meta]
        pending += get_args(part)
    return found
