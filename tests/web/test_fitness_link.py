"""The manager's address: who makes it, all that it tells, and that it tells nothing once it is over."""

from __future__ import annotations

import logging
import re
from collections.abc import Callable
from datetime import datetime

import pytest
from django.conf import settings as django_settings
from django.test import Client
from django.urls import reverse

from thimble import actions
from thimble.actions import WorkerIdentity
from thimble.clinical.fitness import tables, vocabulary
from thimble.clinical.serology import measures
from thimble.clinical.vocabulary import VOCABULARY
from thimble.web import clock
from thimble.web.context import get_identities, get_store
from thimble.web.fitness.links import LOOKS_PER_WINDOW
from thimble.web.fitness.told import ASK
from thimble.web.models import FitnessLink, IdentityLook
from thimble.web.roles import Role

from .conftest import NIGHT
from .test_fitness import DECISION, SECRET, SURGEON

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("_fresh_limits")]
SignIn = Callable[[Role], Client]
PHYSICIAN = Role.OCCUPATIONAL_PHYSICIAN
NAME = "Zoë Sampleworth"


@pytest.fixture
def case() -> str:
    return actions.report(
        get_store(), facts={"route": "percutaneous", "fluid": "blood"}, occurred_at=NIGHT,
        occurred_at_precision="minute", vocabulary=VOCABULARY, now=NIGHT,
        identities=get_identities(), worker=WorkerIdentity(name=NAME),
    ).case  # fmt: skip


@pytest.fixture
def physician(signed_in: SignIn, case: str) -> Client:
    client = signed_in(PHYSICIAN)
    decide(client, case)
    return client


def decide(client: Client, case: str, **change: str) -> None:
    sent = client.post(
        reverse("fitness:fitness", args=[case]), SURGEON | DECISION | {"reason": SECRET} | change
    )
    assert sent.status_code == 302


def make(client: Client, case: str, shown: str = "none") -> str:
    answer = client.post(reverse("fitness:make_link", args=[case]), {"shown": shown})
    assert answer.status_code == 200
    found = re.search(
        r'value="https://thimble\.example(/fitness/for-the-manager/[^"]+)"', answer.text
    )
    assert found is not None
    return found[1]


@pytest.mark.parametrize("role", Role)
def test_the_physician_alone_makes_and_ends_it(
    role: Role, signed_in: SignIn, case: str, physician: Client
) -> None:
    client = physician if role is PHYSICIAN else signed_in(role)
    for name in ("fitness:make_link", "fitness:end_link"):
        status = client.post(reverse(name, args=[case]), {"shown": "none"}).status_code
        assert (status == 403) is (role is not PHYSICIAN)
    assert FitnessLink.objects.exists() is (role is PHYSICIAN)


@pytest.mark.parametrize(("shown", "name"), [("none", ""), ("initials", "Z. S."), ("name", NAME)])
def test_it_tells_the_name_as_chosen_the_decision_and_the_review(
    shown: str, name: str, case: str, physician: Client
) -> None:
    answer = Client().get(make(physician, case, shown))
    assert answer.status_code == 200
    assert "Fit with a restriction: no exposure-prone procedures." in answer.text
    assert "To be reviewed on Tue 1 Sep 2099." in answer.text
    for part in (NAME, "Z. S."):
        assert (part in answer.text) is (part == name)
    looks = IdentityLook.objects.filter(where="fitness link").count()
    assert looks == (0 if shown == "none" else 1)


def clinical(case: str) -> set[str]:
    """All that must not leave: facts, questions, tests, drugs, rules, rule sets, the case, the reason."""
    both = (*vocabulary().values(), *VOCABULARY.values())
    words = {SECRET, case, "Hepatitis", "HBV", "HCV", "HIV", "viral", "virus", "IU/mL", "640",
             "tenofovir", "entecavir", "emtricitabine", "dolutegravir", "bictegravir", "antiviral",
             "treatment", "infection", "diagnosis", "blood", "exposure", "needlestick", "vaccine",
             "UK", "SHEA", "CDC", "guidance", "Colleague"}  # fmt: skip
    words |= {fact.id for fact in both if "_" in fact.id} | {fact.question for fact in both}
    words |= {m.name for m in measures().values()} | {m.value for m in measures()}
    words |= {rule.id for t in tables().tables for rule in t.rules} | {
        t.id for t in tables().tables
    }
    words |= set(vocabulary()["rule_set"].labels.values()) | set(vocabulary()["rule_set"].values)
    words |= {tables().digest[:16], tables().edition}
    # The title of the page is the table's name too.
    return words - {"fitness"}


def found_in(text: str, words: set[str]) -> set[str]:
    # "exposure-prone procedures" is the restriction itself, in terms of work.
    text = text.lower().replace("exposure-prone procedures", "")
    return {w for w in words if re.search(rf"(?<!\w){re.escape(w.lower())}(?!\w)", text)}


def test_nothing_clinical_is_in_the_whole_response(case: str, physician: Client) -> None:
    path = make(physician, case)
    for client in (Client(), physician):
        answer = client.get(path)
        whole = "\n".join(f"{key}: {value}" for key, value in answer.items()) + answer.text
        whole += str(answer.cookies) + path
        assert found_in(whole, clinical(case)) == set()
    # The physician's page is what lets the search fail: it holds what the manager's must not.
    own = physician.get(reverse("fitness:fitness", args=[case])).text
    assert {SECRET, case, "Hepatitis"} <= found_in(own, clinical(case) | {"Hepatitis"})


def test_it_is_kept_nowhere_and_tells_no_other_page_its_address(
    case: str, physician: Client
) -> None:
    path = make(physician, case)
    answer = Client().get(path)
    assert "no-store" in answer["Cache-Control"]
    assert answer["Referrer-Policy"] == "no-referrer"
    assert "noindex" in answer["X-Robots-Tag"]
    assert not answer.cookies
    assert 'href="/' not in answer.text.replace('href="/static/', "")
    row = FitnessLink.objects.get(case=case)
    assert path.split("/")[3] not in "".join(str(value) for value in vars(row).values())


def test_one_that_is_over_says_to_ask_and_nothing_else(case: str, physician: Client) -> None:
    first = make(physician, case)
    second = make(physician, case)
    decide(physician, case, position="2")
    replaced_by_a_decision = Client().get(second)
    third = make(physician, case)
    assert Client().get(third).status_code == 200
    physician.post(reverse("fitness:end_link", args=[case]))
    over = [Client().get(first), replaced_by_a_decision, Client().get(third),
            Client().get("/fitness/for-the-manager/never-made/")]  # fmt: skip
    for answer in over:
        assert answer.status_code == 404
        assert answer.text == f"{ASK}\n"
        assert answer.headers == over[0].headers


@pytest.mark.parametrize("secret", ["x", "%00", "é", "a" * 5000, "' or 1=1"])
def test_any_other_secret_is_the_same_refusal(secret: str) -> None:
    answer = Client().get(f"/fitness/for-the-manager/{secret}/")
    assert (answer.status_code, answer.text) == (404, f"{ASK}\n")


def test_after_the_day_of_review_it_no_longer_stands_alone(
    case: str, physician: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = make(physician, case)
    for day, late in ((1, False), (2, True)):
        monkeypatch.setattr(
            clock, "now", lambda day=day: datetime(2099, 9, day, 12, tzinfo=NIGHT.tzinfo)
        )
        text = Client().get(path).text
        assert ("is over. Ask occupational medicine" in text) is late


def test_an_address_that_asks_too_often_is_told_to_wait(case: str, physician: Client) -> None:
    path = make(physician, case)
    client = Client()
    codes = [client.get(path).status_code for _ in range(LOOKS_PER_WINDOW + 1)]
    assert set(codes[:-1]) == {200}
    assert codes[-1] == 429
    assert client.get(path)["Retry-After"] == "600"
    assert Client(REMOTE_ADDR="203.0.113.9").get(path).status_code == 200


def test_a_choice_that_is_none_makes_nothing(case: str, physician: Client) -> None:
    answer = physician.post(reverse("fitness:make_link", args=[case]), {"shown": "photo"})
    assert answer.status_code == 302
    assert not FitnessLink.objects.exists()


def test_neither_the_secret_nor_the_name_is_in_the_log(
    case: str, physician: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    from thimble.web.log import Line, NoIdentities

    lines: list[str] = []

    class Catch(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            lines.append(self.format(record))

    catch = Catch()
    catch.setFormatter(Line())
    catch.addFilter(NoIdentities())
    for name in django_settings.LOGGING["loggers"]:
        monkeypatch.setattr(logging.getLogger(name), "handlers", [catch])
    path = make(physician, case, "name")
    Client().get(path)
    Client().get(path[:-2] + "x/")
    Client().post(path)
    assert any("fitness_link_made" in line for line in lines)
    assert not any(path.split("/")[3][:20] in line or "Sampleworth" in line for line in lines)
