"""What a file answers for the exposure of a case: facts, and the doses that count, by its day."""

from __future__ import annotations

from datetime import date

from thimble.clinical.series import DoseGiven
from thimble.people.hepatitis_b import doses_that_count, hepatitis_b
from thimble.people.immunity import Offered, offered, offered_by_series
from thimble.web import clock
from thimble.web.context import get_site, zone
from thimble.web.desk.reading import Reading
from thimble.web.on_record.finding import OnRecord


def offered_to(found: OnRecord, reading: Reading) -> tuple[Offered, ...]:
    """The facts that the file answers."""
    day = _day(reading)
    known = hepatitis_b(found.person, found.identity.birth_date, day, get_site().protocol)
    by_series = () if known is None else offered_by_series(found.person, known.cleared)
    return (*by_series, *offered(found.person, day))


def doses_for(found: OnRecord, reading: Reading) -> tuple[DoseGiven, ...]:
    """The doses of hepatitis B vaccine that count by the day of the exposure."""
    return doses_that_count(
        found.person, found.identity.birth_date, _day(reading), get_site().protocol
    )


def doses_to_take(found: OnRecord, reading: Reading) -> str:
    """Their dates in words; "" where there are none, or the case has them."""
    doses = sorted(doses_for(found, reading), key=lambda dose: dose.when)
    if tuple(doses) == reading.situation.doses_before:
        return ""
    return ", ".join(dose.when.words for dose in doses)


def _day(reading: Reading) -> date:
    """The day of the exposure; today where nobody knows it."""
    at = reading.situation.occurred_at or clock.now()
    return at.astimezone(zone()).date()
