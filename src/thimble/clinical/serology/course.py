"""What surrounds a result: the exposure, what was given, and how long before the sample it was."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime, tzinfo

from thimble.clinical.durations import Duration, add, aware, hours_between

from .tables import ask, code


@dataclass(frozen=True, slots=True)
class Course:
    """The case around the results. None is not known, everywhere, and never read as none or no.

    Args:
        zone: the site's; days and months are counted on its calendar.
        exposed_at: when the exposure happened.
        vaccine_doses: every dose of hepatitis B vaccine that could matter; () where none was given.
        immunoglobulin: every dose of immunoglobulin that could matter; () where none was given.
        worker_born_on, source_born_on: dates of birth.
        hiv_final_from: when the window of the plan's last HIV test opens.
        hiv_final_needs_rna: whether that test holds RNA as well.
        weak_immunity_or_liver_disease, hepatitis_suspected: of the worker.
        source_excludes_hcv: whether the source's result rules hepatitis C out.
    """

    zone: tzinfo
    exposed_at: datetime | None = None
    vaccine_doses: tuple[datetime, ...] | None = None
    immunoglobulin: tuple[datetime, ...] | None = None
    worker_born_on: date | None = None
    source_born_on: date | None = None
    hiv_final_from: datetime | None = None
    hiv_final_needs_rna: bool | None = None
    weak_immunity_or_liver_disease: bool | None = None
    hepatitis_suspected: bool | None = None
    source_excludes_hcv: bool | None = None

    def __post_init__(self) -> None:
        """Every instant with its zone."""
        for instant in (
            self.exposed_at,
            self.hiv_final_from,
            *(self.vaccine_doses or ()),
            *(self.immunoglobulin or ()),
        ):
            if instant is not None:
                aware(instant)

    def day(self, instant: datetime) -> date:
        """The day of the site's calendar."""
        return instant.astimezone(self.zone).date()


def of_source(course: Course) -> Course:
    """The course as it bears on the source patient: what the worker was given is not the source's."""
    return replace(course, vaccine_doses=None, immunoglobulin=None)


def yes_no(answer: bool | None) -> str:
    """An answer as a fact has it."""
    return "unknown" if answer is None else "yes" if answer else "no"


def whole_months(earlier: datetime, later: datetime, zone: tzinfo) -> int:
    """Whole months of the site's calendar from one day to another; the same day of the month counts.

    Raises:
        ValueError: an instant has no zone, or `later` lies on an earlier day.

    >>> from zoneinfo import ZoneInfo
    >>> zone = ZoneInfo("Europe/Zurich")
    >>> march = datetime(2026, 3, 2, 10, tzinfo=zone)
    >>> [whole_months(march, datetime(2026, 9, day, 8, tzinfo=zone), zone) for day in (1, 2)]
    [5, 6]
    """
    start, end = aware(earlier).astimezone(zone).date(), aware(later).astimezone(zone).date()
    if end < start:
        raise ValueError(f"{end} lies before {start}")
    months = (end.year - start.year) * 12 + end.month - start.month
    while months and add(earlier, Duration(months, "months"), zone).date() > end:
        months -= 1
    return months


def vaccine_facts(course: Course, taken_at: datetime | None) -> dict[str, object]:
    """Whether, and how many days before the sample, vaccine was given."""
    last, known = _last_before(course.vaccine_doses, taken_at)
    facts: dict[str, object] = {"vaccine_before_sample": known}
    if last is not None and taken_at is not None:
        facts["days_since_vaccine"] = (course.day(taken_at) - course.day(last)).days
    return facts


def immunoglobulin_facts(course: Course, taken_at: datetime | None) -> dict[str, object]:
    """Whether, and how many whole months before the sample, immunoglobulin was given."""
    last, known = _last_before(course.immunoglobulin, taken_at)
    facts: dict[str, object] = {"immunoglobulin_before_sample": known}
    if last is not None and taken_at is not None:
        facts["months_since_immunoglobulin"] = whole_months(last, taken_at, course.zone)
    return facts


def vaccine_antigen(course: Course, taken_at: datetime | None) -> str:
    """possible or excluded: whether HBsAg in the sample can come from the vaccine."""
    found = code(ask(vaccine_facts(course, taken_at)), "antigen_after_vaccine")
    return found or "possible"


def passive_antibody(course: Course, taken_at: datetime | None) -> str:
    """possible, past or none: whether an antibody in the sample can come from immunoglobulin."""
    found = code(ask(immunoglobulin_facts(course, taken_at)), "antibody_after_immunoglobulin")
    return found or "possible"


def since_exposure(course: Course, taken_at: datetime | None) -> dict[str, object]:
    """Days and whole months from the exposure to the sample; nothing where either is not known."""
    if course.exposed_at is None or taken_at is None or taken_at < course.exposed_at:
        return {}
    return {
        "days_since_exposure": (course.day(taken_at) - course.day(course.exposed_at)).days,
        "months_since_exposure": whole_months(course.exposed_at, taken_at, course.zone),
    }


def hours_to_baseline(course: Course, taken_at: datetime | None) -> dict[str, object]:
    """Elapsed hours from the exposure to the sample, negative before it; nothing where not known."""
    if course.exposed_at is None or taken_at is None:
        return {}
    return {"hours_to_baseline": hours_between(course.exposed_at, taken_at)}


def _last_before(
    doses: tuple[datetime, ...] | None, taken_at: datetime | None
) -> tuple[datetime | None, str]:
    """The latest dose not after the sample, and whether there was one: yes, no or unknown."""
    if doses is None:
        return None, "unknown"
    if not doses:
        return None, "no"
    if taken_at is None:
        return None, "unknown"
    before = [dose for dose in doses if dose <= taken_at]
    return (max(before), "yes") if before else (None, "no")


def together(course: Course, earlier: datetime | None, latest: datetime | None) -> bool:
    """Whether two samples are read as one visit; never where a time is not known."""
    if earlier is None or latest is None:
        return earlier is latest
    days = abs((course.day(latest) - course.day(earlier)).days)
    return code(ask({"days_between_samples": days}), "samples_together") == "yes"
