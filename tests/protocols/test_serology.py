"""The tables of results as a whole: proved, covered by their own cases, and in step with the plan."""

from __future__ import annotations

import csv
import shutil
from collections import Counter
from itertools import product
from pathlib import Path

import pytest

from thimble.clinical.library import SHIPPED, folder_of, protocol, shipped
from thimble.clinical.serology import tables, vocabulary
from thimble.clinical.vocabulary import VOCABULARY
from thimble.protocol import check_protocol, load_protocol

FOLDER = SHIPPED / "serology"


def rows():
    for path in sorted(FOLDER.glob("*.csv")):
        with path.open(encoding="utf-8", newline="") as file:
            for row in csv.DictReader(file):
                yield path.stem, row


def test_every_table_is_proved_complete_and_unambiguous_and_the_cases_come_out():
    assert check_protocol(tables()) == ()
    assert {table.hit_policy for table in tables().tables} == {"UNIQUE"}


def test_every_rule_is_fired_by_a_case_of_the_folder():
    fired = set()
    for case in tables().cases:
        for finding in tables().evaluate(case.facts).findings.values():
            fired |= {reason.rule for reason in finding.because}

    assert {rule.id for table in tables().tables for rule in table.rules} - fired == set()
    assert len(tables().cases) >= 60


def test_the_rows_of_the_references_are_there_by_their_own_ids():
    ids = {row["rule"] for _, row in rows()}

    assert {f"HBV-S{n:02}" for n in range(1, 15)} <= ids
    # Q5 is the response to vaccine; H5 and F1-F10 are those of hepatitis C.
    assert {f"HBVI-Q{n}" for n in (1, 2, 3, 4, 6, 7, 8)} | {"RESP-01"} <= ids
    assert {f"HCVB-H{n}" for n in range(1, 6)} <= ids
    assert {f"HCVF-F{n:02}" for n in range(1, 11)} <= ids


@pytest.mark.parametrize(
    ("file", "old", "new"),
    [
        ("anti_hbs_level.csv", "[10..100)", "(10..100)"),
        ("anti_hbs_level.csv", ">= 100", "> 100"),
        ("anti_hbs_level.csv", "< 10,10,no,below_10", "< 10,10,no,around_10"),
        ("antigen_after_vaccine.csv", ">= 28", "> 28"),
        ("antigen_after_vaccine.csv", "unknown,-,possible", "unknown,-,excluded"),
        ("antibody_after_immunoglobulin.csv", ">= 6", "> 6"),
        ("antibody_after_immunoglobulin.csv", "unknown,-,possible", "unknown,-,none"),
        ("baseline_window.csv", "hcv,[0..48]", "hcv,[0..48)"),
        ("samples_together.csv", "<= 14", "< 14"),
        ("hbv_pattern.csv", "HBV-S33,indeterminate", "HBV-S33,negative"),
        ("hbv_pattern.csv", "isolated_core,final", "recovered,final"),
        ("hbv_infection.csv", ">= 6,not_infected", "> 6,not_infected"),
        ("hbv_infection.csv", "-,past,-,infection_occurred", "-,past,-,core_perhaps_passive"),
        ("hcv_baseline.csv", "(48..168]", "(48..168)"),
        ("hcv_follow_up_reading.csv", "[21..42]", "[21..42)"),
        ("hcv_follow_up_reading.csv", ">= 4,unknown", ">= 4,no"),
        ("hiv_reading.csv", "reactive_unconfirmed,provisional,differentiation_now", "infected,final,refer"),
        ("hiv_reading.csv", "HIV-14,indeterminate", "HIV-14,negative"),
        ("hiv_follow_up.csv", "unknown,-,negative_so_far", "unknown,-,not_infected"),
        ("source_hiv.csv", "not_tested\",unknown", "not_tested\",negative"),
        ("source_hbsag.csv", "-,-,-,unknown", "-,-,-,negative"),
        ("source_hcv.csv", "not_tested,provisional", "negative,provisional"),
        ("worker_hcv.csv", "unknown,THIMBLE", "negative,THIMBLE"),
    ],
)  # fmt: skip
def test_a_slip_of_the_pen_is_found(file: str, old: str, new: str, tmp_path: Path) -> None:
    folder = shutil.copytree(FOLDER, tmp_path / "copy")
    text = (folder / file).read_text(encoding="utf-8")
    assert old in text
    (folder / file).write_text(text.replace(old, new), encoding="utf-8")

    assert check_protocol(load_protocol(folder, vocabulary())) != ()


def test_facts_for_the_plan_have_the_plan_s_values():
    """Every value that a fact of the plan can take from results is one of the exposure's vocabulary."""
    for fact in (
        "source_hiv", "source_hbsag", "source_hcv_rna", "source_anti_hcv", "worker_hiv",
        "worker_anti_hcv", "worker_hbv_infection",
    ):  # fmt: skip
        said = set(tables().outputs[fact].values) - {"not_settled"}
        assert said <= set(VOCABULARY[fact].values), fact


def test_no_row_turns_what_is_not_known_into_a_negative_for_the_plan():
    """By trying every combination of the tests behind a fact, with none of them negative."""
    open_ = ("indeterminate", "not_known")
    for behind, facts in (
        (("hiv_ag_ab", "hiv_differentiation", "hiv_rna"), ("source_hiv", "worker_hiv")),
        (("hbsag", "hbv_dna", "hbeag", "anti_hbc_igm"), ("source_hbsag",)),
        (("hcv_rna",), ("source_hcv_rna",)),
        (("anti_hcv",), ("source_anti_hcv", "worker_anti_hcv")),
    ):
        for values in product(open_, repeat=len(behind)):
            said = tables().evaluate(dict(zip(behind, values, strict=True))).findings
            for fact in facts:
                assert said[fact].value in ("unknown", "not_tested")


def test_an_open_pattern_never_settles_hepatitis_b_in_the_worker():
    for values in product(("indeterminate", "not_known"), repeat=3):
        facts = dict(zip(("hbsag", "anti_hbc_total", "anti_hbc_igm"), values, strict=True))
        for titre in vocabulary()["anti_hbs"].values:
            said = tables().evaluate(
                facts
                | {"anti_hbs": titre, "vaccine_antigen": "excluded", "passive_antibody": "none"}
            )
            assert said.findings["worker_hbv_infection"].value == "not_settled"


def test_every_decision_has_words_for_each_value():
    for id_, output in tables().outputs.items():
        assert output.label, id_
        assert set(output.labels) == set(output.values), id_
        if not output.inner:
            assert all(
                words[0].isupper() or words.startswith("anti") for words in output.labels.values()
            )


def test_every_source_is_cited_and_no_rule_id_is_used_twice():
    cited = Counter(
        place.strip().partition(":")[0] for _, row in rows() for place in row["source"].split(";")
    )

    assert set(cited) == set(tables().sources)
    ids = Counter(row["rule"] for _, row in rows())
    assert [id_ for id_, count in ids.items() if count > 1] == []


def test_no_site_can_choose_it_as_its_protocol_but_it_can_be_checked():
    assert "serology" not in shipped()
    assert folder_of("serology") == FOLDER
    assert protocol("serology").digest == tables().digest
