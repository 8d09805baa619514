"""One whole night and morning in memory, on the United States protocol."""

from dataclasses import replace

from ledger.builders import NIGHT, SITE, ZONE, after, us
from thimble import actions
from thimble.ledger.assess import assess
from thimble.ledger.compare import diff, fingerprint
from thimble.ledger.fold import fold
from thimble.ledger.history import history
from thimble.ledger.next_thing import next_thing
from thimble.ledger.plan import State
from thimble.ledger.store import MemoryStore
from thimble.ledger.verify import verify

RULES = {"protocol": us(), "site": SITE}
V = {"vocabulary": us().vocabulary}
NIGHT_DOCTOR = {"by": "u2", "role": "emergency_clinician"}
NURSE = {"by": "u3", "role": "occupational_nurse"}


class Story:
    """Writes step by step and remembers what the screen showed after each."""

    def __init__(self):
        self.store = MemoryStore()
        self.shown = []
        self.case = actions.report(
            self.store,
            facts={"route": "percutaneous", "fluid": "blood", "device": "hollow_bore_needle"},
            occurred_at=NIGHT,
            occurred_at_precision="minute",
            place="ward 4",
            now=after(minutes=12),
            **V,
        ).case
        self.look(after(minutes=12))

    def plan(self, at):
        return assess(fold(self.store.entries(self.case), at, us().vocabulary), us(), at, SITE)

    def look(self, at):
        plan = self.plan(at)
        self.shown.append((at, plan))
        return plan

    def tell(self):
        """Night: answers, the plan signed, the first dose. Morning: the source is negative."""
        actions.learn_facts(
            self.store,
            self.case,
            {
                "source_access": "testable",
                "source_hiv": "positive",
                "source_hiv_load": "detectable",
                "source_hiv_acute_illness": "no",
                "worker_hiv": "negative",
                "worker_on_prep": "no",
                "worker_hbv_infection": "none_known",
                "worker_hbv_series": "one_complete",
                "worker_hbv_response": "responder",
            },
            said_by="clinician",
            now=after(minutes=30),
            **V,
            **NIGHT_DOCTOR,
        )
        self.night = self.look(after(minutes=31))
        actions.sign_plan(
            self.store,
            self.case,
            **RULES,
            seen_position=2,
            seen_plan=fingerprint(self.night),
            now=after(minutes=35),
            **NIGHT_DOCTOR,
        )
        self.look(after(minutes=35))
        actions.give_dose(
            self.store,
            self.case,
            "hiv_pep_first_dose",
            product="starter pack",
            now=after(minutes=40),
            **NIGHT_DOCTOR,
        )
        self.evening = self.look(after(minutes=41))
        # The chart was another patient's: the status is corrected by the laboratory's result.
        actions.correct(
            self.store,
            self.case,
            2,
            reason="The viral load was read from another patient's record.",
            facts={"source_hiv": "unknown", "source_hiv_load": None},
            now=after(6),
            **V,
            **NURSE,
        )
        self.look(after(6))
        actions.receive_result(
            self.store,
            self.case,
            facts={"source_hiv": "negative"},
            action="source_hiv_test",
            now=after(7),
            **V,
            **NURSE,
        )
        self.morning = self.look(after(7))
        return self


def state(plan, id_):
    return next((a.state for a in plan.actions if a.id == id_), None)


def test_at_night_the_dose_is_advised_and_comes_first():
    story = Story().tell()
    assert story.night.findings["hiv_pep"].value == "recommended"
    assert state(story.night, "hiv_pep_first_dose") is State.OPEN
    first = [a for a in story.night.actions if a.kind != "first_aid" and a.certain][0:2]
    assert "hiv_pep_first_dose" in {a.id for a in first}
    assert state(story.evening, "hiv_pep_first_dose") is State.DONE


def test_in_the_morning_the_source_is_negative_and_the_plan_says_what_changed():
    story = Story().tell()
    assert story.morning.findings["stop_hiv_pep"].value == "yes"
    assert story.morning.findings["hiv_pep"].value == "not_indicated"
    assert state(story.morning, "stop_hiv_pep") is State.OPEN
    assert state(story.morning, "hiv_pep_first_dose") is State.DONE
    assert state(story.morning, "follow_up_hiv_12w") is State.NO_LONGER_NEEDED

    change = diff(story.evening, story.morning)
    words = change.words(us().outputs)
    assert "HIV prophylaxis: Not indicated (before: Recommended: give the first dose now)" in words
    assert (
        "New: Stop HIV prophylaxis if it was started, unless the worker's own HIV test is reactive"
        in words
    )
    assert any(w.startswith("No longer needed: Draw the final HIV test") for w in words)
    assert not diff(story.morning, story.morning)


def test_every_plan_ever_shown_can_be_had_again():
    story = Story().tell()
    for at, shown in story.shown:
        assert story.plan(at) == shown


def test_the_ledger_of_the_story_is_whole_and_reads_in_plain_words():
    story = Story().tell()
    assert verify(story.store.all_entries()) == []
    lines = history(story.store.entries(story.case), us().vocabulary, ZONE)
    assert [line.label for line in lines] == [
        "Exposure reported",
        "Answer recorded",
        "Plan signed",
        "Dose given",
        "Correction",
        "Result received",
    ]
    assert "Happened on Mon 2 Mar 2026, 02:40." in lines[0].details
    assert "Place: ward 4" in lines[0].details
    assert "What is known of the source patient's HIV status? HIV positive" in lines[1].details
    assert lines[1].corrected_by == (5,)
    assert "What is known of the source patient's HIV status? Tested negative" in lines[5].details
    earlier = history(story.store.entries(story.case), us().vocabulary, ZONE, as_of=after(1))
    assert [line.position for line in earlier] == [1, 2, 3, 4]
    assert earlier[1].corrected_by == ()


def test_the_next_thing_changes_with_the_story():
    story = Story().tell()
    vocabulary = us().vocabulary
    done = {"first_aid", "assess"}

    def next_of(plan, now):
        rest = tuple(a for a in plan.actions if a.id not in done)
        situation = fold(story.store.entries(story.case), now, vocabulary)
        return next_thing(replace(plan, actions=rest), situation, now, vocabulary)

    night = next_of(story.night, story.night.now)
    assert night.words == "Give the first dose of HIV prophylaxis now: best within 29 min"
    assert (night.limit, night.latest) == (after(1), after(72))
    assert next_of(story.evening, story.evening.now).action != "hiv_pep_first_dose"
