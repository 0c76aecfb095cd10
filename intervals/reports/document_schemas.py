"""The JSON Schemas of the JSON documents, made from the models, so that the two cannot drift apart.

In: a model. Out: its schema as plain data, draft 2020-12.
"""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel
from pydantic.json_schema import GenerateJsonSchema

from intervals.findings import Findings
from intervals.questions.check.findings_document import FINDINGS_SCHEMA

FINDINGS_NOTE = (
    "Since /2 a month's `late` counts every due point whose tolerance ended undone in the month: `missed` and `open` are parts of it, "
    "and the figure is on_time / (on_time + late). Each due point counts once, in the month in which it is decided; new are `deferred`, "
    "`early` and `by_weight`, and of an occurrence `weight`, `open` and `decided_on`. What was met as open is met late, with `open`."
)
"""What changed from one version of the document to the next."""
DIALECT = "https://json-schema.org/draft/2020-12/schema"


def findings_schema() -> dict[str, Any]:
    """Return the JSON Schema of `findings_document`.

    Returns:
        A schema of draft 2020-12, made from the models, so that it cannot drift from them.
    """
    schema = document_schema(Findings, FINDINGS_SCHEMA)
    return schema | {"description": f"{schema['description']} {FINDINGS_NOTE}"}


def document_schema(model: type[BaseModel], name: str) -> dict[str, Any]:
    """Return the JSON Schema of a document that a model becomes.

    Args:
        model: the model.
        name: what `schema` in the document says.
    """
    schema = model_schema(model, mode="serialization")
    schema["properties"] = {"schema": {"const": name}, **schema["properties"]}
    schema["required"] = ["schema", *schema["required"]]
    return {"$schema": DIALECT, "title": name, **schema}


def model_schema(model: type[BaseModel], *, mode: Literal["validation", "serialization"]) -> dict[str, Any]:
    """Return the JSON Schema of a model, without the titles that only repeat a key.

    Args:
        model: the model.
        mode: `validation` for what a person writes, `serialization` for what comes out.

    Returns:
        The schema, with the models below it in `$defs`.
    """
    _build_all(model.__bases__[0])
    return model.model_json_schema(mode=mode, schema_generator=_QuietSchema)


def _build_all(base: type[BaseModel]) -> None:
    """Build the models that wait for their first use: a default that is one of them cannot be written into a schema before."""
    for model in base.__subclasses__():
        model.model_rebuild()
        _build_all(model)


class _QuietSchema(GenerateJsonSchema):
    """Schemas without a title for each field."""

    def field_title_should_be_set(self, schema: Any) -> bool:  # noqa: ANN401 - the library's own signature
        """Return False: a field's key is its title."""
        return False
