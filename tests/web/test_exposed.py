"""A patient's own case: no page and no paper calls the patient a worker, or the worker the patient."""

from __future__ import annotations

import html
import re
import shutil
import subprocess
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from pathlib import Path

import pytest
from django.test import Client
from django.urls import get_resolver, reverse
from django.urls.resolvers import URLPattern, URLResolver

from thimble import actions
from thimble.actions.identity import SourceIdentity, WorkerIdentity
from thimble.actions.linking import TOUCHED
from thimble.clinical.vocabulary import VOCABULARY
from thimble.documents.letters.to_colleagues import QUESTIONS, SPECIALTIES
from thimble.ledger.bodies import CONTACT_OUTCOMES
from thimble.ledger.follow_up.record import AgreedVisit
from thimble.web import clock
from thimble.web.context import get_identities, get_protocol, get_site, get_store
from thimble.web.desk.handling import read
from thimble.web.results.entering import read_results
from thimble.web.roles import Role

from .conftest import NIGHT

pytestmark = pytest.mark.django_db
SignIn = Callable[[Role], Client]
BY = {"by": "u-1", "role": "emergency_clinician"}

DELIBERATE = (
    r"injured\s+worker", r"worker of case", r"The worker’s case", r"worker who is the source",
    r"opened for the patient of that case, whose worker's blood",
    # Where a rule stands in its document is cited, not said.
    r"(?:baseline|follow-up) of the worker, (?:preferably within 48 hours|as (?:quoted|remembered))",
    r"worker with antibody at baseline, as remembered",
    r"Learning module on testing the source patient",
)  # fmt: skip
"""Where the worker who was injured is meant, or a document is cited."""
FOR_WORKERS = ("fitness", "on_record")
"""Screens that a patient's case has not."""
HOW_IT_IS_HANDLED = "linked:patient"
"""The one page about both cases."""


def opened(**facts: str) -> str:
    """A patient's case, opened from the case of a worker whose blood came back."""
    worker = actions.report(
        get_store(), facts={"route": "percutaneous", "fluid": "blood", "device": "blade", TOUCHED: "yes"},
        occurred_at=NIGHT - timedelta(hours=1), occurred_at_precision="minute", vocabulary=VOCABULARY,
        now=NIGHT, identities=get_identities(),
        worker=WorkerIdentity("Zoë Sampleworth", "Q1", date_of_birth=date(1990, 2, 3)),
        source=SourceIdentity("A. Nonesuch", date_of_birth=date(1950, 1, 2), ward="Ward 2"),
    ).case  # fmt: skip
    case = actions.open_patient_case(
        get_store(), worker, identities=get_identities(), vocabulary=VOCABULARY, now=NIGHT, **BY
    )
    if facts:
        actions.learn_facts(
            get_store(), case, facts, said_by="worker", vocabulary=VOCABULARY, now=NIGHT, **BY
        )
    return case


def fresh() -> str:
    return opened()


def high_risk() -> str:
    """The source may have everything; the patient answered; a first dose was given and made ill."""
    case = opened(
        source_access="refuses", source_hiv="positive", source_hbsag="unknown",
        source_hcv_rna="not_tested", source_anti_hcv="not_tested", worker_hiv="unknown",
        worker_hbv_series="none", worker_pregnancy="possible", worker_kidney_disease="unknown",
        worker_tetanus_doses="fewer", worker_anti_hcv="unknown",
    )  # fmt: skip
    actions.give_dose(
        get_store(), case, "hiv_pep_first_dose", product="Pack: bictegravir/FTC/TAF", batch="A1",
        days=5, now=NIGHT, **BY,
    )  # fmt: skip
    actions.tell_side_effect(get_store(), case, words="sick", severity="mild", now=NIGHT, **BY)
    actions.source_step(get_store(), case, "asked", now=NIGHT, **BY)
    return case


def missed() -> str:
    """Agreed visits that were missed, an attempt, results of the patient that show something."""
    case = opened(
        source_hcv_rna="positive", worker_hiv="negative", worker_hbv_series="two_complete"
    )
    site, protocol = get_site(), get_protocol()
    for whose in ("baseline", "source"):
        typed = {
            "whose": whose,
            "status": "final",
            "word-anti_hcv": "positive",
            "word-hbsag": "positive",
        }
        entered = read_results(typed, site.zone, NIGHT)
        actions.record_results(
            get_store(), case, entered.results, protocol=protocol, site=site, now=NIGHT,
            drawn_for=entered.drawn_for, **BY,
        )  # fmt: skip
    day = NIGHT.date() + timedelta(days=1)
    actions.agree_visits(
        get_store(), case, [AgreedVisit(day, ("follow_up_hcv_rna",))], now=NIGHT,
        unavailable=[(day + timedelta(days=9), day + timedelta(days=12))], **BY,
    )  # fmt: skip
    later = NIGHT + timedelta(days=2)
    actions.miss_visit(get_store(), case, day, today=later.date(), now=later, **BY)
    actions.contact(
        get_store(), case, how="telephone", outcome=next(o for o in CONTACT_OUTCOMES if o == "no_answer"),
        now=later, **BY,
    )  # fmt: skip
    return case


CASES = {"fresh": (fresh, 0), "high risk": (high_risk, 0), "missed": (missed, 2)}


def addresses(found: list[URLPattern | URLResolver], above: str = "") -> Iterator[tuple[str, str]]:
    """The name and the route of every address that names a case and nothing else."""
    for one in found:
        if isinstance(one, URLResolver):
            space = f"{one.namespace}:" if one.namespace else above
            yield from addresses(one.url_patterns, space)
        elif set(one.pattern.converters) == {"ref"}:
            yield f"{above}{one.name}", str(one.pattern)


NAMES = sorted(name for name, _ in addresses(get_resolver().url_patterns))


def visible(page: str) -> str:
    """What is read or heard: the text, and labels for whoever does not see it."""
    heard = " ".join(re.findall(r'(?:aria-label|title|alt|placeholder)="([^"]*)"', page))
    body = re.sub(r"(?s)<(script|style|svg)\b.*?</\1>", " ", page)
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", body) + " " + heard))


def printed(pdf: bytes, folder: Path) -> str:
    file = folder / "paper.pdf"
    file.write_bytes(pdf)
    done = subprocess.run(["pdftotext", str(file), "-"], capture_output=True, check=True)
    return re.sub(r"\s+", " ", done.stdout.decode().replace("-\n", ""))


def wrong(text: str) -> list[str]:
    """Where the text says worker of somebody who is none, or calls the source a patient."""
    for meant in DELIBERATE:
        text = re.sub(meant, "…", text)
    return [
        text[max(0, m.start() - 60) : m.end() + 30]
        for m in re.finditer(r"(?i)\bworkers?\b|source patient", text)
    ]


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="pdftotext reads the papers")
@pytest.mark.parametrize("state", CASES)
def test_no_page_or_paper_of_a_patients_case_says_worker_of_the_patient(
    state: str, signed_in: SignIn, tmp_path: Path
):
    make, days = CASES[state]
    case = make()
    found: dict[str, list[str]] = {}
    pages, papers = 0, 0
    with clock.standing_at(NIGHT + timedelta(days=days)):
        client = signed_in(Role.OCCUPATIONAL_PHYSICIAN)
        for name in NAMES:
            if name == HOW_IT_IS_HANDLED:
                continue
            response = client.get(reverse(name, args=[case]))
            if name.split(":")[0] in FOR_WORKERS:
                assert response.status_code in (404, 405), name
            elif response["Content-Type"] == "application/pdf":
                papers += 1
                found[name] = wrong(printed(response.content, tmp_path))
            elif response.status_code in (200, 409):
                pages += 1
                # Who the source is, is seen on the page for that and on no other.
                assert "Sampleworth" not in response.text or name == "source:identity", name
                found[name] = wrong(visible(response.text))
        for listed in ("worklist:worklist", "visits:recall"):
            text = client.get(reverse(listed)).text
            rows = [row for row in re.split(r"<(?:li|tr|article)\b", text) if case in row]
            found[listed] = wrong(visible(" ".join(rows)))
    told = [f"{name}: {said}" for name, all_said in found.items() for said in all_said]
    assert "\n".join(told) == ""
    assert pages >= 10
    assert papers >= 3


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="pdftotext reads the papers")
def test_what_the_patient_or_a_colleague_elsewhere_reads_tells_of_no_worker(
    signed_in: SignIn, tmp_path: Path
):
    """Not even that the source works here: who treats the patient tells them, as local policy says."""
    case = high_risk()
    client = signed_in(Role.OCCUPATIONAL_PHYSICIAN)
    plan = client.get(reverse("papers:worker_plan", args=[case]))
    letter = client.post(
        reverse("papers:letters", args=[case]),
        {
            "letter": "referral", "recipient": "Dr. Invented", "address": "1 Orchard Road",
            "specialty": next(iter(SPECIALTIES)), "question": next(iter(QUESTIONS)),
        },
    )  # fmt: skip
    for paper in (plan, letter):
        assert paper["Content-Type"] == "application/pdf"
        text = printed(paper.content, tmp_path)
        assert re.findall(r"(?i)worker|Sampleworth|source patient|other patient", text) == []
        assert "Nonesuch" in text


def test_no_paper_asks_a_ward_about_the_worker(signed_in: SignIn):
    """The request would go round with a colleague written in as somebody's patient."""
    case = fresh()
    client = signed_in(Role.OCCUPATIONAL_PHYSICIAN)
    refused = client.get(reverse("papers:source_request", args=[case]))
    assert refused.status_code == 409
    assert "The source is the injured worker, whom no ward looks after" in refused.text


def test_a_workers_own_case_is_told_as_before(signed_in: SignIn):
    """The worker of the other case is still the worker, and their source the source patient."""
    other = read(opened()).situation.links[0].case
    client = signed_in(Role.OCCUPATIONAL_PHYSICIAN)
    assert ">Exposed worker<" in client.get(reverse("desk:case", args=[other])).text
    assert "Source patient" in client.get(reverse("source:source", args=[other])).text
    assert client.get(reverse("fitness:fitness", args=[other])).status_code == 200


def test_what_was_typed_stays_as_it_was_typed(signed_in: SignIn):
    case = fresh()
    actions.note(get_store(), case, "The worker's sister called", now=NIGHT, **BY)
    shown = signed_in(Role.OCCUPATIONAL_PHYSICIAN).get(reverse("history:history", args=[case])).text
    assert "The worker's sister called" in html.unescape(shown)


def test_a_refusal_names_the_patient_too(signed_in: SignIn):
    """A form that comes back must not send somebody to the injured worker."""
    case = fresh()
    answer = signed_in(Role.OCCUPATIONAL_PHYSICIAN).post(
        reverse("visits:decide", args=[case]),
        {
            "position": str(len(get_store().entries(case))), "decision": "inform_gp",
            "until": (NIGHT.date() + timedelta(days=9)).isoformat(), "text": "no answer",
        },
    )  # fmt: skip
    assert answer.status_code == 422
    assert "the patient has not agreed to a letter" in answer.text


def test_the_rules_that_a_patients_case_leads_to_speak_of_the_patient(signed_in: SignIn):
    case = fresh()
    client = signed_in(Role.OCCUPATIONAL_PHYSICIAN)
    found: list[str] = []
    for table in get_protocol().tables:
        address = reverse("rules:table", args=[table.id])
        found += [
            f"{table.id}: {said}"
            for said in wrong(visible(client.get(address, {"case": case}).text))
        ]
    assert "\n".join(found) == ""
    # Without a case the same page speaks of everybody.
    plain = visible(client.get(reverse("rules:table", args=["hbv_pep"])).text)
    assert wrong(plain) != []
