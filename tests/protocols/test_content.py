"""What the shipped protocols say, held against the published tables and the contract of ids.

Each expectation comes from outside the tables: a printed table copied here by hand, the contract, or a
rule that no edit may break (an unknown is never read as a no).
"""

from __future__ import annotations

import csv
import itertools
import re
import shutil
from collections.abc import Iterator, Mapping
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from thimble.clinical.library import folder_of, protocol
from thimble.clinical.vocabulary import VOCABULARY
from thimble.protocol import Evaluation, Protocol, Value, check_protocol, load_protocol

IDS = ("us", "uk")
both = pytest.mark.parametrize("name", IDS)

CONTRACT: Mapping[str, tuple[str, ...]] = {
    "significance": ("significant", "not_significant"),
    "hiv_pep": (
        "recommended", "consider", "expert_decides", "generally_not_recommended",
        "not_recommended", "not_indicated",
    ),
    "hbig_doses": ("0", "1", "2", "clinician_decides"),
    "hbv_vaccine": (
        "none", "start_series", "complete_series", "start_second_series", "booster",
        "consider_booster", "accelerated_series",
    ),
    "hbv_test_anti_hbs_now": ("yes", "no"),
    "hbv_titre_after_vaccine": ("yes", "no"),
    "hbv_infection_tests": ("yes", "no"),
    "hcv_follow_up": ("full", "none", "risk_assessment"),
    "hcv_follow_up_test": ("antibody_and_rna", "rna_only", "none"),
    "tetanus_vaccine": ("yes", "no"),
    "tetanus_immunoglobulin": ("yes", "no"),
    "stop_hiv_pep": ("yes", "no"),
}  # fmt: skip
"""The decisions that files, the command line and exports share, with every value they may take."""

NEEDLESTICK = {"route": "percutaneous", "fluid": "blood"}


def decided(name: str, facts: Mapping[str, object], decision: str) -> str | None:
    return said(name, facts).findings[decision].value


def said(name: str, facts: Mapping[str, object]) -> Evaluation:
    return protocol(name).evaluate({k: VOCABULARY[k].check(v) for k, v in facts.items()})


def names(evaluation: Evaluation, table: str, column: str) -> set[str]:
    return {item.outputs[column] for item in evaluation.items[table] if item.certain}


def rows(name: str) -> Iterator[tuple[str, dict[str, str]]]:
    for path in sorted(folder_of(name).glob("*.csv")):
        with path.open(encoding="utf-8", newline="") as file:
            for row in csv.DictReader(file):
                yield path.stem, row


# -- the folder as a whole -------------------------------------------------------------------------


@both
def test_a_shipped_protocol_is_proved_and_its_cases_come_out(name: str) -> None:
    assert check_protocol(protocol(name)) == ()


@pytest.mark.parametrize(
    ("name", "file", "old", "new"),
    [
        ("us", "hiv_pep.csv", ",<= 72 h,", ",< 72 h,"),
        ("us", "hiv_pep.csv", ",> 72 h,", ",>= 72 h,"),
        ("us", "hbv_pep.csv", ">= 10", "> 10"),
        ("us", "hbv_pep.csv", '"positive, unknown"', "positive"),
        ("us", "hbig_timing.csv", "(24..168]", "[24..168]"),
        ("us", "tetanus.csv", ">= 5", "> 5"),
        ("us", "hcv_follow_up.csv", '"yes, unknown",full', '"yes, unknown",none'),
        ("us", "significance.csv", '"percutaneous, mucous_membrane, non_intact_skin"', "percutaneous"),
        ("uk", "hiv_pep.csv", "raised,-,-,generally_not_recommended", "ordinary,-,-,not_recommended"),
        ("uk", "hbv_pep.csv", "> 168 h", "> 167 h"),
        ("uk", "tetanus.csv", "<= 10", "< 10"),
    ],
)  # fmt: skip
def test_a_slip_of_the_pen_in_a_table_is_found(
    name: str, file: str, old: str, new: str, tmp_path: Path
) -> None:
    folder = shutil.copytree(folder_of(name), tmp_path / name)
    text = (folder / file).read_text(encoding="utf-8")
    assert old in text
    (folder / file).write_text(text.replace(old, new), encoding="utf-8")

    assert check_protocol(load_protocol(folder, VOCABULARY)) != ()


@both
def test_every_decision_of_the_contract_is_decided_with_exactly_its_values(name: str) -> None:
    found = protocol(name)
    decisions = {d for table in found.tables for d in table.decides}

    assert set(CONTRACT) <= decisions
    assert {d: set(found.outputs[d].values) for d in CONTRACT} == {
        d: set(values) for d, values in CONTRACT.items()
    }
    assert found.table("hiv_pep_expert_advice").role == "reasons"


@both
def test_every_rule_has_its_own_id_and_no_cell_is_left_to_guess(name: str) -> None:
    ids = [row["rule"] for _, row in rows(name)]

    assert len(ids) == len(set(ids))
    assert [i for i in ids if not re.fullmatch(r"[A-Z]+-\d\d", i)] == []
    assert [row["rule"] for _, row in rows(name) if "" in row.values()] == []


@both
def test_every_source_that_is_listed_is_used(name: str) -> None:
    used = {part.partition(":")[0] for _, row in rows(name) for part in row["source"].split("; ")}

    assert used == set(protocol(name).sources)


@both
def test_the_standing_agrees_with_the_words_of_the_source(name: str) -> None:
    """`as remembered`, `as quoted` and `not readable` mark a part of a source that was not read."""
    wrong = []
    for table, row in rows(name):
        parts = row["source"].split("; ")
        remembered = [
            part for part in parts
            if "as remembered" in part or part.startswith(("PRACTICE:", "PEPMED:"))
        ]  # fmt: skip
        quoted = [part for part in parts if "as quoted" in part or "as restated" in part]
        unreadable = [part for part in parts if "not readable" in part]
        ours = [part for part in parts if part.startswith("THIMBLE:")]
        read = len(parts) - len(remembered) - len(quoted) - len(unreadable) - len(ours)
        fits = {
            "read": read > 0,
            "secondary": read + len(quoted) > 0,
            "memory": bool(remembered),
            "derived": True,
            "unread": bool(unreadable),
        }
        if not fits[row["standing"]]:
            wrong.append((table, row["rule"], row["standing"], row["source"]))

    assert wrong == []


@both
def test_a_rule_whose_document_could_not_be_read_leaves_the_decision_to_a_person(name: str) -> None:
    found = protocol(name)
    for table in found.tables:
        for rule in table.rules:
            if rule.standing != "unread":
                continue
            if table.hit_policy == "UNIQUE":
                assert set(rule.outputs.values()) <= {"expert_decides", "clinician_decides"}, (
                    rule.id
                )
            elif table.role == "actions":
                assert rule.outputs["kind"] in {"advice", "review"}, rule.id
    assert any(rule.standing == "unread" for table in found.tables for rule in table.rules)


@both
def test_every_rule_that_decides_is_fired_by_a_case(name: str) -> None:
    found = protocol(name)
    fired = {
        reason.rule
        for case in found.cases
        for finding in found.evaluate(case.facts).findings.values()
        if finding.value is not None and len(finding.because) == 1
        for reason in finding.because
    }
    rules = {r.id for table in found.tables if table.hit_policy == "UNIQUE" for r in table.rules}

    assert rules - fired == set()


THRESHOLD = re.compile(r"\d+(?:\.\d+)?")


def thresholds(found: Protocol) -> set[tuple[str, float]]:
    return {
        (column, float(number))
        for table in found.tables
        for rule in table.rules
        for column, cell in zip(table.inputs, rule.cells, strict=True)
        if column in VOCABULARY and VOCABULARY[column].kind == "number"
        for number in THRESHOLD.findall(cell)
    }


@both
def test_every_threshold_has_a_case_just_below_on_and_just_above(name: str) -> None:
    found = protocol(name)
    missing = []
    for fact, limit in sorted(thresholds(found)):
        given_ = [case.facts[fact] for case in found.cases if fact in case.facts]
        for where, there in (
            ("below", [v for v in given_ if limit - 0.02 <= v < limit]),
            ("on", [v for v in given_ if v == limit]),
            ("above", [v for v in given_ if limit < v <= limit + 0.02]),
        ):
            if not there:
                missing.append((fact, limit, where))

    assert missing == []
    # Read at all: 24 or 48, 72 and 168 h; 30, 50 and 60 mL/min; 10 years.
    assert len(thresholds(found)) >= 7


@pytest.mark.parametrize(("name", "least"), [("us", 60), ("uk", 40)])
def test_a_protocol_ships_its_own_cases_and_says_where_each_comes_from(
    name: str, least: int
) -> None:
    cases = protocol(name).cases
    keys = {*protocol(name).sources, "own"}

    assert len(cases) >= least
    assert {case.source.partition(":")[0] for case in cases} <= keys


# -- significance ----------------------------------------------------------------------------------

HARMLESS = {"saliva", "urine", "faeces", "vomit", "sputum", "nasal_secretion", "sweat", "tears"}
"""US13 and the consultation service's quick guide: not infectious unless visibly bloody."""


@both
@pytest.mark.parametrize("route", VOCABULARY["route"].values)
@pytest.mark.parametrize("fluid", VOCABULARY["fluid"].values)
def test_every_fluid_by_every_route_is_decided(name: str, route: str, fluid: str) -> None:
    significant = fluid not in HARMLESS
    if route == "intact_skin":
        significant = fluid == "laboratory_concentrate"
    if route == "human_bite" and name == "uk":
        significant = True  # UKIG's list names bites, whatever the fluid

    expected = "significant" if significant else "not_significant"
    assert decided(name, {"route": route, "fluid": fluid}, "significance") == expected


@both
def test_without_a_significant_exposure_nothing_is_given_for_hiv_or_hcv(name: str) -> None:
    facts = {"route": "percutaneous", "fluid": "sweat"}

    assert decided(name, facts, "hiv_pep") == "not_indicated"
    assert decided(name, facts, "hcv_follow_up") == "none"


# -- an unknown is never read as a no ----------------------------------------------------------------

UNKNOWNS = {
    "source_hiv": ("unknown", "negative"),
    "source_hiv_load": ("unknown", "suppressed"),
    "source_hiv_acute_illness": ("unknown", "no"),
    "source_hbsag": ("unknown", "negative"),
    "source_hcv_rna": ("not_tested", "negative"),
    "source_anti_hcv": ("not_tested", "negative"),
    "source_hcv_recent_risk": ("unknown", "no"),
    "worker_hiv": ("unknown", "negative"),
    "worker_tetanus_doses": ("unknown", "three_or_more"),
}
"""Facts with the answer for "cannot be known" and the reassuring one."""

ORDER = {
    "significance": ["not_significant", "significant"],
    "hiv_pep": [
        "not_indicated", "not_recommended", "generally_not_recommended", "consider", "recommended",
    ],
    "hbig_doses": ["0", "1", "2"],
    "hbv_infection_tests": ["no", "yes"],
    "hcv_follow_up": ["none", "risk_assessment", "full"],
    "tetanus_vaccine": ["no", "yes"],
    "tetanus_immunoglobulin": ["no", "yes"],
}  # fmt: skip

CODES = [
    "route", "fluid", "wound_contaminated", "source_hiv", "source_hiv_load",
    "source_hiv_acute_illness", "source_hiv_likelihood", "source_hbsag", "source_hcv_rna",
    "source_anti_hcv", "source_hcv_recent_risk", "worker_hiv", "worker_on_prep",
    "worker_hbv_infection", "worker_hbv_series", "worker_hbv_response", "worker_anti_hcv",
    "worker_hbv_last_dose_over_1_year", "worker_exposure_continues", "worker_tetanus_doses",
]  # fmt: skip

situations = st.fixed_dictionaries(
    {
        **{fact: st.sampled_from(VOCABULARY[fact].values) for fact in CODES},
        "hours_since_exposure": st.sampled_from([1.0, 24.0, 72.0, 72.5, 168.0, 169.0]),
        "worker_anti_hbs_now": st.sampled_from([0.0, 9.9, 10.0, 500.0]),
        "worker_years_since_tetanus_dose": st.sampled_from([1.0, 5.0, 10.0, 10.5]),
    }
)


def that_can_be(facts: dict[str, Value]) -> dict[str, Value]:
    """`facts` with answers that make no sense beside the others taken back."""
    facts = dict(facts)
    if facts["source_hiv"] != "positive":
        facts["source_hiv_load"] = "unknown"
    if facts["source_hiv"] != "unknown":
        facts["source_hiv_likelihood"] = "unknown"
    if facts["worker_hbv_series"] not in {"one_complete", "two_complete"}:
        facts["worker_hbv_response"] = "not_known"
    return facts


def assert_never_less(name: str, unsure: dict[str, Value], reassuring: dict[str, Value]) -> None:
    high, low = (said(name, that_can_be(facts)).findings for facts in (unsure, reassuring))
    for decision, order in ORDER.items():
        pair = (high[decision].value, low[decision].value)
        # expert_decides and clinician_decides stand beside the order, not in it.
        if pair[0] in order and pair[1] in order:
            assert order.index(pair[0]) >= order.index(pair[1]), decision


@both
@pytest.mark.parametrize("fact", UNKNOWNS)
@settings(deadline=None)  # the first evaluation compiles the tables
@given(facts=situations)
def test_an_unknown_never_yields_less_than_the_reassuring_answer(
    name: str, fact: str, facts: dict[str, Value]
) -> None:
    unknown, reassuring = UNKNOWNS[fact]
    if fact == "source_hiv_load":
        facts = facts | {"source_hiv": "positive"}

    assert_never_less(name, facts | {fact: unknown}, facts | {fact: reassuring})


@both
@settings(deadline=None)  # the first evaluation compiles the tables
@given(facts=situations, harmless=st.sampled_from(sorted(HARMLESS)))
def test_an_unknown_fluid_never_yields_less_than_a_harmless_one(
    name: str, facts: dict[str, Value], harmless: str
) -> None:
    assert_never_less(name, facts | {"fluid": "unknown"}, facts | {"fluid": harmless})


@both
@settings(deadline=None)  # the first evaluation compiles the tables
@given(facts=situations)
def test_an_unknown_source_of_a_significant_exposure_is_never_called_not_indicated(
    name: str, facts: dict[str, Value]
) -> None:
    unsure = that_can_be(facts | {"source_hiv": "unknown", "worker_hiv": "unknown"})
    findings = said(name, unsure).findings

    expected = findings["significance"].value == "not_significant"
    assert (findings["hiv_pep"].value == "not_indicated") == expected


# -- HIV -------------------------------------------------------------------------------------------

SOURCE_POSITIVE = {
    **NEEDLESTICK,
    "source_hiv": "positive",
    "source_hiv_load": "detectable",
    "worker_hiv": "unknown",
    "worker_on_prep": "no",
    "hours_since_exposure": 2,
}


@both
@pytest.mark.parametrize(
    "more",
    [
        {"worker_pregnancy": "pregnant"},
        {"worker_breastfeeding": "yes"},
        {"worker_kidney_disease": "yes"},
        {"worker_kidney_disease": "unknown"},
        {"worker_creatinine_clearance": 20},
        {"source_hiv_resistance": "suspected"},
        {"worker_hbv_infection": "current"},
        {"worker_medicines": ["rifampicin", "dofetilide", "enzyme_inducer"]},
    ],
)
def test_no_reason_to_ask_an_expert_withholds_or_delays_the_first_dose(
    name: str, more: dict[str, object]
) -> None:
    """Every guideline: start first, then call."""
    alone = said(name, SOURCE_POSITIVE)
    evaluation = said(name, SOURCE_POSITIVE | more)

    assert evaluation.findings["hiv_pep"].value == "recommended"
    doses = [
        next(i for i in e.items["first_hour"] if i.outputs["action"] == "hiv_pep_first_dose")
        for e in (alone, evaluation)
    ]
    assert doses[0].outputs == doses[1].outputs
    assert all(dose.certain for dose in doses)


@both
def test_the_reasons_and_the_calls_have_the_same_conditions(name: str) -> None:
    """Two tables say why to ask and whom; a row changed in one only would part them."""
    reasons, calls = (
        {
            row["rule"].partition("-")[2]: {
                k: v for k, v in row.items() if k in VOCABULARY or "." in k or k == "hiv_pep"
            }
            for table, row in rows(name)
            if table == wanted
        }
        for wanted in ("hiv_pep_expert_advice", "hiv_expert_call")
    )

    assert reasons.items() <= calls.items()
    # The one more: a decision left to an expert is always a call.
    assert len(calls) == len(reasons) + 1


@both
def test_no_reason_is_given_where_prophylaxis_is_not_indicated(name: str) -> None:
    facts = SOURCE_POSITIVE | {
        "source_hiv": "negative",
        "source_hiv_load": "unknown",
        "source_hiv_acute_illness": "no",
        "worker_pregnancy": "pregnant",
        "worker_kidney_disease": "yes",
        "hours_since_exposure": 100,
    }

    assert said(name, facts).items["hiv_pep_expert_advice"] == ()
    assert decided(name, facts, "stop_hiv_pep") == "yes"


UK_TABLE = {
    # UK21 table 1, as remembered: exposure × source positive (not suppressed), suppressed, unknown
    # with raised prevalence, unknown with ordinary prevalence.
    "percutaneous": (
        "recommended", "not_recommended", "generally_not_recommended", "not_recommended",
    ),
    "mucous_membrane": (
        "recommended", "not_recommended", "generally_not_recommended", "not_recommended",
    ),
    "human_bite": (
        "generally_not_recommended", "not_recommended", "not_recommended", "not_recommended",
    ),
}  # fmt: skip
UK_SOURCES: tuple[dict[str, str], ...] = (
    {"source_hiv": "positive", "source_hiv_load": "detectable"},
    {"source_hiv": "positive", "source_hiv_load": "suppressed"},
    {"source_hiv": "unknown", "source_hiv_likelihood": "raised"},
    {"source_hiv": "unknown", "source_hiv_likelihood": "ordinary"},
)


@pytest.mark.parametrize(("route", "row"), UK_TABLE.items())
def test_the_british_hiv_table_comes_out_cell_by_cell(route: str, row: tuple[str, ...]) -> None:
    base = {
        "route": route, "fluid": "blood", "worker_hiv": "negative", "worker_on_prep": "no",
        "hours_since_exposure": 2,
    }  # fmt: skip

    assert tuple(decided("uk", base | source, "hiv_pep") for source in UK_SOURCES) == row


# -- hepatitis B -----------------------------------------------------------------------------------

WORKER: Mapping[str, dict[str, object]] = {
    "responder": {"worker_hbv_series": "one_complete", "worker_hbv_response": "responder"},
    "non_responder": {"worker_hbv_series": "two_complete", "worker_hbv_response": "non_responder"},
    "unknown, below 10": {
        "worker_hbv_series": "one_complete", "worker_hbv_response": "not_known",
        "worker_anti_hbs_now": 9.99,
    },
    "unknown, 10": {
        "worker_hbv_series": "one_complete", "worker_hbv_response": "not_known",
        "worker_anti_hbs_now": 10,
    },
    "incomplete": {"worker_hbv_series": "incomplete"},
    "unvaccinated": {"worker_hbv_series": "none"},
    "refused": {"worker_hbv_series": "refused"},
}  # fmt: skip
PERSONNEL_TABLE = {
    # A18, personnel exposure table, copied by hand: worker → (source positive or unknown, negative),
    # each as immunoglobulin, vaccine, anti-HBs now, anti-HBs after, infection tests.
    "responder": (("0", "none", "no", "no", "no"),) * 2,
    "non_responder": (("2", "none", "no", "no", "yes"), ("0", "none", "no", "no", "no")),
    "unknown, below 10": (
        ("1", "start_second_series", "yes", "yes", "yes"),
        ("0", "start_second_series", "yes", "yes", "no"),
    ),
    "unknown, 10": (("0", "none", "yes", "no", "no"),) * 2,
    "incomplete": (
        ("1", "complete_series", "no", "yes", "yes"), ("0", "complete_series", "no", "yes", "no"),
    ),
    "unvaccinated": (
        ("1", "start_series", "no", "yes", "yes"), ("0", "start_series", "no", "yes", "no"),
    ),
    "refused": (
        ("1", "start_series", "no", "yes", "yes"), ("0", "start_series", "no", "yes", "no"),
    ),
}  # fmt: skip
HBV = (
    "hbig_doses", "hbv_vaccine", "hbv_test_anti_hbs_now", "hbv_titre_after_vaccine",
    "hbv_infection_tests",
)  # fmt: skip


@pytest.mark.parametrize(
    ("worker", "source"),
    list(itertools.product(PERSONNEL_TABLE, ("positive", "unknown", "negative"))),
)
def test_the_american_personnel_table_comes_out_cell_by_cell(worker: str, source: str) -> None:
    facts = {
        **NEEDLESTICK, **WORKER[worker], "worker_hbv_infection": "none_known",
        "source_hbsag": source, "hours_since_exposure": 2,
    }  # fmt: skip
    expected = PERSONNEL_TABLE[worker][source == "negative"]

    assert tuple(decided("us", facts, decision) for decision in HBV) == expected


@both
@pytest.mark.parametrize("hours", [168.01, 1000])
@settings(deadline=None)  # the first evaluation compiles the tables
@given(facts=situations)
def test_past_seven_days_no_immunoglobulin_is_ordered_nor_refused_by_the_tool(
    name: str, hours: float, facts: dict[str, Value]
) -> None:
    """IMM: effect unknown beyond 7 days; GB96: not later than 7 days. A clinician decides."""
    facts = that_can_be(facts)
    in_time = said(name, facts | {"hours_since_exposure": 1.0}).findings
    late = said(name, facts | {"hours_since_exposure": hours}).findings

    due = in_time["hbig_doses"].value in {"1", "2"}
    assert late["hbig_doses"].value == ("clinician_decides" if due else "0")
    assert late["hbv_vaccine"].value == in_time["hbv_vaccine"].value


@both
def test_whether_a_titre_is_asked_for_does_not_hang_on_its_result(name: str) -> None:
    facts = {
        **NEEDLESTICK, "worker_hbv_infection": "none_known", "worker_hbv_series": "one_complete",
        "worker_hbv_response": "not_known",
    }  # fmt: skip
    expected = {"us": "yes", "uk": "no"}[name]

    assert decided(name, facts, "hbv_test_anti_hbs_now") == expected
    assert decided(name, facts | {"worker_anti_hbs_now": 3}, "hbv_test_anti_hbs_now") == expected


# -- medicines -------------------------------------------------------------------------------------


@both
@pytest.mark.parametrize(
    ("clearance", "rule"),
    [
        (29.99, "MED-03"), (30, "MED-04"), (30.01, "MED-04"),
        (49.99, "MED-04"), (50, "MED-05"), (50.01, "MED-05"),
        (59.99, "MED-05"), (60, "MED-06"), (60.01, "MED-06"),
    ],
)  # fmt: skip
def test_each_band_of_clearance_has_its_own_caution(name: str, clearance: float, rule: str) -> None:
    """Labels: full dose from 50, every 48 h from 30, none below 30; US13: not below 60."""
    evaluation = said(name, SOURCE_POSITIVE | {"worker_creatinine_clearance": clearance})
    bands = {"MED-03", "MED-04", "MED-05", "MED-06"}
    fired = {
        reason.rule
        for item in evaluation.items["medicine_cautions"] if item.certain
        for reason in item.because
    }  # fmt: skip

    assert fired & bands == {rule}


@both
@pytest.mark.parametrize("medicine", VOCABULARY["worker_medicines"].values)
def test_each_class_of_medicine_raises_a_caution_of_its_own(name: str, medicine: str) -> None:
    without = said(name, SOURCE_POSITIVE | {"worker_medicines": []})
    with_it = said(name, SOURCE_POSITIVE | {"worker_medicines": [medicine]})

    added = names(with_it, "medicine_cautions", "text") - names(
        without, "medicine_cautions", "text"
    )
    assert len(added) == 1


# -- windows ---------------------------------------------------------------------------------------

WINDOWS = {
    "us": {
        # action: (counted from, earliest, target, latest), each with its document
        "hiv_pep_first_dose": ("exposure", "PT0H", "PT1H", "PT72H"),  # US25; the hour is practice
        "hbig_first_dose": ("exposure", "PT0H", "PT24H", "PT168H"),  # IMM, PB14
        "hbig_second_dose": ("hbig_first_dose", "P1M", "P1M", "-"),  # IMM
        "baseline_hcv": ("exposure", "PT0H", "PT48H", "-"),  # USC20
        "review_72h": ("exposure", "PT0H", "-", "PT72H"),  # US25
        "follow_up_hiv_12w": ("exposure", "P12W", "P12W", "-"),  # US25
        "follow_up_hcv_rna": ("exposure", "P3W", "-", "P6W"),  # USC20
        "follow_up_hcv_antibody": ("exposure", "P4M", "-", "P6M"),  # USC20
        "follow_up_hbv": ("exposure", "P6M", "P6M", "-"),  # A18
    },
    "uk": {
        "hiv_pep_first_dose": ("exposure", "PT0H", "PT1H", "PT72H"),  # UK21; common practice
        "hbig_first_dose": ("exposure", "PT0H", "PT48H", "PT168H"),  # GB96
        "follow_up_hiv_after_pep": ("course_end", "P45D", "P45D", "-"),  # UK21
        "follow_up_hiv_45d": ("exposure", "P45D", "P45D", "-"),  # UK21
        "follow_up_hcv_rna": ("exposure", "P6W", "P6W", "-"),  # UK99
        "follow_up_hcv_rna_12w": ("exposure", "P12W", "P12W", "-"),  # UK99
        "follow_up_hcv_antibody": ("exposure", "P24W", "P24W", "-"),  # UK99
    },
}


@both
def test_windows_are_those_of_the_documents(name: str) -> None:
    found: dict[str, set[tuple[str, ...]]] = {}
    for _, row in rows(name):
        # A first dose after a decision left to people counts from that decision: see its own test.
        if "→ action" in row and row["→ counted_from"] != "hiv_pep_decision":
            window = tuple(row[f"→ {c}"] for c in ("counted_from", "earliest", "target", "latest"))
            found.setdefault(row["→ action"], set()).add(window)

    assert {action: found[action] for action in WINDOWS[name]} == {
        action: {window} for action, window in WINDOWS[name].items()
    }


@both
def test_where_people_decide_on_prophylaxis_its_first_dose_can_follow(name: str) -> None:
    """Never deny: what the plan leaves to an expert can be given, recorded and stopped."""
    unknown = {
        "source_hiv": "unknown",
        "source_hiv_load": "unknown",
        "source_hiv_likelihood": "unknown",
    }
    evaluation = said(name, {**SOURCE_POSITIVE, **unknown})
    assert evaluation.findings["hiv_pep"].value == "expert_decides"
    (dose,) = (
        i for i in evaluation.items["first_hour"] if i.outputs["action"] == "hiv_pep_first_dose"
    )
    assert dose.certain
    assert dose.outputs["counted_from"] == "hiv_pep_decision"


@both
def test_what_an_action_is_counted_from_is_the_exposure_an_action_or_the_end_of_a_course(
    name: str,
) -> None:
    actions = {row["→ action"] for _, row in rows(name) if "→ action" in row}
    starts = {row["→ counted_from"] for _, row in rows(name) if "→ action" in row}

    assert starts <= actions | {"exposure", "course_end"}
    stops = {table.clock_stops_with for table in protocol(name).tables} - {""}
    assert stops <= actions


# -- first aid -------------------------------------------------------------------------------------


@both
@pytest.mark.parametrize("route", VOCABULARY["route"].values)
def test_first_aid_is_read_in_three_seconds(name: str, route: str) -> None:
    facts = {"route": route, "splash_site": "eye", "contact_lens": "yes"}
    lines = [item.outputs["text"] for item in said(name, facts).items["first_aid"] if item.certain]

    assert 2 <= len(lines) <= 6
    assert all(len(line) <= 70 for line in lines)
    assert "Report it now" in lines[-1]


def test_the_two_schools_of_first_aid_are_not_mixed() -> None:
    """British texts let a wound bleed; American ones see no proof for squeezing."""
    lines = {
        name: " ".join(names(said(name, NEEDLESTICK), "first_aid", "text")).lower() for name in IDS
    }

    assert "bleed" in lines["uk"]
    assert "squeeze" not in lines["us"]
    assert "bleed" not in lines["us"]
    assert all("bleach" in text for text in lines.values())


# -- words -----------------------------------------------------------------------------------------

TOPICS = {
    "reporting",
    "hiv", "hbv", "hcv", "tetanus", "medicines", "precautions", "warning_signs", "first_aid", "general",
}  # fmt: skip


@both
def test_each_caution_has_a_known_topic_and_is_a_whole_sentence(name: str) -> None:
    cautions = [row for _, row in rows(name) if "→ topic" in row]

    assert {row["→ topic"] for row in cautions} <= TOPICS
    assert [row["rule"] for row in cautions if not row["→ text"].endswith(".")] == []
    assert [row["rule"] for row in cautions if len(row["→ text"]) > 300] == []


@both
def test_every_dose_named_in_a_text_is_sent_to_the_pharmacist_or_was_read(name: str) -> None:
    """A dose from memory alone is never printed as if it were sure."""
    dose = re.compile(r"\d+ (?:mg|IU|mL)\b(?!/)")
    bare = [
        row["rule"]
        for _, row in rows(name)
        if (text := row.get("→ text", row.get("→ what", ""))) and dose.search(text)
        and row["standing"] not in {"read", "secondary"}
        and "Check with the pharmacist" not in text
    ]  # fmt: skip

    assert bare == []


# -- what is asked ---------------------------------------------------------------------------------

NEGATIVE_SOURCE = {
    "source_access": "testable",
    "source_hiv": "negative",
    "source_hiv_acute_illness": "no",
    "source_hbsag": "negative",
    "source_hcv_rna": "negative",
}
RESPONDER = {
    "worker_hbv_infection": "none_known",
    "worker_hbv_series": "one_complete",
    "worker_hbv_response": "responder",
}
ABOUT_PROPHYLAXIS = {
    "source_hiv_load", "source_hiv_resistance", "worker_on_prep", "worker_pregnancy",
    "worker_breastfeeding", "worker_kidney_disease", "worker_creatinine_clearance",
    "worker_medicines",
}  # fmt: skip


def asked(name: str, facts: Mapping[str, object]) -> list[str]:
    return [question.fact for question in said(name, facts | {"hours_since_exposure": 1}).questions]


@pytest.mark.parametrize(
    "facts",
    [
        {"route": "intact_skin", "fluid": "blood"},
        {
            "route": "mucous_membrane", "fluid": "saliva", "splash_site": "eye",
            "contact_lens": "no",
        },
    ],
)  # fmt: skip
def test_where_there_was_no_exposure_nobody_is_asked_anything(facts: dict[str, object]) -> None:
    """Above all not for the health of the worker or of the source, which nothing rests on."""
    assert asked("us", facts) == []
    # The British table gives vaccine by the worker's history even then, and asks for nothing else.
    assert set(asked("uk", facts)) == {*RESPONDER, "worker_exposure_continues"}


@both
def test_a_source_tested_negative_leaves_little_to_ask(name: str) -> None:
    facts = NEEDLESTICK | NEGATIVE_SOURCE
    left = asked(name, facts | RESPONDER)

    assert set(left) <= {
        "wound_contaminated", "worker_tetanus_doses", "worker_years_since_tetanus_dose",
        "worker_anti_hcv", "worker_hiv",
    }  # fmt: skip
    # Whether the source could be tested is not asked of one whose results are all known.
    without = {fact: value for fact, value in facts.items() if fact != "source_access"}
    assert asked(name, without | RESPONDER) == left
    assert ABOUT_PROPHYLAXIS.isdisjoint(asked(name, facts))


@both
def test_resistance_is_asked_only_of_a_source_with_hiv(name: str) -> None:
    assert "source_hiv_resistance" not in asked(name, NEEDLESTICK | {"source_hiv": "unknown"})
    assert "source_hiv_resistance" in asked(name, NEEDLESTICK | {"source_hiv": "positive"})


@both
def test_what_settles_prophylaxis_is_asked_before_anything_else(name: str) -> None:
    order = asked(name, NEEDLESTICK | {"source_hiv": "positive"})

    assert order[:3] == ["source_hiv_load", "worker_hiv", "worker_on_prep"]
    assert asked(name, NEEDLESTICK)[0] == "source_hiv"
    assert order.index("worker_tetanus_doses") < order.index("worker_anti_hcv")


# -- no window that cannot be met, no line that cannot matter ----------------------------------------


@both
@pytest.mark.parametrize(("hours", "latest"), [(71.99, "PT72H"), (72, "PT72H"), (72.01, "-")])
def test_a_decision_left_to_an_expert_has_no_limit_that_had_passed_before_it_was_asked(
    name: str, hours: float, latest: str
) -> None:
    facts = NEEDLESTICK | {
        "source_hiv": "negative",
        "source_hiv_acute_illness": "suspected",
        "worker_hiv": "unknown",
        "hours_since_exposure": hours,
    }
    rows_ = [
        item.outputs
        for item in said(name, facts).items["first_hour"]
        if item.outputs["action"] == "hiv_pep_decision" and item.certain
    ]

    assert [row["latest"] for row in rows_] == [latest]
    # It comes as early as the dose that may follow from it.
    # Common practice, no published source: best within the first hour.
    assert rows_[0]["target"] == "PT1H"


def test_the_titre_of_the_worker_is_wanted_at_any_time() -> None:
    facts = NEEDLESTICK | RESPONDER | {"worker_hbv_response": "not_known"}
    (titre,) = (
        item.outputs
        for item in said("us", facts | {"hours_since_exposure": 200}).items["first_hour"]
        if item.outputs["action"] == "anti_hbs_now" and item.certain
    )

    assert (titre["target"], titre["latest"]) == ("PT24H", "-")


@both
def test_a_call_that_is_to_come_within_the_hour_has_the_hour_for_a_target(name: str) -> None:
    calls = [row for table, row in rows(name) if table == "hiv_expert_call"]
    soon = [row for row in calls if "within the hour" in row["→ what"]]

    assert {row["→ target"] for row in soon} == {"PT1H"}
    assert {row["→ action"] for row in soon} == {"hiv_medicine_advice"}


@both
def test_stopping_prophylaxis_spares_a_worker_whose_own_test_is_reactive(name: str) -> None:
    """Medicines already started go on until a specialist confirms the diagnosis."""
    facts = NEEDLESTICK | NEGATIVE_SOURCE | {"worker_hiv": "positive", "hours_since_exposure": 1}
    (stop,) = (
        item.outputs["what"]
        for item in said(name, facts).items["first_hour"]
        if item.outputs["action"] == "stop_hiv_pep"
    )

    assert "unless the worker's own HIV test is reactive" in stop


@both
def test_nobody_is_told_not_to_give_blood_where_nothing_is_followed(name: str) -> None:
    settled = NEEDLESTICK | RESPONDER | {"hours_since_exposure": 1}
    negative = settled | NEGATIVE_SOURCE

    def donation(facts: Mapping[str, object]) -> list[str]:
        lines = names(said(name, facts), "precautions", "text")
        return [line for line in lines if line.startswith("Give no blood")]

    assert donation(negative) == []
    assert len(donation(negative | {"source_hcv_rna": "positive"})) == 1


@pytest.mark.parametrize(
    ("doses", "years", "shown"),
    [
        ("three_or_more", 4.99, False), ("three_or_more", 5, True), ("three_or_more", 9.99, True),
        ("three_or_more", 10, False), ("fewer", 1, True), ("unknown", 1, True),
    ],
)  # fmt: skip
def test_the_caution_on_punctures_shows_where_the_class_of_wound_changes_what_is_given(
    doses: str, years: float, shown: bool
) -> None:
    """TET10, table 4: clean and other wounds differ from 5 to 10 years, and without three doses."""
    facts = NEEDLESTICK | {
        "wound_contaminated": "no",
        "worker_tetanus_doses": doses,
        "worker_years_since_tetanus_dose": years,
    }
    lines = " ".join(names(said("us", facts), "cautions", "text"))

    assert ("punctures" in lines) == shown


def test_where_prophylaxis_is_not_recommended_nothing_is_asked_for_its_medicines() -> None:
    """The British table's commonest answer at night: a source unknown, of ordinary likelihood."""
    facts = NEEDLESTICK | {
        "source_hiv": "unknown", "source_hiv_likelihood": "ordinary", "worker_hiv": "unknown",
    }  # fmt: skip

    assert decided("uk", facts, "hiv_pep") == "not_recommended"
    assert ABOUT_PROPHYLAXIS.isdisjoint(asked("uk", facts))


@both
def test_the_baseline_comes_before_the_immunoglobulin_that_would_blur_it(name: str) -> None:
    """With one target for both, the order of the tables is the order on the page."""
    target = {row["→ action"]: row["→ target"] for _, row in rows(name) if "→ action" in row}
    tables = [table.id for table in protocol(name).tables]

    assert target["baseline_hbv"] == target["hbig_first_dose"]
    assert tables.index("baseline_tests") < tables.index("first_hour")


@both
def test_the_source_is_asked_as_early_as_the_worker_is_assessed(name: str) -> None:
    """A result decides prophylaxis and immunoglobulin, and consent comes before any sample."""
    target = {row["→ action"]: row["→ target"] for _, row in rows(name) if "→ action" in row}

    assert target["ask_source"] == target["source_hiv_test"] == target["assess"] == "PT1H"
    assert target["source_hbsag_test"] == target["hbig_first_dose"]
