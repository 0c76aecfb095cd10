"""What is left over after work, in words: its name without its unit, and the unit.

In: a name such as `oil_l`. Out: text. Words only.
"""

from __future__ import annotations

_UNITS = {"_l": " L", "_kg": " kg", "_m3": " m³"}


def waste_name(name: str) -> str:
    """Return what is left over, without its unit: `oil` of `oil_l`."""
    ending = _ending_of(name)
    return (name.removesuffix(ending) if ending else name).replace("_", " ").replace("-", " ")


def waste_unit(name: str) -> str:
    """Return the unit of what is left over, with a blank before it: ` L` of `oil_l`; nothing for what is counted."""
    return _UNITS.get(_ending_of(name), "")


def _ending_of(name: str) -> str:
    """Return the ending that says a unit, or nothing."""
    return next((ending for ending in _UNITS if name.lower().endswith(ending)), "")
