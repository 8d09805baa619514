"""Whose an order's results are: by the numbers of the sample, else by number and birth date; never by name.

A name only ever speaks against somebody of the register.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from thimble.clinical.serology.results import label_key
from thimble.exchange.hl7v2.model import Message, Order, Patient
from thimble.exchange.known import Known, Registered, Sample

Whose = Sample | Registered


def whose(order: Order, patient: Patient, known: Known) -> Whose | str:
    """To whom the results of an order belong, or in a sentence why a person has to find out."""
    found = _by_sample(order, known)
    if found is None:
        found = _by_person(patient, known)
    if isinstance(found, Sample):
        return _other_birth_date(patient, found, known) or found
    if isinstance(found, Registered):
        return known.speaks_against(found.person, patient) or found
    return found


def registered_of(order: Order, person: str, known: Known) -> Registered:
    """Whom of the register somebody named, with the day of the draw where these numbers tell it."""
    hits = {hit for key in order_keys(order) for hit in known.drawn(key) if hit.person == person}
    return hits.pop() if len(hits) == 1 else Registered(person)


def order_keys(order: Order) -> list[str]:
    """The numbers of request and specimens of an order, as `label_key` has them."""
    numbers = (order.placer, order.filler, *order.specimen_numbers)
    return [label_key(each.id) for each in numbers if each is not None and each.id.strip()]


def _by_sample(order: Order, known: Known) -> Whose | str | None:
    """Whose sample the numbers name; None where nobody knows them."""
    keys = order_keys(order)
    of_cases = {sample for key in keys for sample in known.samples(key)}
    of_people = {drawn for key in keys for drawn in known.drawn(key)}
    if of_cases and of_people:
        return (
            "The numbers of the sample belong to a case and to somebody of the register: find out which "
            "sample it was."
        )
    if len(of_people) > 1:
        return "The numbers of the sample belong to more than one draw of the register."
    if of_people:
        return of_people.pop()
    if len({(hit.case, hit.of, hit.drawn_for) for hit in of_cases}) == 1:
        # Several actions in one draw: the results belong to the draw.
        return min(of_cases, key=lambda hit: hit.action)
    if of_cases:
        return "The numbers of the sample belong to more than one case or purpose."
    if any(known.printed(key) for key in keys):
        return (
            "The number was printed on a label for somebody of the register, and nobody wrote down that "
            "the sample was drawn."
        )
    return None


def _by_person(patient: Patient, known: Known) -> Whose | str:
    """The only case or file of whoever has the number and the date of birth."""
    born = patient.birth_date.day if patient.birth_date is not None else None
    ids = {label_key(each.id) for each in patient.ids if each.id.strip()}
    people = {
        (each.case, each.of)
        for each in known.people()
        if label_key(each.number) in ids and each.born == born
    }
    of_register: set[Registered] = set()
    if born is not None:
        of_register = {found for number in ids for found in known.registered(number, born)}
    if people and of_register:
        return (
            "The person is known from a case and from the register, the sample is not: say what it was "
            "drawn for."
        )
    if len(people) > 1:
        return "The person is known from more than one case."
    if len(of_register) > 1:
        return "More than one file of the register has this number and birth date."
    if of_register:
        return of_register.pop()
    if not people:
        return (
            "No case and no file of the register knows the number of the sample, nor the person by number "
            "and birth date."
        )
    ((case, of),) = people
    if of == "worker":
        return (
            "The person is known, the sample is not: say whether it was drawn at the exposure or "
            "in follow-up."
        )
    return Sample(case, of)


def _other_birth_date(patient: Patient, sample: Sample, known: Known) -> str:
    if not other_birth_date(patient, known.born(sample.case, sample.of)):
        return ""
    return "The date of birth is not that of the person whose sample it should be."


def other_birth_date(patient: Patient, born: date | None) -> bool:
    """Whether a message's date of birth cannot be this one. What either leaves out contradicts nothing;
    a year alone contradicts every other year."""
    told = patient.birth_date
    if told is None or born is None:
        return False
    if told.day is not None:
        return told.day != born
    return not told.local.date() <= born < told.upto.date()


def names(
    message: Message,
    number: str,
    born: date | None,
    alike: Callable[[str], str] = label_key,
) -> bool:
    """Whether a message is about somebody with this number and date of birth; never without both.

    Args:
        alike: a number as it is compared.
    """
    wanted = alike(number)
    return bool(wanted) and any(
        patient.birth_date is not None
        and patient.birth_date.day is not None
        and patient.birth_date.day == born
        and wanted in {alike(each.id) for each in patient.ids}
        for patient in message.patients
    )


def sample_keys(message: Message) -> frozenset[str]:
    """The numbers of requests and specimens in a message, as `label_key` has them."""
    orders = (order for patient in message.patients for order in patient.orders)
    return frozenset(key for order in orders for key in order_keys(order))
