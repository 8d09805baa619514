"""Papers: each opens as a PDF, its name names nobody, and only those who treat may print."""

from __future__ import annotations

import io
import re
import shutil
import subprocess
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pikepdf
import pytest
from django.test import Client
from django.urls import reverse

from thimble import actions
from thimble.clinical.vocabulary import VOCABULARY
from thimble.web.context import get_identities, get_protocol, get_site, get_store
from thimble.web.desk.reading import Reading
from thimble.web.models import Account, IdentityLook
from thimble.web.roles import GRANTED, Role

from .conftest import NIGHT

SignIn = Callable[[Role], Client]
OF_A_CASE = {
    "worker_plan": "worker-plan",
    "summary": "summary",
    "source_request": "source-request",
    "closing_statement": "closing-statement",
}
FOR_ALL = {"ward_card": "ward-card", "downtime_pack": "downtime-pack"}


@pytest.fixture
def case(db: None) -> str:
    return actions.report(
        get_store(), facts={"route": "percutaneous", "fluid": "blood"},
        occurred_at=NIGHT - timedelta(hours=1), occurred_at_precision="minute",
        vocabulary=VOCABULARY, now=NIGHT, identities=get_identities(),
        worker=actions.WorkerIdentity(name="Tilda Brandt"),
    ).case  # fmt: skip


def opens(content: bytes) -> int:
    with pikepdf.open(io.BytesIO(content)) as document:
        return len(document.pages)


@pytest.mark.parametrize("name", OF_A_CASE)
def test_each_paper_of_a_case_opens_and_its_name_names_nobody(
    name: str, signed_in: SignIn, case: str
):
    response = signed_in(Role.OCCUPATIONAL_NURSE).get(reverse(f"papers:{name}", args=[case]))

    assert response["Content-Type"] == "application/pdf"
    assert opens(response.content) >= 1
    assert response["Content-Disposition"] == (
        f'inline; filename="thimble-{case}-{OF_A_CASE[name]}.pdf"'
    )


@pytest.mark.parametrize("name", FOR_ALL)
@pytest.mark.parametrize("role", [r for r in Role if "print_documents" in GRANTED[r]])
def test_every_clinical_role_prints_what_is_for_everybody(name: str, role: Role, signed_in: SignIn):
    response = signed_in(role).get(reverse(f"papers:{name}"))

    assert response.status_code == 200
    assert opens(response.content) >= 1
    assert f"thimble-{FOR_ALL[name]}.pdf" in response["Content-Disposition"]


@pytest.mark.parametrize("role", [Role.SAFETY_OFFICER, Role.ADMINISTRATOR])
def test_who_treats_nobody_prints_nothing(role: Role, signed_in: SignIn, case: str):
    client = signed_in(role)

    for name in (*OF_A_CASE, "all_clear"):
        assert client.get(reverse(f"papers:{name}", args=[case])).status_code == 403
    for name in FOR_ALL:
        assert client.get(reverse(f"papers:{name}")).status_code == 403


def test_without_sight_of_the_source_the_request_is_not_offered(
    signed_in: SignIn, case: str, monkeypatch: pytest.MonkeyPatch
):
    role = Role.OCCUPATIONAL_NURSE
    monkeypatch.setitem(GRANTED, role, GRANTED[role] - {"see_source"})  # type: ignore[arg-type]
    client = signed_in(role)
    address = reverse("papers:source_request", args=[case])

    assert address not in client.get(reverse("papers:papers", args=[case])).content.decode()
    assert client.get(address).status_code == 403


def test_a_case_that_is_none_has_no_papers(signed_in: SignIn, db: None):
    client = signed_in(Role.EMERGENCY_CLINICIAN)

    assert client.get("/case/XXXX-XXXX/papers/summary.pdf").status_code == 404


def words_of(content: bytes, tmp_path: Path) -> str:
    """The words on the pages, in reading order, spaces made one (poppler's pdftotext)."""
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not installed")
    (tmp_path / "paper.pdf").write_bytes(content)
    found = subprocess.run(
        ["pdftotext", "-raw", str(tmp_path / "paper.pdf"), "-"], capture_output=True, check=True
    )
    return re.sub(r"\s+", " ", found.stdout.decode().replace("\u200b", ""))


def printed(client: Client, name: str, case: str, tmp_path: Path) -> str:
    return words_of(client.get(reverse(f"papers:{name}", args=[case])).content, tmp_path)


def test_papers_say_who_signed_what_was_given_and_what_was_decided_and_why(
    signed_in: SignIn, make_account: Callable[..., Account], case: str, tmp_path: Path
):
    account = make_account(Role.EMERGENCY_CLINICIAN, "signs")
    Account.objects.filter(pk=account.pk).update(display_name="Dr. Odo Invented")
    store, writer = get_store(), {"by": str(account.pk), "role": "emergency_clinician"}
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    assert "Not signed yet" in printed(client, "worker_plan", case, tmp_path)
    assert "No clinician has signed this plan yet." in printed(client, "summary", case, tmp_path)

    actions.give_dose(
        store, case, "hiv_pep_first_dose", product="bictegravir/FTC/TAF", amount="1 tablet",
        batch="LOT-41", now=NIGHT, **writer,
    )  # fmt: skip
    actions.depart(
        store, case, subject="baseline_hiv", advised="Draw it", decided="Done later than advised",
        reason="No tube at hand", now=NIGHT, **writer,
    )  # fmt: skip
    actions.sign_plan(
        store, case, protocol=get_protocol(), site=get_site(), now=NIGHT,
        seen_position=store.entries(case)[-1].position, **writer,
    )  # fmt: skip

    plan = printed(client, "worker_plan", case, tmp_path)
    summary = printed(client, "summary", case, tmp_path)
    assert "Not signed yet" not in plan
    assert "Signed by Dr. Odo Invented, emergency clinician" in plan
    assert "Signed by Dr. Odo Invented, emergency clinician" in summary
    assert str(account.pk) not in plan + summary
    for words in (plan, summary):
        assert "bictegravir/FTC/TAF" in words
        assert "LOT-41" in words
    assert "Decided: Done later than advised." in summary
    assert "Why: No tube at hand" in summary
    assert "No tube at hand" not in plan


def test_of_a_source_that_is_not_identified_no_request_is_offered_nor_printed(
    signed_in: SignIn, case: str
):
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    page, address = (reverse(f"papers:{n}", args=[case]) for n in ("papers", "source_request"))
    why = "The source patient is recorded as not identified, so there is no team to ask."
    before = client.get(page).content.decode()
    assert address in before
    assert why not in before

    actions.learn_facts(
        get_store(), case, {"source_access": "unidentified"}, said_by="clinician",
        vocabulary=VOCABULARY, now=NIGHT, by="a-1", role="emergency_clinician",
    )  # fmt: skip

    offered = client.get(page)
    assert offered.status_code == 200
    assert address not in offered.content.decode()
    assert why in offered.content.decode()
    refused = client.get(address)
    assert refused.status_code == 409
    assert refused["Content-Type"].startswith("text/html")
    assert "Not printed" in refused.content.decode()
    assert refused.content.decode().count(why) == 1


def test_who_may_not_see_the_source_is_not_told_that_nobody_knows_it(
    signed_in: SignIn, case: str, monkeypatch: pytest.MonkeyPatch
):
    role = Role.OCCUPATIONAL_NURSE
    monkeypatch.setitem(GRANTED, role, GRANTED[role] - {"see_source"})  # type: ignore[arg-type]
    actions.learn_facts(
        get_store(), case, {"source_access": "unidentified"}, said_by="clinician",
        vocabulary=VOCABULARY, now=NIGHT, by="a-1", role="emergency_clinician",
    )  # fmt: skip

    page = signed_in(role).get(reverse("papers:papers", args=[case])).content.decode()
    assert "not identified" not in page


def closed(case: str, reason: str) -> None:
    """Close with every action and decision departed from: an all clear asks for that."""
    store, writer = get_store(), {"by": "a-9", "role": "occupational_physician"}
    if reason == "all_clear":
        actions.learn_facts(
            store, case, {"fluid": "saliva", "route": "intact_skin"},
            said_by="clinician", vocabulary=VOCABULARY, now=NIGHT, **writer,
        )  # fmt: skip
        plan = Reading.of(case, store.entries(case), get_protocol(), get_site(), NIGHT).plan
        open_ = [name for name, finding in plan.findings.items() if finding.value is None]
        for subject in (*(a.id for a in plan.actions), *open_):
            actions.depart(
                store, case, subject=subject, advised="as advised", decided="not needed",
                reason="intact skin", now=NIGHT, **writer,
            )  # fmt: skip
    actions.close(
        store, case, may_leave=True, reason=reason, protocol=get_protocol(), site=get_site(), now=NIGHT,
        text="Talked over with the worker", **writer,
    )  # fmt: skip


def test_the_closing_statement_says_whether_the_case_is_closed_and_why(
    signed_in: SignIn, case: str, tmp_path: Path
):
    client = signed_in(Role.OCCUPATIONAL_PHYSICIAN)
    assert "This case is open" in printed(client, "closing_statement", case, tmp_path)

    closed(case, "worker_withdrew")

    told = printed(client, "closing_statement", case, tmp_path)
    assert "This case is open" not in told
    assert "The worker does not want follow-up" in told
    assert "as it stands in entry" in told
    assert "Talked over with the worker" not in told
    assert "Tilda Brandt" not in told


@pytest.mark.parametrize("reason", ["", "worker_withdrew", "source_negative"])
def test_no_certificate_is_offered_nor_printed_but_for_an_all_clear(
    reason: str, signed_in: SignIn, case: str
):
    if reason:
        closed(case, reason)
    client = signed_in(Role.OCCUPATIONAL_PHYSICIAN)
    address = reverse("papers:all_clear", args=[case])

    page = client.get(reverse("papers:papers", args=[case])).content.decode()
    refused = client.get(address)
    why = "closed for another reason" if reason else "The case is open"
    assert address not in page
    assert f"No all-clear certificate. The case is {why.removeprefix('The case is ')}" in page
    assert refused.status_code == 409
    assert refused.content.decode().count(why) == 1
    assert not IdentityLook.objects.filter(case=case).exists()


def test_the_certificate_of_an_all_clear_names_the_worker_and_that_is_put_on_record(
    signed_in: SignIn, case: str, tmp_path: Path
):
    closed(case, "all_clear")
    client = signed_in(Role.OCCUPATIONAL_PHYSICIAN)
    address = reverse("papers:all_clear", args=[case])

    assert address in client.get(reverse("papers:papers", args=[case])).content.decode()
    told = printed(client, "all_clear", case, tmp_path)
    assert "Tilda Brandt" in told
    assert "completed and signed" in told
    assert "egative" not in told
    look = IdentityLook.objects.get(case=case)
    assert (look.whose, look.where) == ("worker", "certificate")
    assert f"thimble-{case}-all-clear.pdf" in client.get(address)["Content-Disposition"]
