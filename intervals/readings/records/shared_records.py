"""A record of several engines is one of those that were there on its day.

In: the site, the engines that a record's word stands for, the record. Out: those of them that were in service. Refuses nothing.

"All engines" in a list of surveys means those that stood there then. So an exchange unit does not take over a survey that was held
before it came, as one record of that unit alone would let it.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta

from intervals.readings.records.service_records import ServiceRecord
from intervals.site.model import Site

_DAY = timedelta(days=1)


def there_on(site: Site, engines: Sequence[str], record: ServiceRecord) -> Sequence[str]:
    """Return the engines that were in service when a record of several was made; all of them where none was.

    Args:
        site: the site.
        engines: ids of the engines and components that its word stands for.
        record: the record.
    """
    if len(engines) == 1:
        return engines
    if record.at_us is not None:
        from_us, to_us = record.at_us, record.at_us
    elif record.on is not None:
        from_us, to_us = site.instant_us(record.on), site.instant_us(record.on + _DAY) - 1
    else:
        return engines
    places = {unit.id: (place, unit) for place, unit in enumerate(site.judged_units)}
    found = []
    for engine in engines:
        place, unit = places[engine]
        first, last = site.first_moment_of(place), unit.out_of_service
        if (first is None or site.instant_us(first) <= to_us) and (last is None or from_us <= site.instant_us(last)):
            found.append(engine)
    return found or engines
