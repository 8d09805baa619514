"""Before a vaccine is given at a session: which dose it is, and what speaks against it.

The rules are those of the tables that judge what is documented; nothing here knows an interval.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date

from thimble.clinical.diseases import DISEASES
from thimble.clinical.immunity import JUDGED
from thimble.clinical.immunity.rules import Live, rules
from thimble.clinical.readiness import ordinal
from thimble.clinical.saying import calendar_day, inside
from thimble.clinical.series import PartialDate
from thimble.clinical.series.calendar_days import step
from thimble.clinical.spacing import spacing
from thimble.people.choices import YES_NO
from thimble.people.entries import Kind
from thimble.people.fold import Evidence, Person
from thimble.people.hepatitis_b import DISEASE, hepatitis_b
from thimble.people.immunity import vaccine_doses
from thimble.people.judged import judged
from thimble.people.products import Product, is_vaccine, product_name

DOSES = frozenset({"dose", "second_series", "booster", "challenge_dose"})
"""Next steps of the clearance tables that a dose takes."""


@dataclass(frozen=True, slots=True)
class Against:
    """What speaks against giving a product today, in a sentence. `physician` marks what only a physician
    decides otherwise about."""

    words: str
    physician: bool = False


def asked_first(product: Product, protocol: str) -> Live | None:
    """The rule by which something is asked before a live vaccine is given; None for any other product."""
    live = rules(protocol).live
    return live if is_vaccine(product.cvx) and live.holds(product.cvx, product.diseases) else None


def against(
    person: Person,
    born: date | None,
    product: Product,
    today: date,
    protocol: str,
    *,
    asked: str = "",
) -> tuple[Against, ...]:
    """Everything on file and in the rules that speaks against a product today, the gravest first.

    `asked` is what the person answered to what `asked_first` asks, an id of `choices.YES_NO`; "" while
    nobody has asked.
    """
    found = [*_answered(product, protocol, asked), *_contraindicated(person, product, today)]
    found += _declined(person, product)
    found += _on_this_day(person, product, today)
    found += _after_immunoglobulin(person, product, today)
    if born is None:
        found.append(
            Against("The birth date is missing: the rules cannot say whether a dose is due.")
        )
    found += _too_early(person, born, product, today, protocol)
    return tuple(dict.fromkeys(found))


def dose_supposed(person: Person, product: Product, day: date) -> Person:
    """The person with one dose of a product more, as its last entry; nothing is written."""
    body = {
        "product": product.cvx,
        "diseases": list(product.diseases),
        "when": day.isoformat(),
        "lot": "",
        "where": "",
    }
    dose = Evidence(person.entries + 1, Kind.DOSE_RECORDED, body, "", person.as_of)
    return replace(person, evidence=(*person.evidence, dose))


def dose_number(
    person: Person, born: date | None, product: Product, today: date, protocol: str
) -> str:
    """Which dose this is: of hepatitis B as the rules count, else of those documented."""
    if DISEASE in product.diseases:
        known = hepatitis_b(person, born, today, protocol)
        if known is not None:
            return f"{ordinal(known.cleared.valid_doses + 1)} dose of hepatitis B that counts"
    disease = product.diseases[0]
    before = len(vaccine_doses(person, disease))
    return f"{ordinal(before + 1)} dose on file against {inside(DISEASES[disease])}"


def _answered(product: Product, protocol: str, asked: str) -> Iterator[Against]:
    live = asked_first(product, protocol)
    if live is not None and asked not in ("", "no"):
        answer = inside(YES_NO[asked])
        yield Against(
            f"Before a live vaccine it was asked about {live.ask}: {answer}", physician=True
        )


def _contraindicated(person: Person, product: Product, today: date) -> Iterator[Against]:
    for each in person.of(Kind.CONTRAINDICATED):
        until = each.body["until"]
        over = until is not None and PartialDate.parse(until).last < today
        if each.body["disease"] in product.diseases and not over:
            name = DISEASES[each.body["disease"]]
            yield Against(
                f"Contraindication on file against the {inside(name)} vaccine: {each.body['reason']}",
                physician=True,
            )


def _declined(person: Person, product: Product) -> Iterator[Against]:
    for disease in product.diseases:
        refusals = [
            e for e in person.of(Kind.DECLINED)
            if e.body["disease"] == disease and e.body["what"] == "vaccine"
        ]  # fmt: skip
        doses = vaccine_doses(person, disease)
        if refusals and not any((e.body["when"] or "") >= _on(refusals[-1]) for e in doses):
            day = calendar_day(date.fromisoformat(_on(refusals[-1])))
            yield Against(
                f"The {inside(DISEASES[disease])} vaccine was declined on {day}: ask again, and let the "
                "person decide"
            )


def _on(evidence: Evidence) -> str:
    return str(evidence.body["on"])


def _on_this_day(person: Person, product: Product, today: date) -> Iterator[Against]:
    for each in (e for disease in product.diseases for e in vaccine_doses(person, disease)):
        if each.body["when"] == today.isoformat():
            yield Against("A dose against the same disease is on record for today already")


def _after_immunoglobulin(person: Person, product: Product, today: date) -> Iterator[Against]:
    """A live vaccine waits until the antibody of an immunoglobulin has gone. Of a day of which only a part
    is known the last that it can be counts."""
    rules = spacing()
    live = [disease for disease in product.diseases if disease in rules.live]
    if not live or not is_vaccine(product.cvx):
        return
    against = " and ".join(inside(DISEASES[disease]) for disease in live)
    for each in person.of(Kind.DOSE_RECORDED):
        wait = rules.waits.get(each.body["product"] or "")
        if wait is None:
            continue
        name, when = product_name(each.body["product"]), each.body["when"]
        if when is None:
            yield Against(
                f"{name} is on record without a day: a dose against {against} waits {wait.words} after it"
            )
            continue
        until = date.fromordinal(step(PartialDate.parse(when).last.toordinal(), wait))
        if today < until:
            yield Against(
                f"{name} was given ({when}): a dose against {against} may not take before "
                f"{calendar_day(until)}, {wait.words} after it"
            )


def _too_early(
    person: Person, born: date | None, product: Product, today: date, protocol: str
) -> Iterator[Against]:
    if DISEASE in product.diseases and (known := hepatitis_b(person, born, today, protocol)):
        first = known.cleared.next_dose_earliest
        if known.cleared.next_step not in DOSES:
            yield Against("By the rules no dose of hepatitis B vaccine is the next step")
        elif first is not None and first > today:
            yield Against(
                f"Too early against hepatitis B: a dose counts from {calendar_day(first)} on"
            )
    asked = [disease for disease in product.diseases if disease in JUDGED]
    given = dose_supposed(person, product, today)
    then = judged(given, born, today, protocol, asked)
    now = judged(person, born, today, protocol, asked)
    # Of a combined vaccine, one part that is due is enough: the second dose against measles brings
    # a further one against rubella.
    wanted = any(not told.satisfied for told in now.values())
    for disease, told in now.items():
        name = inside(DISEASES[disease])
        # Whatever the next step is: a dose may be wanted after all, or against another disease.
        why = [
            d.why
            for d in then[disease].doses
            if d.given.entry == person.entries + 1 and not d.counts
        ]
        if told.earliest is not None and told.earliest > today:
            yield Against(
                f"Too early against {name}: a dose counts from {calendar_day(told.earliest)} on"
            )
        elif told.satisfied and not wanted:
            yield Against(f"By the rules no dose against {name} is due: {inside(told.words)}")
        elif why:
            yield Against(f"A dose against {name} would not count today: it {why[0]}")
