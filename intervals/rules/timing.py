"""How far around its line a task may be done: tolerance, window, deferral.

In: the plain data under a task's `tolerance`, `window` and `deferral`. Out: frozen models. Refuses what names nothing, and steps that are
none. What the two mean for a leg is worked out in `windows/tolerances.py` and `windows/due_dates.py`.
"""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Mapping
from datetime import date
from typing import Any, ClassVar, Literal

from pydantic import BaseModel, Field, GetJsonSchemaHandler, model_validator
from pydantic_core import CoreSchema

from intervals.language.durations import CalendarStep
from intervals.language.fields import LeadLegs, Percent, Step, WholeFromZero, WrittenModel
from intervals.language.flaws import Flaw, FlawsError, flaw_error
from intervals.language.scalars import shown_value
from intervals.language.value_schemas import legs_schema
from intervals.problems import nearest_word

_OWN = ("pct", "rounding")
_SLIPS = {"percent": "pct", "tolerance_pct": "pct", "pc": "pct", "round": "rounding"}
_NO_STEP = CalendarStep("P0D")


class Tolerance(WrittenModel):
    """How far past its line a task may be done and still count as on time; of several that concern a leg the least counts.

    In the file the legs stand beside the other two keys: `{pct: 20, calendar: P28D, running_hours: 50}`.
    """

    pct: Percent | None = Field(None, description="a share of the interval, for every leg")
    rounding: Literal["inward", "nearest", "outward"] | None = Field(
        None,
        description="whole days: inward rounds a calendar leg's tolerance down, outward up, nearest to the nearest day, half a day up; "
        "exact where it is left out",
    )
    legs: LeadLegs = Field({}, description="amounts by leg: calendar, running_hours, starts ...")

    @model_validator(mode="before")
    @classmethod
    def _gather_legs(cls, data: object) -> object:
        """Put all keys but the two others into `legs`."""
        if isinstance(data, BaseModel) or (isinstance(data, Mapping) and isinstance(data.get("legs"), Mapping)):
            return data
        if not isinstance(data, Mapping):
            fix = "write for example {pct: 20, calendar: P28D}; a bare percentage is tolerance_pct"
            raise flaw_error(text=f"not a tolerance; got {shown_value(data)}", fix=fix)
        own = {key: data[key] for key in _OWN if key in data}
        legs = {key: value for key, value in data.items() if key not in own}
        flaws = [flaw for key in legs if (flaw := _slip(str(key))) is not None]
        if flaws:
            raise FlawsError(flaws)
        if own.get("pct") is None and not legs:
            raise flaw_error(text="a tolerance of zero", fix="write pct, or a leg such as calendar: P28D")
        return {**own, "legs": legs} if legs else own

    @classmethod
    def __get_pydantic_json_schema__(cls, core: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        """Describe the legs where they stand in the file: beside the other two keys."""
        schema = handler.resolve_ref_schema(handler(core))
        own = {key: value for key, value in schema["properties"].items() if key != "legs"}
        legs = legs_schema(may_be_zero=True)
        named = {key: {**value, "description": "this much of the leg"} for key, value in legs["properties"].items()}
        schema |= {"properties": own | named, "additionalProperties": legs["additionalProperties"]}
        return schema


def _slip(key: str) -> Flaw | None:
    """Return the flaw of a key that is meant to be one of the two that are no legs."""
    near = _SLIPS.get(key) or nearest_word(key, _OWN, 0.8)
    return Flaw((key,), f'unknown key "{key}"; did you mean "{near}"?', None, "unknown_key") if near else None


class DueWindow(WrittenModel):
    """When around its due date a task may be done; it concerns the calendar leg alone."""

    key_hints: ClassVar[Mapping[str, str]] = {"month": "write calendar_month: true", "calendar_months": "write calendar_month: true"}

    calendar_month: bool = Field(False, description="on any day of the due date's calendar month; its last day is the line")
    before: Step = Field(_NO_STEP, description="from this long before the due date", examples=["P10D"])
    after: Step = Field(_NO_STEP, description="until this long after the due date; that day is the line", examples=["P10D"])

    @model_validator(mode="before")
    @classmethod
    def _check_given(cls, data: object) -> object:
        """Refuse a window without either end, and ends beside a calendar month, which has its own."""
        if not isinstance(data, Mapping):
            return data
        ends = [key for key in ("before", "after") if data.get(key) is not None]
        if data.get("calendar_month") is True and ends:
            text = f"a calendar month has its own ends; {' and '.join(ends)} cannot stand beside it"
            raise flaw_error(text=text, fix="keep one of them", kind="range")
        if not ends and data.get("calendar_month") in (None, False) and not data.keys() - {"before", "after", "calendar_month"}:
            raise flaw_error(text="a window without ends", fix="write for example {before: P10D, after: P10D}, or calendar_month: true")
        return data

    def first_day(self, due: date) -> date:
        """Return the first day on which a due date may be met."""
        return due.replace(day=1) if self.calendar_month else self.before.before(due)

    def last_day(self, due: date) -> date:
        """Return the last day on which a due date may be met: the line."""
        return due.replace(day=monthrange(due.year, due.month)[1]) if self.calendar_month else self.after.after(due)


class Deferral(WrittenModel):
    """How far the task may be put off; without it a deferral needs an approval and knows no bound."""

    key_hints: ClassVar[Mapping[str, str]] = {"pct": "write at_most_pct", "approved_by": "write approval: required"}

    at_most_pct: Percent = Field(description="past its line by no more than so much of the interval, per cent")
    times: WholeFromZero = Field(1, description="how many times in a row one occurrence may be put off")
    approval: Literal["required", "not_required"] = Field("required", description="whether somebody has to approve it by name")


__all__ = ["Deferral", "DueWindow", "Tolerance"]
