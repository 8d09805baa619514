"""The desk: what the page says, what it asks, what it writes, and what two clinicians at once see."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.test import Client
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

import thimble
from thimble import actions
from thimble.clinical.site import Site, load_site
from thimble.clinical.vocabulary import VOCABULARY
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.next_thing import short
from thimble.ledger.plan import TO_DO, State, Window
from thimble.ledger.store import MemoryStore
from thimble.ledger.telling import told as told_findings
from thimble.protocol import load_protocol
from thimble.protocol.protocol import Protocol
from thimble.protocol.vocabulary import Value
from thimble.web import clock
from thimble.web.context import get_identities, get_protocol, get_site, get_store
from thimble.web.desk.page import CasePage
from thimble.web.desk.plan import asks_expert, protective_first
from thimble.web.desk.questions import (
    BadAnswer,
    QuestionView,
    can_change,
    read_answer,
    read_moment,
    read_number,
)
from thimble.web.desk.reading import Reading
from thimble.web.desk.signing import SignPage
from thimble.web.desk.words import Clock, WindowWords, left, point
from thimble.web.models import LastLook
from thimble.web.roles import GRANTED, Role

from .conftest import NIGHT, SITE

ZONE = ZoneInfo("Europe/Zurich")
WEIGHT = VOCABULARY["worker_weight"]
MEDICINES = VOCABULARY["worker_medicines"]
ALL = frozenset().union(*GRANTED.values())


@pytest.fixture(scope="module")
def protocol() -> Protocol:
    return load_protocol(Path(thimble.__file__).parent / "protocols" / "us", VOCABULARY)


@pytest.fixture
def site(tmp_path: Path) -> Site:
    file = tmp_path / "desk-site.toml"
    file.write_text(SITE, encoding="utf-8")
    return load_site(file)


def reading_of(
    protocol: Protocol,
    site: Site,
    facts: Mapping[str, Value],
    *,
    unknown: tuple[str, ...] = (),
    after: timedelta = timedelta(hours=1),
) -> Reading:
    store = MemoryStore()
    case = actions.report(
        store,
        facts=facts,
        occurred_at=NIGHT - after,
        occurred_at_precision="minute",
        vocabulary=VOCABULARY,
        now=NIGHT - after,
    ).case
    for fact in unknown:
        actions.cannot_be_known(
            store, case, fact, vocabulary=VOCABULARY, now=NIGHT, by="u-a", role="nurse"
        )
    return Reading.of(case, store.entries(case), protocol, site, NIGHT)


def page_of(reading: Reading, protocol: Protocol, site: Site, **more: Any) -> CasePage:
    arguments: dict[str, Any] = {
        "capabilities": ALL, "account": "u-me", "names": {"u-a": "Ada"}, **more,
    }  # fmt: skip
    return CasePage.of(reading, protocol=protocol, site=site, **arguments)


def test_a_plan_signed_under_another_edition_is_to_be_read_again(
    protocol: Protocol, site: Site, tmp_path: Path
):
    store = MemoryStore()
    case = actions.report(
        store, facts={"route": "percutaneous"}, occurred_at=NIGHT, occurred_at_precision="minute",
        vocabulary=VOCABULARY, now=NIGHT,
    ).case  # fmt: skip
    actions.sign_plan(
        store, case, protocol=protocol, site=site, seen_position=1, now=NIGHT, by="u-a",
        role="emergency_clinician",
    )  # fmt: skip
    folder = tmp_path / "next"
    shutil.copytree(Path(thimble.__file__).parent / "protocols" / "us", folder)
    manifest = folder / "protocol.toml"
    text = manifest.read_text(encoding="utf-8")
    assert f'edition = "{protocol.edition}"' in text
    manifest.write_text(text.replace(protocol.edition, "next", 1), encoding="utf-8")
    later = load_protocol(folder, VOCABULARY)

    def signed(under: Protocol):
        reading = Reading.of(case, store.entries(case), under, site, NIGHT)
        found = page_of(reading, under, site).signed
        return found.still, found.other_rules

    assert signed(protocol) == (True, False)
    assert signed(later) == (False, True)


def test_a_plan_that_reads_otherwise_than_what_was_signed_says_so(protocol: Protocol, site: Site):
    """The same rules, read by another version of the program: the entry is what was signed."""
    store = MemoryStore()
    case = actions.report(
        store, facts={"route": "percutaneous", "fluid": "blood"}, occurred_at=NIGHT,
        occurred_at_precision="minute", vocabulary=VOCABULARY, now=NIGHT,
    ).case  # fmt: skip
    actions.sign_plan(
        store, case, protocol=protocol, site=site, seen_position=1, now=NIGHT, by="u-a",
        role="emergency_clinician",
    )  # fmt: skip
    *before, signature = store.entries(case)
    decisions = {**signature.body["decisions"], "significance": "not_significant"}
    other = replace(signature, body={**signature.body, "decisions": decisions})

    def still(*entries: Entry) -> bool:
        found = page_of(Reading.of(case, entries, protocol, site, NIGHT), protocol, site).signed
        return found is not None and found.still

    assert still(*before, signature)
    assert not still(*before, other)


# -- words ------------------------------------------------------------------------------------------


def test_the_clock_says_how_long_ago_and_when():
    told = Clock.of(NIGHT - timedelta(minutes=72), "minute", NIGHT, ZONE)

    assert told == Clock("1 h 12 min since the exposure", "at 01:28", True)


@pytest.mark.parametrize(
    ("minutes", "words"),
    [(72 * 60 - 1, "71 h 59 min"), (72 * 60, "72 h 0 min"), (72 * 60 + 1, "72 h 1 min"),
     (96 * 60 - 1, "95 h 59 min"), (96 * 60, "4 days")],
)  # fmt: skip
def test_around_72_hours_the_clock_counts_minutes(minutes: int, words: str):
    told = Clock.of(NIGHT - timedelta(minutes=minutes), "minute", NIGHT, ZONE)

    assert told.since == f"{words} since the exposure"


def test_an_exposure_known_to_the_day_never_claims_an_exact_time():
    told = Clock.of(datetime(2026, 3, 2, 0, 0, tzinfo=ZONE), "date", NIGHT, ZONE)

    assert told.since.startswith("Up to ")
    assert "hour is not known" in told.at


def test_an_exposure_known_to_the_hour_counts_from_its_first_moment_as_the_plan_does():
    told = Clock.of(NIGHT - timedelta(minutes=72), "hour", NIGHT, ZONE)

    # 01:28 in Zurich: the hour from 01:00, 1 h 40 min before 02:40.
    assert told == Clock("Up to 1 h 40 min since the exposure", "in the hour from 01:00", True)


def test_a_time_that_nobody_knows_is_not_called_known():
    assert not Clock.of(None, "unknown", NIGHT, ZONE).known
    assert "cannot be known" in Clock.of(None, "unknown", NIGHT, ZONE, cannot_be_known=True).since


@pytest.mark.parametrize(
    ("hours", "words"),
    [(47.99, "47 h"), (48, "48 h"), (71.99, "71 h"), (72, "72 h"), (95.99, "95 h"), (96, "4 days")],
)
def test_a_limit_of_72_hours_is_counted_in_hours(hours: float, words: str):
    assert left(timedelta(hours=hours)) == words


def test_a_window_is_open_at_its_last_instant_and_closed_just_after():
    window = Window(NIGHT - timedelta(hours=72), None, NIGHT)

    assert not WindowWords.of(window, NIGHT, ZONE).closed
    after = WindowWords.of(window, NIGHT + timedelta(seconds=1), ZONE)
    assert after.closed
    assert after.left == "less than 1 min late"
    assert after.share == 0


def test_a_window_with_a_best_time_names_both():
    window = Window(NIGHT, NIGHT + timedelta(hours=24), NIGHT + timedelta(days=7))

    words = WindowWords.of(window, NIGHT, ZONE)

    assert words.left == "Best within 24 h"
    assert words.until == "best by tomorrow 02:40; no later than Tue 10 Mar 2026, 02:40 (7 days)"


@pytest.mark.parametrize(
    ("minutes", "left"), [(16, "Best within 44 min"), (59, "Best within 1 min"), (60, "Best now"),
                          (61, "Now"), (71 * 60, "Now")],
)  # fmt: skip
def test_a_dose_that_is_best_given_at_once_is_never_said_to_have_days(minutes: int, left: str):
    """The limit of 72 hours stands beside it, in small letters."""
    begun = NIGHT - timedelta(minutes=minutes)
    window = Window(begun, begun + timedelta(hours=1), begun + timedelta(hours=72))

    words = WindowWords.of(window, NIGHT, ZONE)
    assert words.left == left
    assert "no later than" in words.until


def test_a_window_that_waits_says_for_what():
    words = WindowWords.of(Window(None, None, None, "x"), NIGHT, ZONE, waits_for="give the dose")

    assert words.left == "Counts from: give the dose"
    assert words.share is None


def test_days_are_named_from_the_site_and_not_from_utc():
    # 23:30 UTC is 00:30 the next day in Zurich.
    assert point(datetime(2026, 3, 2, 23, 30, tzinfo=UTC), NIGHT, ZONE) == "00:30"


# -- reading answers --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "number"),
    [
        ("72", 72),
        ("72.5", 72.5),
        ("72,5", 72.5),
        (" 72 kg", 72),
        ("+72", 72),
        ("2", 2),
        ("400", 400),
    ],
)
def test_a_number_is_read_as_people_write_it(typed: str, number: float):
    assert read_number(typed, WEIGHT) == number


@pytest.mark.parametrize(
    "typed",
    ["", "abc", "1.999", "400.1", "-3", "7 2 k", "1e3", "nan", "inf", "<10", "72,5,1", "٧٢x"],
)
def test_a_number_that_is_none_or_out_of_range_is_refused_with_what_is_allowed(typed: str):
    with pytest.raises(BadAnswer, match=r"2 to 400 kg|Actual weight"):
        read_number(typed, WEIGHT)


def test_a_comma_that_may_part_thousands_is_not_guessed():
    titre = VOCABULARY["worker_anti_hbs_now"]

    with pytest.raises(BadAnswer, match="two ways"):
        read_number("1,000", titre)
    assert read_number("1,5", titre) == 1.5
    assert read_number("0,125", titre) == 0.125


@given(st.floats(2, 400, allow_nan=False).map(lambda x: round(x, 1)))
def test_point_and_comma_read_alike(number: float):
    text = f"{number:.1f}"

    assert read_number(text, WEIGHT) == read_number(text.replace(".", ","), WEIGHT) == number


def test_nothing_ticked_is_no_answer():
    with pytest.raises(BadAnswer, match="Nothing ticked is no answer"):
        read_answer(MEDICINES, [])
    assert read_answer(MEDICINES, [], none=True) == frozenset()


def test_none_of_these_together_with_one_of_them_is_refused():
    with pytest.raises(BadAnswer, match="Untick"):
        read_answer(MEDICINES, ["metformin"], none=True)


def test_a_code_that_is_not_offered_is_refused():
    with pytest.raises(BadAnswer):
        read_answer(VOCABULARY["source_hiv"], ["maybe"])


def test_a_time_that_the_clocks_skipped_or_that_is_to_come_is_refused():
    spring = datetime(2026, 3, 29, 12, tzinfo=UTC)
    with pytest.raises(BadAnswer, match="clocks went forward"):
        read_moment("2026-03-29", "02:30", ZONE, spring)
    with pytest.raises(BadAnswer, match="not come yet"):
        read_moment("2026-03-03", "02:41", ZONE, NIGHT)
    assert read_moment("2026-03-03", "02:40", ZONE, NIGHT) == NIGHT


def test_a_time_that_came_twice_is_the_earlier_so_that_no_window_closes_late():
    autumn = datetime(2026, 10, 25, 12, tzinfo=UTC)

    assert read_moment("2026-10-25", "02:30", ZONE, autumn) == datetime(
        2026, 10, 25, 0, 30, tzinfo=UTC
    )


# -- the page ---------------------------------------------------------------------------------------


def test_the_page_asks_first_what_the_plan_asks_first(protocol: Protocol, site: Site):
    reading = reading_of(protocol, site, {"route": "percutaneous"})

    page = page_of(reading, protocol, site)

    asked = [q.fact for q in (page.question, *page.others) if q]
    assert asked == [question.fact for question in reading.plan.questions]


def test_a_question_that_cannot_matter_is_not_asked(protocol: Protocol, site: Site):
    """On intact skin nothing is significant: the source's viral load decides nothing."""
    page = page_of(
        reading_of(protocol, site, {"route": "intact_skin", "fluid": "blood"}), protocol, site
    )

    assert "source_hiv_load" not in {q.fact for q in (page.question, *page.others) if q}


@pytest.mark.parametrize("fact", list(VOCABULARY))
def test_every_question_can_be_answered_with_cannot_be_known(fact: str, protocol: Protocol):
    view = QuestionView.of(VOCABULARY[fact], protocol=protocol)

    assert view.unknown
    assert "unknown" not in {choice.value for choice in view.choices}


def test_what_an_answer_can_change_is_said_in_words(protocol: Protocol):
    said = can_change(("hbig_doses", "hbv_vaccine", "first_hour", "follow_up_tests"), protocol)

    assert said == "hepatitis B immunoglobulin; hepatitis B vaccine; what is to be done"


def test_unknown_is_shown_as_not_known_and_never_as_no(protocol: Protocol, site: Site):
    page = page_of(
        reading_of(protocol, site, {"source_hiv": "unknown"}, unknown=("worker_pregnancy",)),
        protocol,
        site,
    )

    shown = {f.fact: f.value for group in page.facts for f in group.facts}
    assert shown == {"source_hiv": "Not known", "worker_pregnancy": "Cannot be known"}


def test_what_rests_on_what_cannot_be_known_is_left_to_the_clinician(
    protocol: Protocol, site: Site
):
    reading = reading_of(
        protocol,
        site,
        {
            "route": "percutaneous", "fluid": "blood", "source_hbsag": "positive",
            "worker_hbv_infection": "none_known", "worker_hbv_series": "one_complete",
        },
        unknown=("worker_hbv_response", "worker_anti_hbs_now"),
    )  # fmt: skip

    page = page_of(reading, protocol, site)

    hbig = next(d for d in page.plan.undecidable if d.id == "hbig_doses")
    assert hbig.value == ""
    assert VOCABULARY["worker_hbv_response"].question in hbig.stuck_on
    assert "worker_hbv_response" not in {q.fact for q in page.others}
    # The protocol's own order of severity: one dose protects more than none.
    assert hbig.possible[0] != "None"


def test_the_most_protective_outcome_stands_first(protocol: Protocol):
    assert protective_first("hbig_doses", ("0", "1", "2"), protocol) == ("2", "1", "0")
    assert protective_first("no_such_decision", ("a", "b"), protocol) == ("a", "b")


def test_an_expert_is_named_with_the_number_wherever_an_expert_decides(
    protocol: Protocol, site: Site
):
    reading = reading_of(
        protocol,
        site,
        {
            "route": "percutaneous", "fluid": "blood", "source_hiv": "positive",
            "source_hiv_load": "detectable", "source_hiv_acute_illness": "no",
            "worker_hiv": "negative", "worker_on_prep": "no",
        },
        after=timedelta(hours=72, minutes=1),
    )  # fmt: skip
    page = page_of(reading, protocol, site)

    assert "hiv_pep" in {d.id for d in page.plan.left_to_you}
    assert page.plan.expert is not None
    assert page.plan.expert.number == "0177"


def test_what_rests_on_an_unconfirmed_rule_says_so(protocol: Protocol, site: Site):
    page = page_of(
        reading_of(protocol, site, {"route": "percutaneous", "fluid": "blood"}), protocol, site
    )
    for decision in (*page.plan.settled, *page.plan.left_to_you, *page.plan.nothing_due):
        standings = {reason.standing for reason in decision.reasons}
        assert decision.confirmed == (standings == {"read in the source"}), decision.id


def test_every_reason_carries_its_full_citation(protocol: Protocol, site: Site):
    page = page_of(
        reading_of(protocol, site, {"route": "percutaneous", "fluid": "blood"}), protocol, site
    )
    reasons = [
        reason
        for group in page.plan.groups for action in group.actions for reason in action.reasons
    ]  # fmt: skip
    assert reasons
    assert all(line.citation for reason in reasons for line in reason.sources)


def test_no_action_is_lost_between_the_groups(protocol: Protocol, site: Site):
    reading = reading_of(protocol, site, {"route": "percutaneous", "fluid": "blood"})
    page = page_of(reading, protocol, site)

    shown = sorted(action.id for group in page.plan.groups for action in group.actions)
    assert shown == sorted(action.id for action in reading.plan.actions)


def test_what_is_not_due_yet_is_not_done_by_one_tap(protocol: Protocol, site: Site):
    reading = reading_of(protocol, site, {"route": "percutaneous", "fluid": "blood"})
    page = page_of(reading, protocol, site)
    windows = {action.id: action.window for action in reading.plan.actions}

    for group in page.plan.groups:
        for action in group.actions:
            opens = windows[action.id].earliest
            if windows[action.id].waits_for or (opens is not None and opens > NIGHT):
                assert not action.ready, action.id


def test_the_signature_page_lists_every_certain_action_and_every_decision(
    protocol: Protocol, site: Site
):
    reading = reading_of(protocol, site, {"route": "percutaneous", "fluid": "blood"})
    page = SignPage.of(reading, protocol=protocol, site=site, names={}, typed={})

    certain = [a.what for a in reading.plan.actions if a.certain]
    assert sorted(line.label for line in page.actions) == sorted(certain)
    amounts = {"hbig_amount", "hbig_amount_per", "hbig_amount_unit"}
    inner = {name for name, output in protocol.outputs.items() if output.inner}
    settled = {name for name, finding in reading.plan.findings.items() if finding.value}
    asked_of_people = set(reading.plan.findings) - amounts - (inner - settled)
    assert len(page.decisions) + len(page.open) == len(asked_of_people)


def test_the_signature_counts_no_caution_that_its_page_does_not_show(
    protocol: Protocol, site: Site
):
    reading = reading_of(protocol, site, {"route": "percutaneous", "fluid": "blood"})
    page = SignPage.of(reading, protocol=protocol, site=site, names={}, typed={})

    assert [line.label for line in page.cautions] == [c.text for c in reading.plan.cautions]


def test_a_decision_recorded_before_stands_beside_the_advice_that_is_signed(
    protocol: Protocol, site: Site
):
    store = MemoryStore()
    facts = {
        "route": "percutaneous", "fluid": "blood", "source_hiv": "unknown", "worker_hiv": "negative",
    }  # fmt: skip
    case = actions.report(
        store, facts=facts, occurred_at=NIGHT - timedelta(hours=1), occurred_at_precision="minute",
        vocabulary=VOCABULARY, now=NIGHT,
    ).case  # fmt: skip

    def read() -> Reading:
        return Reading.of(case, store.entries(case), protocol, site, NIGHT)

    assert read().plan.findings["hiv_pep"].value == "expert_decides"
    undecided = page_of(read(), protocol, site).plan.not_decided
    actions.depart(
        store, case, subject="hiv_pep", advised="An expert decides", decided="Give it",
        reason="The expert was rung.", now=NIGHT, by="u-a", role="emergency_clinician",
    )  # fmt: skip

    page = SignPage.of(read(), protocol=protocol, site=site, names={"u-a": "Ada"}, typed={})
    beside = {line.label: line.departure for line in page.decisions if line.departure}
    said = beside.pop(protocol.outputs["hiv_pep"].label)
    assert said is not None
    assert (said.decided, said.by, said.reason) == ("Give it", "Ada", "The expert was rung.")
    assert not beside
    assert "hiv_pep" in {d.id for d in undecided}
    assert "hiv_pep" not in {d.id for d in page_of(read(), protocol, site).plan.not_decided}


def test_what_is_to_be_done_next_is_the_first_of_what_can_be_done_now(
    protocol: Protocol, site: Site
):
    reading = reading_of(protocol, site, {"route": "percutaneous", "fluid": "blood"})
    plan = page_of(reading, protocol, site).plan

    now = next(group for group in plan.groups if group.id == "now")
    assert len(now.actions) > len(plan.next_steps) > 0
    assert plan.next_steps == now.actions[: len(plan.next_steps)]
    assert plan.next_steps[0].id == "first_aid"


# -- views ------------------------------------------------------------------------------------------


@pytest.fixture
def case(db: None) -> str:
    return actions.report(
        get_store(),
        facts={"route": "percutaneous"},
        occurred_at=NIGHT - timedelta(minutes=72),
        occurred_at_precision="minute",
        vocabulary=VOCABULARY,
        now=NIGHT - timedelta(minutes=60),
        identities=get_identities(),
        worker=actions.WorkerIdentity(name="Tilda Brandt", phone="0155"),
    ).case


SignIn = Callable[[Role], Client]
DOCTOR, NURSE = Role.EMERGENCY_CLINICIAN, Role.OCCUPATIONAL_NURSE


def url(name: str, case: str, *more: Any) -> str:
    return reverse(f"desk:{name}", args=[case, *more])


def position(case: str) -> int:
    return len(get_store().entries(case))


def text_of(response: Any) -> str:
    return re.sub(r"\s+", " ", response.content.decode())


def test_the_case_page_opens_without_any_script(signed_in: SignIn, case: str):
    page = text_of(signed_in(DOCTOR).get(url("case", case)))

    assert "1 h 12 min since the exposure" in page
    assert "Which fluid was it?" in page
    assert "Tilda Brandt" in page
    # Every form works as it stands: an address and a method of its own.
    assert all(
        'method="post"' in form or 'method="get"' in form
        for form in re.findall("<form[^>]*>", page)
    )
    assert "<script>" not in page
    assert " style=" not in page


@pytest.mark.parametrize("role", [Role.SAFETY_OFFICER, Role.ADMINISTRATOR])
def test_who_treats_nobody_opens_no_case(role: Role, signed_in: SignIn, case: str):
    client = signed_in(role)

    assert client.get(url("case", case)).status_code == 403
    assert client.post(url("answer", case), {"fact": "fluid", "value": "blood"}).status_code == 403


def test_a_visitor_is_sent_to_sign_in(client: Client, case: str):
    response = client.get(url("case", case))

    assert response.status_code == 302
    assert "sign-in" in response["Location"]


def _case_of(facts: dict[str, Any], ago: timedelta = timedelta(hours=1)) -> tuple[MemoryStore, str]:
    store = MemoryStore()
    return store, actions.report(
        store, facts=facts, occurred_at=NIGHT - ago, occurred_at_precision="minute",
        vocabulary=VOCABULARY, now=NIGHT - ago,
    ).case  # fmt: skip


def test_what_depends_on_what_nobody_can_know_is_to_be_done_unless_decided_otherwise(
    protocol: Protocol, site: Site
):
    """Five taps on "cannot be known" must not put immunoglobulin out of sight."""
    store, case = _case_of({"route": "percutaneous", "fluid": "blood", "source_hbsag": "positive"})
    writer = {"now": NIGHT, "by": "u-a", "role": "emergency_clinician"}
    before = Reading.of(case, store.entries(case), protocol, site, NIGHT).plan
    assert not next(a for a in before.actions if a.id == "hbig_first_dose").stands
    for fact in (
        "worker_hbv_infection",
        "worker_hbv_series",
        "worker_hbv_response",
        "worker_anti_hbs_now",
    ):
        actions.cannot_be_known(store, case, fact, vocabulary=VOCABULARY, **writer)

    reading = Reading.of(case, store.entries(case), protocol, site, NIGHT)
    hbig = next(a for a in reading.plan.actions if a.id == "hbig_first_dose")
    assert (hbig.certain, hbig.stuck, hbig.stands) == (False, True, True)
    view = page_of(reading, protocol, site).plan
    now = next(group for group in view.groups if group.id == "now")
    assert "hbig_first_dose" in {a.id for a in now.actions}
    page = SignPage.of(reading, protocol=protocol, site=site, names={}, typed={})
    line = next(line for line in page.actions if line.label == hbig.what)
    assert line.state == "depends on what cannot be known"
    signed = actions.sign_plan(
        store, case, protocol=protocol, site=site, seen_position=reading.position, **writer
    )
    assert "hbig_first_dose" in signed[-1].body["actions"]


def test_a_plan_stays_signed_when_what_it_says_is_done(protocol: Protocol, site: Site):
    store, case = _case_of(
        {"route": "percutaneous", "fluid": "blood", "source_hiv": "positive",
         "source_hiv_load": "detectable", "worker_hiv": "negative"}
    )  # fmt: skip
    writer = {"now": NIGHT, "by": "u-a", "role": "emergency_clinician"}
    actions.sign_plan(store, case, protocol=protocol, site=site, seen_position=1, **writer)

    def still() -> bool:
        reading = Reading.of(case, store.entries(case), protocol, site, NIGHT)
        signed = page_of(reading, protocol, site).signed
        return signed is not None and signed.still

    assert still()
    actions.give_dose(store, case, "hiv_pep_first_dose", product="Pack", **writer)
    assert still()
    actions.learn_facts(
        store,
        case,
        {"source_hiv": "negative"},
        said_by="laboratory",
        vocabulary=VOCABULARY,
        **writer,
    )
    assert not still()


def test_the_strip_shows_the_windows_in_the_order_of_the_plan(protocol: Protocol, site: Site):
    facts = {"route": "percutaneous", "fluid": "blood", "source_hiv": "positive",
             "source_hiv_load": "detectable", "worker_hiv": "negative"}  # fmt: skip
    store, case = _case_of(facts, timedelta(hours=80))
    reading = Reading.of(case, store.entries(case), protocol, site, NIGHT)
    view = page_of(reading, protocol, site).plan

    doing = [a for a in reading.plan.actions if a.kind != "first_aid" and a.state in TO_DO]
    assert view.rings[0].whats[0] == short(doing[0].what)
    assert "HIV" in view.rings[0].whats[0] or "assess" in view.rings[0].whats[0]
    assert view.rings[0].left == "Now"


def test_the_expert_is_told_what_is_known_of_all_that_the_decision_rests_on(
    protocol: Protocol, site: Site
):
    facts = {"route": "percutaneous", "fluid": "blood", "source_hiv": "positive",
             "source_hiv_load": "detectable", "source_hiv_resistance": "unknown",
             "worker_hiv": "negative"}  # fmt: skip
    store, case = _case_of(facts, timedelta(hours=80))
    view = page_of(
        Reading.of(case, store.entries(case), protocol, site, NIGHT), protocol, site
    ).plan

    told = dict(view.expert_facts)
    assert told[VOCABULARY["source_hiv"].question] == VOCABULARY["source_hiv"].label("positive")
    assert VOCABULARY["source_hiv_load"].question in told
    assert VOCABULARY["source_hiv_resistance"].question not in told


@pytest.mark.parametrize(
    ("subject", "rung"),
    [("hiv_pep", True), ("tetanus_vaccine", False), ("hbig_doses", False),
     ("hiv_pep_decision", True), ("anti_hbs_now", False)],
)  # fmt: skip
def test_the_number_of_the_hiv_physician_stands_beside_hiv_decisions_alone(
    protocol: Protocol, site: Site, subject: str, rung: bool
):
    store, case = _case_of(
        {
            "route": "percutaneous",
            "fluid": "blood",
            "source_hiv": "unknown",
            "worker_hiv": "negative",
        }
    )
    reading = Reading.of(case, store.entries(case), protocol, site, NIGHT)

    assert asks_expert(subject, reading.plan, protocol) is rung


def test_time_left_for_immunoglobulin_is_not_told_where_none_is_due(protocol: Protocol, site: Site):
    facts = {"route": "percutaneous", "fluid": "blood", "worker_hbv_infection": "none_known",
             "worker_hbv_series": "one_complete"}  # fmt: skip
    for response, there in (("responder", False), ("not_known", True)):
        store, case = _case_of({**facts, "worker_hbv_response": response})
        reading = Reading.of(case, store.entries(case), protocol, site, NIGHT)
        assert (
            "hbig_timing" in {f.decision for f in told_findings(reading.plan, protocol)}
        ) is there


def test_an_answer_that_cannot_be_known_is_shown_where_it_is_changed(signed_in: SignIn, case: str):
    client = signed_in(Role.EMERGENCY_CLINICIAN)
    store = get_store()
    actions.cannot_be_known(
        store, case, "worker_hbv_series", reason="no papers", vocabulary=VOCABULARY, now=NIGHT,
        by="u-a", role="emergency_clinician",
    )  # fmt: skip
    page = client.get(reverse("desk:case", args=[case]) + "?ask=worker_hbv_series").text

    assert "Answer again" in page
    assert "Cannot be known: no papers" in page


def test_a_closed_case_asks_for_nothing(signed_in: SignIn, case: str):
    client = signed_in(Role.OCCUPATIONAL_PHYSICIAN)
    actions.close(
        get_store(), case, may_leave=True, reason="duplicate", protocol=get_protocol(),
        site=get_site(), now=NIGHT, by="u-a", role="occupational_physician", text="Told twice.",
    )  # fmt: skip
    page = client.get(reverse("desk:case", args=[case])).text

    assert "This case is closed" in page
    assert "sign it" not in page
    assert 'name="fact"' not in page


def test_the_words_of_the_report_stand_on_the_case_page_and_are_escaped(signed_in: SignIn):
    told = actions.report(
        get_store(), facts={"route": "percutaneous"}, occurred_at=NIGHT,
        occurred_at_precision="minute", account="A needle in the bag <b>\nof Ward 7",
        vocabulary=VOCABULARY, now=NIGHT,
    ).case  # fmt: skip
    page = signed_in(Role.EMERGENCY_CLINICIAN).get(reverse("desk:case", args=[told])).content

    assert b"A needle in the bag &lt;b&gt;<br>of Ward 7" in page


def test_without_words_in_the_report_none_are_quoted(signed_in: SignIn, case: str):
    page = signed_in(Role.EMERGENCY_CLINICIAN).get(reverse("desk:case", args=[case])).content

    assert b"<blockquote" not in page


def test_a_nurse_answers_and_neither_signs_nor_departs(signed_in: SignIn, case: str):
    nurse = signed_in(NURSE)

    assert url("sign", case) not in text_of(nurse.get(url("case", case)))
    assert nurse.get(url("sign", case)).status_code == 403
    assert nurse.post(url("sign", case), {"position": 1}).status_code == 403
    assert nurse.get(url("otherwise", case, "hiv_pep")).status_code == 403
    answered = nurse.post(
        url("answer", case), {"fact": "fluid", "value": "blood", "position": position(case)}
    )
    assert answered.status_code == 302


def test_a_reference_that_is_none_tells_nothing(signed_in: SignIn, case: str):
    client = signed_in(DOCTOR)

    assert client.get("/case/XXXX-XXXX/").status_code == 404
    other = next(ref for ref in actions.new_references() if ref != case)
    assert client.get(url("case", other)).status_code == 404


def test_a_reference_in_small_letters_leads_to_the_case(signed_in: SignIn, case: str):
    response = signed_in(DOCTOR).get(f"/case/{case.lower().replace('-', '')}/")

    assert response.status_code == 302
    assert response["Location"] == url("case", case)


def test_an_answer_is_recorded_and_what_it_changed_is_said(signed_in: SignIn, case: str):
    client = signed_in(DOCTOR)

    response = client.post(
        url("answer", case),
        {"fact": "fluid", "value": "blood", "position": position(case)},
        follow=True,
    )

    entry = get_store().entries(case)[-1]
    assert (entry.kind, entry.body["facts"]) == (Kind.FACT_LEARNED, {"fluid": "blood"})
    assert entry.role == "emergency_clinician"
    assert "What this changed" in text_of(response)
    assert "Is it a significant exposure: Significant exposure" in text_of(response)


def test_htmx_gets_the_swapped_part_alone(signed_in: SignIn, case: str):
    response = signed_in(DOCTOR).post(
        url("answer", case),
        {"fact": "fluid", "value": "blood", "position": position(case)},
        headers={"HX-Request": "true"},
    )

    page = text_of(response)
    assert response.status_code == 200
    assert "<html" not in page
    assert 'hx-swap-oob="true"' in page
    assert 'aria-live="polite"' in page
    assert "autofocus" in page


def test_cannot_be_known_keeps_the_fact_open_and_is_not_asked_again(signed_in: SignIn, case: str):
    client = signed_in(DOCTOR)
    client.post(
        url("answer", case),
        {"fact": "worker_pregnancy", "unknown": "1", "reason": "unconscious", "position": 1},
    )

    entry = get_store().entries(case)[-1]
    assert entry.kind is Kind.CANNOT_BE_KNOWN
    assert entry.body == {"fact": "worker_pregnancy", "reason": "unconscious"}
    page = text_of(client.get(url("case", case)))
    assert "Cannot be known: unconscious" in page


def test_cannot_be_known_of_a_fact_with_that_value_is_that_answer(signed_in: SignIn, case: str):
    signed_in(DOCTOR).post(
        url("answer", case), {"fact": "source_hiv", "unknown": "1", "position": 1}
    )

    assert get_store().entries(case)[-1].body["facts"] == {"source_hiv": "unknown"}


def test_a_bad_number_comes_back_with_all_that_was_typed(signed_in: SignIn, case: str):
    response = signed_in(DOCTOR).post(
        url("answer", case), {"fact": "worker_weight", "value": "7200", "position": 1}
    )

    page = text_of(response)
    assert response.status_code == 422
    assert 'value="7200"' in page
    assert "2 to 400 kg" in page
    assert position(case) == 1


def test_the_second_of_two_clinicians_is_told_and_loses_nothing(
    signed_in: SignIn, make_account: Any, case: str
):
    doctor = signed_in(DOCTOR)
    actions.learn_facts(
        get_store(), case, {"fluid": "blood"}, said_by="clinician", vocabulary=VOCABULARY,
        now=NIGHT, by=make_account(NURSE).pk, role=NURSE.value,
    )  # fmt: skip

    response = doctor.post(
        url("answer", case), {"fact": "worker_weight", "value": "72,5", "position": 1}
    )

    page = text_of(response)
    assert response.status_code == 409
    assert "Which fluid was it? Blood" in page
    assert '<input type="hidden" name="value" value="72,5">' in page
    assert '<input type="hidden" name="position" value="2">' in page
    assert position(case) == 2
    fields = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)">', page))
    fields.pop("csrfmiddlewaretoken", None)
    assert doctor.post(url("answer", case), fields).status_code == 302
    assert get_store().entries(case)[-1].body["facts"] == {"worker_weight": 72.5}


def test_a_double_tap_records_once_and_is_no_conflict(signed_in: SignIn, case: str):
    client = signed_in(DOCTOR)
    data = {"fact": "fluid", "value": "blood", "position": 1}

    first, second = (client.post(url("answer", case), data) for _ in range(2))

    assert (first.status_code, second.status_code) == (302, 302)
    assert position(case) == 2


def test_the_same_answer_by_a_colleague_is_told_and_not_taken_for_a_double_tap(
    signed_in: SignIn, make_account: Any, case: str
):
    doctor = signed_in(DOCTOR)
    actions.learn_facts(
        get_store(), case, {"fluid": "blood"}, said_by="clinician", vocabulary=VOCABULARY,
        now=NIGHT, by=make_account(NURSE).pk, role=NURSE.value,
    )  # fmt: skip

    response = doctor.post(url("answer", case), {"fact": "fluid", "value": "blood", "position": 1})

    assert response.status_code == 409


def test_another_answer_from_an_old_page_of_ones_own_is_not_lost(signed_in: SignIn, case: str):
    client = signed_in(DOCTOR)
    client.post(url("answer", case), {"fact": "fluid", "value": "blood", "position": 1})

    response = client.post(url("answer", case), {"fact": "fluid", "value": "saliva", "position": 1})

    assert response.status_code == 409
    assert '<input type="hidden" name="value" value="saliva">' in text_of(response)


def test_a_dose_sent_twice_is_recorded_once_and_another_is_told(signed_in: SignIn, case: str):
    client = signed_in(DOCTOR)
    data = {"action": "tetanus_vaccine_dose", "product": "Vaccine A", "when": "now", "position": 1}

    first, again = (client.post(url("done", case), data) for _ in range(2))
    other = client.post(url("done", case), {**data, "product": "Vaccine B"})

    assert (first.status_code, again.status_code, other.status_code) == (302, 302, 409)
    assert position(case) == 2


def test_a_dose_needs_its_product_and_keeps_what_was_typed(signed_in: SignIn, case: str):
    client = signed_in(DOCTOR)
    client.post(url("answer", case), {"fact": "fluid", "value": "blood", "position": 1})
    data = {
        "action": "hiv_pep_first_dose",
        "product": "",
        "batch": "T-4471",
        "when": "now",
        "position": 2,
    }

    response = client.post(url("done", case), data)

    assert response.status_code == 422
    assert 'value="T-4471"' in text_of(response)
    assert client.post(url("done", case), {**data, "product": "Tablet"}).status_code == 302
    assert get_store().entries(case)[-1].body == {
        "action": "hiv_pep_first_dose", "product": "Tablet", "amount": "", "batch": "T-4471",
    }  # fmt: skip


def aid_steps(page: str) -> list[str]:
    return re.findall(r'name="step" value="([^"]+)"', page)


def test_first_aid_is_recorded_as_it_was_given_and_when(signed_in: SignIn, case: str):
    client = signed_in(DOCTOR)
    step = aid_steps(text_of(client.get(url("case", case))))[0]
    data = {
        "action": "first_aid", "when": "then", "day": "2026-03-03", "clock": "01:35",
        "position": 1, "minutes": "10", "text": "Ring taken off",
    }  # fmt: skip

    client.post(url("done", case), {**data, "step": step})

    entry = get_store().entries(case)[-1]
    assert entry.kind is Kind.FIRST_AID_GIVEN
    assert (entry.body["steps"], entry.body["minutes"]) == ([step, "Ring taken off"], 10)
    assert entry.happened_at == datetime(2026, 3, 3, 0, 35, tzinfo=UTC)
    assert entry.recorded_at == NIGHT


def test_a_bad_number_of_minutes_keeps_the_steps_that_were_ticked(signed_in: SignIn, case: str):
    client = signed_in(DOCTOR)
    step = aid_steps(text_of(client.get(url("case", case))))[0]

    response = client.post(
        url("done", case),
        {"action": "first_aid", "step": step, "minutes": "long", "when": "now", "position": 1},
    )

    assert response.status_code == 422
    assert f'value="{step}" checked' in text_of(response)


def test_first_aid_that_nobody_named_is_not_recorded(signed_in: SignIn, case: str):
    response = signed_in(DOCTOR).post(
        url("done", case), {"action": "first_aid", "when": "now", "minutes": "15", "position": 1}
    )

    assert response.status_code == 422
    assert "Tick what was done" in text_of(response)
    assert 'value="15"' in text_of(response)
    assert position(case) == 1


def test_a_time_learned_later_corrects_the_report_and_starts_the_clock(signed_in: SignIn, db: None):
    case = actions.report(
        get_store(), facts={"route": "percutaneous"}, occurred_at=None,
        occurred_at_precision="unknown", vocabulary=VOCABULARY, now=NIGHT - timedelta(hours=1),
    ).case  # fmt: skip
    client = signed_in(DOCTOR)
    data = {"fact": "hours_since_exposure", "day": "2026-03-03", "clock": "01:10", "position": 1}

    page = text_of(client.post(url("answer", case), data, follow=True))

    assert "1 h 30 min since the exposure" in page
    assert get_store().entries(case)[0].body["occurred_at"] is None


def sign_form(client: Client, case: str) -> dict[str, str]:
    page = text_of(client.get(url("sign", case)))
    fields = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)">', page))
    return {name: fields[name] for name in ("position", "seen_plan")}


def test_signing_signs_what_was_shown(signed_in: SignIn, case: str):
    client = signed_in(DOCTOR)

    response = client.post(url("sign", case), sign_form(client, case))

    assert response.status_code == 302
    entry = get_store().entries(case)[-1]
    assert entry.kind is Kind.PLAN_SIGNED
    assert entry.body["at_entry"] == 1
    assert "Plan signed by Colleague" in text_of(client.get(url("case", case)))


def test_signing_refuses_a_case_that_moved_and_keeps_what_was_typed(
    signed_in: SignIn, make_account: Any, case: str
):
    client = signed_in(DOCTOR)
    for number, (fact, value) in enumerate(
        {"fluid": "blood", "source_hiv": "unknown", "worker_hiv": "negative"}.items(), start=1
    ):
        client.post(url("answer", case), {"fact": fact, "value": value, "position": number})
    form = sign_form(client, case)
    actions.learn_facts(
        get_store(), case, {"source_hbsag": "negative"}, said_by="laboratory",
        vocabulary=VOCABULARY, now=NIGHT, by=make_account(NURSE).pk, role=NURSE.value,
    )  # fmt: skip
    before = position(case)

    response = client.post(
        url("sign", case),
        {**form, "other-hiv_pep": "Start it", "reason-hiv_pep": "Deep needle, source at risk."},
    )

    page = text_of(response)
    assert response.status_code == 409
    assert position(case) == before
    assert "HBsAg positive? HBsAg negative" in page
    assert "Start it" in page
    assert "Deep needle, source at risk." in page


def test_signing_refuses_a_plan_that_time_has_changed(signed_in: SignIn, case: str):
    client = signed_in(DOCTOR)
    client.post(url("answer", case), {"fact": "fluid", "value": "blood", "position": 1})
    form = sign_form(client, case)
    before = position(case)

    later = NIGHT - timedelta(minutes=72) + timedelta(hours=72, minutes=1)
    with clock.standing_at(NIGHT + timedelta(minutes=20)):
        assert client.get(url("sign", case)).status_code == 200
    session = client.session
    session["began_at"] = session["seen_at"] = later.isoformat()
    session.save()
    with clock.standing_at(later):
        response = client.post(url("sign", case), form)

    assert response.status_code == 409
    assert "time has changed the plan" in text_of(response)
    assert position(case) == before


def test_a_decision_typed_while_signing_needs_its_reason(signed_in: SignIn, case: str):
    client = signed_in(DOCTOR)
    form = sign_form(client, case)

    response = client.post(url("sign", case), {**form, "other-hiv_pep": "Start it"})

    assert response.status_code == 422
    assert "say why you decide so" in text_of(response)
    assert position(case) == 1


def test_a_choice_on_the_page_that_is_signed_settles_the_dose_and_other_words_do_not(
    signed_in: SignIn, case: str
):
    client = signed_in(DOCTOR)
    for number, (fact, value) in enumerate(
        {"fluid": "blood", "source_hiv": "unknown", "worker_hiv": "negative"}.items(), start=1
    ):
        client.post(url("answer", case), {"fact": fact, "value": value, "position": number})
    form = {**sign_form(client, case), "reason-hiv_pep": "Low risk."}
    none = get_protocol().outputs["hiv_pep"].words("not_indicated")
    assert f'value="{none}"' in client.get(url("sign", case)).content.decode()

    both = client.post(
        url("sign", case), {**form, "decided-hiv_pep": none, "other-hiv_pep": "No tablets"}
    )
    assert both.status_code == 422
    assert "Leave one of the two" in text_of(both)
    assert "No tablets" in both.content.decode()
    assert (
        client.post(url("sign", case), {**form, "other-hiv_pep": "No tablets"}).status_code == 302
    )

    def first_dose() -> str:
        reading = Reading.of(case, get_store().entries(case), get_protocol(), get_site(), NIGHT)
        return next(a.state for a in reading.plan.actions if a.id == "hiv_pep_first_dose")

    assert first_dose() != State.DEPARTED

    form = {**sign_form(client, case), "reason-hiv_pep": "Low risk."}
    assert client.post(url("sign", case), {**form, "decided-hiv_pep": none}).status_code == 302
    assert first_dose() == State.DEPARTED


def test_a_departure_needs_its_reason_and_is_shown_with_it(signed_in: SignIn, case: str):
    client = signed_in(DOCTOR)
    address = url("otherwise", case, "hiv_pep")
    data = {"other": "Start it", "reason": "", "position": 1}

    assert client.post(address, data).status_code == 422
    both = client.post(address, {**data, "decided": "Not indicated", "reason": "Deep needle."})
    assert both.status_code == 422
    assert "Leave one of the two" in text_of(both)
    assert 'value="Start it"' in text_of(both)
    assert position(case) == 1
    assert client.post(address, {**data, "reason": "Deep needle."}).status_code == 302
    page = text_of(client.get(url("case", case)))
    assert "Start it" in page
    assert "Deep needle." in page


def test_what_others_wrote_is_shown_until_it_is_seen(
    signed_in: SignIn, make_account: Any, case: str
):
    client = signed_in(DOCTOR)
    client.get(url("case", case))
    actions.learn_facts(
        get_store(), case, {"fluid": "blood"}, said_by="clinician", vocabulary=VOCABULARY,
        now=NIGHT, by=make_account(NURSE).pk, role=NURSE.value,
    )  # fmt: skip

    for _ in range(2):
        page = text_of(client.get(url("case", case)))
        assert "Written by others since your last look" in page
        assert "Changed since your last look" in page
    client.post(url("seen", case), {"position": 2})
    assert "Written by others" not in text_of(client.get(url("case", case)))
    assert LastLook.objects.get(case=case).position == 2


def test_a_case_is_taken_up_again_with_a_reason(signed_in: SignIn, case: str):
    actions.close(
        get_store(), case, may_leave=True, reason="other", text="Left.", protocol=get_protocol(),
        site=get_site(), now=NIGHT, by="u-a", role=NURSE.value,
    )  # fmt: skip
    client = signed_in(NURSE)
    assert client.post(url("reopen", case), {"reason": "", "position": 2}).status_code == 422
    assert client.post(url("reopen", case), {"reason": "Mended", "position": 2}).status_code == 302
    assert [e.kind for e in get_store().entries(case)[1:]] == [Kind.CLOSED, Kind.REOPENED]


def test_an_entry_withdrawn_by_mistake_needs_a_reason(signed_in: SignIn, case: str):
    client = signed_in(DOCTOR)
    client.post(url("answer", case), {"fact": "fluid", "value": "blood", "position": 1})
    address = url("correct", case, 2)

    assert client.post(address, {"how": "withdraw", "reason": "", "position": 2}).status_code == 422
    written = client.post(address, {"how": "withdraw", "reason": "Other case.", "position": 2})
    assert written.status_code == 302
    assert get_store().entries(case)[-1].body["withdrawn"] is True
    assert "Which fluid was it?" in text_of(client.get(url("case", case)))


def test_a_clinician_opens_a_case_for_the_worker(signed_in: SignIn):
    client = signed_in(DOCTOR)
    form = {
        "route": "human_bite", "precision": "minute", "day": "2026-03-03", "clock": "02:10",
        "name": "Ona Reuter", "once": "a" * 20,
    }  # fmt: skip

    first, again = (client.post(reverse("desk:new"), form) for _ in range(2))

    assert first["Location"] == again["Location"]
    case = first["Location"].split("/")[2]
    entry = get_store().entries(case)[0]
    assert entry.body["reported_by"] == "clinician"
    assert entry.body["facts"] == {"route": "human_bite"}
    assert "Ona" not in str(entry.body)


def test_a_new_case_that_lies_ahead_keeps_what_was_typed(signed_in: SignIn):
    response = signed_in(DOCTOR).post(
        reverse("desk:new"),
        {"route": "human_bite", "precision": "minute", "day": "2026-03-03", "clock": "02:41",
         "place": "Ward 4"},
    )  # fmt: skip

    assert response.status_code == 422
    assert 'value="Ward 4"' in text_of(response)
    assert "has not come yet" in text_of(response)
    assert not get_store().cases()


def test_the_number_of_a_sample_is_kept_with_it(signed_in: SignIn, case: str):
    client = signed_in(Role.EMERGENCY_CLINICIAN)
    address = reverse("desk:done", args=[case])
    position = str(get_store().entries(case)[-1].position)
    client.post(
        address,
        {"position": position, "action": "baseline_hcv", "specimen": " S-17 ", "request": ""},
    )

    entry = get_store().entries(case)[-1]
    assert entry.kind is Kind.SAMPLE_TAKEN
    assert entry.body == {"action": "baseline_hcv", "specimen": "S-17"}
