"""Cohorts as a nurse sees them: counts, filters, order, the chart and its table, the file of demand."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.http import QueryDict
from django.test import Client
from django.utils.html import escape

from thimble.actions import FitnessVerdict, decide_fitness_of_person
from thimble.actions import people as acts
from thimble.clinical.readiness import Readiness, said_together
from thimble.people.entries import Kind
from thimble.people.identity import PersonIdentity
from thimble.people.readiness import readiness
from thimble.web import clock, context, models
from thimble.web.cohort.choosing import chosen
from thimble.web.cohort.sending import letter_data
from thimble.web.cohort.standings import asked_of
from thimble.web.context import get_people, get_people_identities
from thimble.web.fitness.joined import of_person
from thimble.web.own_page.page import own_page
from thimble.web.roles import Role
from web.conftest import SITE

pytestmark = pytest.mark.django_db

WORK = {
    "works_as": "student", "role": "medical student", "site": "", "department": "", "cohort": "Spring",
    "starts_on": "2026-04-06", "ends_on": None, "exposure_prone": "no", "categories": {},
}  # fmt: skip
WRITER = {"by": "u-nurse", "role": "occupational_nurse"}
SERIES = ("2019-02-04", "2019-03-07", "2019-08-11")


@pytest.fixture(autouse=True)
def _asks_hepatitis_b_only(settings: Any) -> None:
    site = SITE.replace("invented = true", 'invented = true\nevidence_asked = ["hepatitis_b"]')
    (settings.DATA / "site.toml").write_text(site, encoding="utf-8")
    context.forget()


def enrolled(family: str, *doses: str, titre: float | None = None, **work: object) -> str:
    reference = acts.enrol(
        get_people(),
        get_people_identities(),
        PersonIdentity("", family, "Ada", date(2001, 5, 6)),
        {**WORK, **work},
        not_the_same_as=get_people_identities().all_identities(),
        now=clock.now(),
        **WRITER,
    )
    drafts = [
        (Kind.DOSE_RECORDED, {"product": "43", "diseases": ["hepatitis_b"], "when": day, "lot": "",
                              "where": ""})
        for day in doses
    ]  # fmt: skip
    if titre is not None:
        sample = dict.fromkeys(("identified", "drawn_here", "direct"), "yes")
        body = {"test": "anti_hbs", "word": None, "number": titre, "comparator": "=",
                "unit": "m[IU]/mL", "when": "2019-10-02", "laboratory": "", "as_written": "",
                "sample": sample}  # fmt: skip
        drafts.append((Kind.RESULT_RECORDED, body))
    if drafts:
        acts.record_evidence(
            get_people(), reference, drafts, today=clock.now().date(), now=clock.now(), **WRITER
        )
    return reference


def shown(client: Client, **asked: str) -> tuple[str, list[str]]:
    page = client.get("/cohorts/one", {"cohort": "Spring", **asked}).content.decode()
    return page, re.findall(r'/people/P-[^"]+">([^<]+)</a>', page)


def some() -> None:
    enrolled("Ready", *SERIES, titre=120)
    enrolled("Titre", *SERIES)
    enrolled("Begun", "2026-02-20")
    enrolled("Nothing", role="nurse")
    enrolled("Gone", starts_on="2026-02-02", ends_on="2026-03-01")
    enrolled("Elsewhere", cohort="Autumn")


def test_a_cohort_says_who_is_ready_and_what_each_of_the_others_lacks(nurse: Client) -> None:
    some()
    page, names = shown(nurse)

    # Not ready before ready; not by the first day before on course; a step that stands before none.
    assert names == ["Nothing, Ada", "Begun, Ada", "Titre, Ada", "Ready, Ada"]
    assert "1 of 4 ready." in page
    assert "1 on course. 2 not by the first day." in page
    assert "Second dose of hepatitis B vaccine, from Fri 20 Mar 2026." in page
    # The last of these doses lies years behind.
    assert "Anti-HBs titre, now." in page
    assert "Ready by Fri 6 Mar 2026 if the titre is 10 or more." in page


@pytest.mark.parametrize(
    ("asked", "names"),
    [
        ({"show": "ready"}, ["Ready"]),
        ({"show": "not_ready"}, ["Nothing", "Begun", "Titre"]),
        ({"show": "late"}, ["Nothing", "Begun"]),
        ({"missing": "dose:hepatitis_b"}, ["Nothing", "Begun"]),
        ({"show": "not_ready", "role": "nurse"}, ["Nothing"]),
        ({"show": "declined"}, []),
        ({"show": "no such part"}, ["Nothing", "Begun", "Titre", "Ready"]),
        ({"cohort": "Autumn"}, ["Elsewhere"]),
        ({"cohort": ""}, ["Elsewhere", "Nothing", "Begun", "Titre", "Ready"]),
    ],
)
def test_filters_leave_whom_they_say(
    nurse: Client, asked: dict[str, str], names: list[str]
) -> None:
    some()

    assert shown(nurse, **asked)[1] == [f"{name}, Ada" for name in names]


def test_the_list_counts_each_cohort_and_shows_no_name(nurse: Client) -> None:
    some()
    page = nurse.get("/cohorts/").content.decode()

    assert "Spring" in page
    assert '<b class="cohort-count">1</b> of 4 ready' in page
    assert "Ada" not in page


def test_a_new_entry_changes_the_standing_at_once(nurse: Client) -> None:
    person = enrolled("Titre", *SERIES)
    assert "0 of 1 ready." in shown(nurse)[0]
    sample = dict.fromkeys(("identified", "drawn_here", "direct"), "yes")
    body = {"test": "anti_hbs", "word": None, "number": 10.0, "comparator": "=", "unit": "m[IU]/mL",
            "when": "2026-03-02", "laboratory": "", "as_written": "", "sample": sample}  # fmt: skip
    acts.record_evidence(
        get_people(),
        person,
        [(Kind.RESULT_RECORDED, body)],
        today=clock.now().date(),
        now=clock.now(),
        **WRITER,
    )

    assert "1 of 1 ready." in shown(nurse)[0]


def test_names_shown_are_put_on_record_and_names_on_other_pages_are_not(nurse: Client) -> None:
    some()
    shown(nurse, show="ready")

    assert models.IdentityLook.objects.filter(where="cohort").count() == 1


def test_the_chart_says_in_words_what_it_shows_and_the_table_has_the_same_numbers(
    nurse: Client,
) -> None:
    some()
    page, _ = shown(nurse)

    assert 'aria-label="1 of 4 ready on Tue 3 Mar 2026; 4 by' in page
    assert re.search(
        r'<th scope="row">2 Mar 2026</th><td class="number">1</td><td class="number">2<', page
    )


def test_demand_is_saved_as_a_file_without_names(nurse: Client) -> None:
    some()
    answer = nurse.get("/cohorts/demand", {"cohort": "Spring"})
    rows = list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"))))

    assert rows[0] == ["Week from", "Doses: Hepatitis B vaccine", "Anti-HBs", "Blood draws"]
    assert rows[1] == ["2026-03-02", "1", "1", "1"]
    assert sum(int(row[1]) for row in rows[1:]) == 2 + 3


def test_the_line_of_the_first_day_says_whether_it_is_everybodys(nurse: Client) -> None:
    some()
    assert ">first day</text>" in shown(nurse)[0]
    enrolled("Later", starts_on="2026-04-20")
    assert ">first day of most</text>" in shown(nurse)[0]


@pytest.mark.parametrize(
    "role", [Role.EMERGENCY_CLINICIAN, Role.SAFETY_OFFICER, Role.ADMINISTRATOR]
)
def test_nobody_else_sees_cohorts(signed_in: Callable[[Role], Client], role: Role) -> None:
    client = signed_in(role)

    assert {client.get(f"/cohorts/{path}").status_code for path in ("", "one", "demand")} == {403}


# --- what if ----------------------------------------------------------------------------------------


def what_if(client: Client, person: str, product: str, day: str) -> str:
    answer = client.post(f"/people/{person}/what-if", {"product": product, "day": day})
    return answer.content.decode()


def test_a_supposed_dose_says_whether_it_counts_and_what_comes_then_and_writes_nothing(
    nurse: Client,
) -> None:
    """Dose 20 Feb; four weeks later is 20 Mar, sixteen 12 Jun, six months 20 Aug."""
    person = enrolled("Begun", "2026-02-20")
    before = len(get_people().entries(person))
    page = what_if(nurse, person, "43", "2026-03-20")

    assert "The dose of Fri 20 Mar 2026 (recombinant, adult dose) counts." in page
    assert "Third dose of hepatitis B vaccine, from Thu 20 Aug 2026." in page
    assert "Ready by Wed 23 Sep 2026 if the titre is 10 or more." in page
    assert len(get_people().entries(person)) == before


def test_a_dose_later_on_delays_nothing_that_it_is_not_against(
    nurse: Client, settings: Any
) -> None:
    """Hepatitis B goes on from today, whenever the other dose is given."""
    path = settings.DATA / "site.toml"
    both = path.read_text().replace('["hepatitis_b"]', '["hepatitis_b", "pertussis"]')
    path.write_text(both, encoding="utf-8")
    context.forget()
    person = enrolled("Begun", "2026-02-20")
    page = what_if(nurse, person, "115", "2026-05-04")

    assert page.count("Ready by Wed 23 Sep 2026 if the titre is 10 or more.") == 2


def test_a_supposed_dose_that_comes_too_early_says_from_when_it_would_count(nurse: Client) -> None:
    page = what_if(nurse, enrolled("Begun", "2026-02-20"), "43", "2026-03-15")

    assert (
        "does not count: it was given too early; it would have counted from Mon 16 Mar 2026."
        in page
    )


def test_a_dose_against_something_that_nobody_asks_for_changes_nothing_here(nurse: Client) -> None:
    page = what_if(nurse, enrolled("Begun", "2026-02-20"), "03", "2026-03-20")

    assert "It would change nothing that is asked for here." in page


@pytest.mark.parametrize(
    ("product", "day", "sentence"),
    [
        ("no such thing", "2026-03-20", "There is no such vaccine."),
        ("30", "2026-03-20", "There is no such vaccine."),
        ("hepatitis", "2026-03-20", "Which one?"),
        ("43", "", "Say on which day."),
        ("43", "2001-05-05", "before the person&#x27;s birth"),
        ("43", "2036-03-12", "more than ten years ahead"),
    ],
)
def test_a_supposition_that_is_not_understood_is_kept_and_said(
    nurse: Client, product: str, day: str, sentence: str
) -> None:
    page = what_if(nurse, enrolled("Begun", "2026-02-20"), product, day)

    assert sentence in page
    assert f'value="{product}"' in page


def test_the_page_of_a_person_says_where_they_stand(nurse: Client) -> None:
    page = nurse.get(f"/people/{enrolled('Titre', *SERIES)}/").content.decode()

    assert "<b>On course.</b> Ready by Fri 6 Mar 2026 if the titre is 10 or more." in page


def decide(person: str, outcome: str, review: date | None, restriction: str = "none") -> None:
    """By a physician, two hours before the clock."""
    at = clock.now() - timedelta(hours=2)
    store = get_people()
    decide_fitness_of_person(
        store, person, FitnessVerdict(outcome, restriction, review, "seen"),
        facts={"rule_set": "uk_2023", "occasion": "clearance"}, days={},
        today=at.date() - timedelta(days=400), now=at, before=(),
        expected_position=store.entries(person)[-1].position,
        by="u-9", role="occupational_physician",
    )  # fmt: skip


def standing_of(page: str, family: str) -> str:
    """The last cell of somebody's row, without its marks."""
    (row,) = [row for row in page.split("<tr>") if f">{family}, Ada<" in row]
    return " ".join(
        re.sub(r"<[^>]+>", " ", row.rpartition("<td>")[2].partition("</td>")[0]).split()
    ).replace(" ;", ";")


@pytest.fixture
def decided_about() -> dict[str, str]:
    """People with all evidence, and what was decided about each."""
    far, today = date(2099, 1, 1), clock.now().date()
    with clock.standing_at(clock.now() - timedelta(days=2)):
        ready = {
            name: enrolled(name, *SERIES, titre=40.0)
            for name in ("Plain", "Unfit", "Due", "Limited")
        }
        ready["Surgeon"] = enrolled("Surgeon", *SERIES, titre=40.0, exposure_prone="yes")
    decide(ready["Plain"], "fit", far)
    decide(ready["Unfit"], "not_fit", far)
    decide(ready["Due"], "fit", today)
    decide(ready["Limited"], "fit_with_restriction", far, "no_exposure_prone")
    return ready


def test_a_decision_stands_where_evidence_alone_would_say_ready(
    nurse: Client, decided_about: dict[str, str]
) -> None:
    page, _ = shown(nurse)

    assert standing_of(page, "Plain") == "Ready."
    # The clock stands at 01:40 UTC on 3 March; the decision was made at 00:40 in Zurich.
    assert standing_of(page, "Unfit").startswith("Not fit by decision of Tue 3 Mar 2026.")
    assert standing_of(page, "Due") == (
        "To be judged. Nothing is missing. A physician reviews the decision about fitness first. "
        "Decided about fitness: fit; its review is due."
    )
    limited = "Ready, with a restriction: no exposure-prone procedures."
    assert standing_of(page, "Limited") == limited
    # No rule set is chosen, so nobody knows what is asked before such procedures.
    assert standing_of(page, "Surgeon").startswith("Ready without exposure-prone procedures.")
    assert "No rule set is chosen for exposure-prone procedures: the physician decides." in page

    of = "/people/{}/"
    unfit = nurse.get(of.format(decided_about["Unfit"])).content.decode()
    assert "<b>Not fit by decision of Tue 3 Mar 2026.</b>" in unfit
    assert "<b>Ready" not in unfit
    assert f"<b>{limited}</b>" in nurse.get(of.format(decided_about["Limited"])).content.decode()


def test_counts_filters_and_weeks_agree_with_the_decisions(
    nurse: Client, decided_about: dict[str, str]
) -> None:
    page, _ = shown(nurse)
    assert "<b>2 of 5 ready.</b>" in page
    assert "1 to be judged. 1 not fit by decision." in page
    this_week = re.findall(r'<tr><th scope="row">2 Mar 2026</th>(.*?)</tr>', page)[0]
    assert re.findall(r">(\d+)<", this_week) == ["2", "2"]

    assert set(shown(nurse, show="ready")[1]) == {"Plain, Ada", "Limited, Ada"}
    assert shown(nurse, show="not_fit")[1] == ["Unfit, Ada"]
    assert shown(nurse, show="to_judge")[1] == ["Due, Ada"]
    assert {"Unfit, Ada", "Due, Ada"} < set(shown(nurse, show="not_ready")[1])
    assert "2</b> of 5 ready" in nurse.get("/cohorts/").content.decode()


def test_their_own_page_says_the_same_whatever_was_decided(decided_about: dict[str, str]) -> None:
    def told(name: str) -> str:
        reference = decided_about[name]
        identity = get_people_identities().identity(reference)
        assert identity is not None
        file = acts.person_of(get_people(), reference, clock.now())
        decision = of_person(reference, clock.now()).holds
        site, zone = context.get_site(), context.zone()
        return own_page(file, identity, site, clock.now().date(), zone, decision).fitness

    assert told("Plain") == ""
    assert told("Unfit") == told("Due") == told("Limited") != ""
    assert "fit" not in told("Unfit").split()


def test_the_form_of_the_filters_comes_back_to_the_list(nurse: Client) -> None:
    enrolled("Ready", *SERIES, titre=120)
    page, _ = shown(nurse)

    assert re.search(r'<form class="people-filter[^"]*" method="get" action="#who">', page)


VALID = dict.fromkeys(("identified", "drawn_here", "direct"), "yes")
TESTS = ("hbsag", "anti_hcv", "hiv_ag_ab")
MERGED = (
    "Before exposure-prone procedures, test from an identified and validated sample: "
    "HBsAg, Anti-HCV, HIV antigen and antibody, now."
)


@pytest.fixture
def _by_the_kingdoms_rule_set(settings: Any) -> None:
    site = SITE.replace(
        "invented = true",
        'invented = true\nevidence_asked = ["hepatitis_b"]\nfitness_rule_set = "uk_2023"',
    )
    (settings.DATA / "site.toml").write_text(site, encoding="utf-8")
    context.forget()


def screened(person: str, *tests: str, word: str = "negative") -> None:
    body = {"word": word, "number": None, "comparator": "=", "unit": "", "laboratory": "",
            "as_written": "", "when": "2026-02-20", "sample": VALID}  # fmt: skip
    acts.record_evidence(
        get_people(),
        person,
        [(Kind.RESULT_RECORDED, {**body, "test": test}) for test in tests],
        today=clock.now().date(),
        now=clock.now(),
        **WRITER,
    )


@pytest.mark.usefixtures("_by_the_kingdoms_rule_set")
def test_who_will_do_exposure_prone_procedures_is_ready_only_with_the_tests_before_them(
    nurse: Client,
) -> None:
    """UKAP, remembered: whoever is new to them is shown not to be infectious; other work may begin."""
    ready = {"titre": 40.0}
    enrolled("Ward", *SERIES, **ready)
    enrolled("Surgeon", *SERIES, **ready, exposure_prone="yes")
    tested = enrolled("Tested", *SERIES, **ready, exposure_prone="yes")
    partly = enrolled("Partly", *SERIES, **ready, exposure_prone="yes")
    enrolled("Unsaid", *SERIES, **ready, exposure_prone="not_known")
    screened(tested, *TESTS)
    screened(partly, *TESTS[:2])
    page, names = shown(nurse)

    assert names == [f"{name}, Ada" for name in ("Partly", "Surgeon", "Unsaid", "Tested", "Ward")]
    assert "2 of 5 ready.</b> 3 for work without exposure-prone procedures." in page
    assert MERGED in page
    assert "With them by Fri 6 Mar 2026 if the tests before exposure-prone procedures are" in page
    assert "Nobody has said whether the work holds exposure-prone procedures." in page
    assert "Nothing is missing before exposure-prone procedures: the physician decides" in page
    assert shown(nurse, show="ready_without")[1] == names[:3]
    assert shown(nurse, missing="test:procedures")[1] == names[:2]
    told = nurse.get("/cohorts/demand", {"cohort": "Spring"}).content.decode()
    (week,) = csv.DictReader(io.StringIO(told.lstrip("\ufeff")))
    assert week == {
        "Week from": "2026-03-02", "HBsAg": "1", "Anti-HCV": "1", "HIV antigen and antibody": "2",
        "Blood draws": "2",
    }  # fmt: skip


@pytest.mark.usefixtures("_by_the_kingdoms_rule_set")
def test_the_person_s_page_says_what_is_missing_for_their_work(nurse: Client) -> None:
    person = enrolled("Surgeon", *SERIES, titre=40.0, exposure_prone="yes")
    page = nurse.get(f"/people/{person}/").content.decode()

    assert "<b>Ready without exposure-prone procedures.</b> With them by Fri 6 Mar 2026" in page


@pytest.mark.usefixtures("_by_the_kingdoms_rule_set")
def test_each_letter_of_many_asks_for_what_the_cohort_s_page_says_that_one_person_lacks(
    nurse: Client,
) -> None:
    enrolled("Begun", "2026-02-20", exposure_prone="yes")
    enrolled("Surgeon", *SERIES, titre=40.0, exposure_prone="yes")
    enrolled("Nothing")
    screened(enrolled("Positive", *SERIES, titre=40.0, exposure_prone="yes"), *TESTS[:1])
    found = chosen(QueryDict("cohort=Spring"))
    for one in found.members:
        alone = readiness_alone(one.reference)
        assert {lack.what for lack in alone.lacks} == {x.what for x in one.readiness.lacks}
        assert (alone.status, alone.ready_on) == (one.readiness.status, one.readiness.ready_on)
        who = found.identities[one.reference]
        letter = letter_data("missing", "{}", one.reference, who, clock.now(), "")
        rows = {row[0] for part in letter["parts"] for row in (part["table"] or {}).get("rows", ())}
        assert rows == {lack.told or lack.what for lack in one.readiness.lacks}
        page = nurse.get(f"/people/{one.reference}/").content.decode()
        assert all(escape(said) in page for said in said_together(one.readiness.lacks, found.today))


def readiness_alone(person: str) -> Readiness:
    """The same by one person's file and nothing kept."""
    file = acts.person_of(get_people(), person, clock.now())
    born = get_people_identities().identity(person).birth_date  # type: ignore[union-attr]
    return readiness(file, born, clock.now().date(), asked_of(context.get_site()))


@pytest.mark.usefixtures("_by_the_kingdoms_rule_set")
def test_their_own_page_asks_for_a_sample_and_tells_nothing_of_what_was_found(
    nurse: Client,
) -> None:
    plain = enrolled("Surgeon", *SERIES, titre=40.0, exposure_prone="yes")
    positive = enrolled("Positive", *SERIES, titre=40.0, exposure_prone="yes")
    screened(positive, "hbsag", "hiv_ag_ab")
    screened(positive, "anti_hcv", word="positive")
    told = []
    for person in (plain, positive):
        file = acts.person_of(get_people(), person, clock.now())
        identity = get_people_identities().identity(person)
        assert identity is not None
        page = own_page(file, identity, context.get_site(), clock.now().date(), context.zone())
        told.append(page.steps)

    assert told[0] == told[1]
    assert "before exposure-prone procedures; please bring a document with your photo" in told[0][0]


def test_a_step_that_is_due_says_since_when_it_could_have_been_done(nurse: Client) -> None:
    before = clock.now() - timedelta(days=20)
    with clock.standing_at(before):
        enrolled("Older", "2026-01-05")
        enrolled("Nothing")
    page, names = shown(nurse)

    # The second dose from 4 weeks after the first, and from the day on which the file was opened.
    assert "Second dose of hepatitis B vaccine, since Wed 11 Feb 2026, 20 days." in page
    assert names == ["Nothing, Ada", "Older, Ada"]


@pytest.mark.usefixtures("_by_the_kingdoms_rule_set")
@pytest.mark.parametrize(
    ("prone", "one_line"), [("no", True), ("yes", False), ("not_known", False)]
)
def test_without_exposure_prone_procedures_one_line_says_that_no_test_is_asked_for(
    nurse: Client, prone: str, one_line: bool
) -> None:
    page = nurse.get(f"/people/{enrolled('Ada', exposure_prone=prone)}/").content.decode()
    section = page.partition('aria-labelledby="clearance"')[2].partition("</section>")[0]

    assert ("<b>No exposure-prone procedures: no test is a condition.</b>" in section) is one_line
    assert ("<li>" not in section) is one_line
    offer = "<b>Next:</b> Offer the test, with advice: hepatitis B, hepatitis C, HIV."
    assert (offer in section) is one_line
    assert "the occupational physician decides" in section
