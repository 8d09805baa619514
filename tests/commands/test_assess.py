"""`thimble assess`: the contract of its JSON, the situations of the trade, and what it refuses."""

from __future__ import annotations

import shutil
import subprocess
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from commands.data_folders import COMMAND, environment
from commands.running import HEAD, assess, by_id, plan, run, toml, values
from thimble.clinical import library
from thimble.clinical.vocabulary import VOCABULARY

NEEDLE: dict[str, Any] = {
    "route": "percutaneous",
    "fluid": "blood",
    "device": "hollow_bore_needle",
}
WELL: dict[str, Any] = {
    "worker_hiv": "negative",
    "worker_on_prep": "no",
    "worker_hbv_infection": "none_known",
    "worker_pregnancy": "no",
    "worker_breastfeeding": "no",
    "worker_kidney_disease": "no",
    "worker_creatinine_clearance": 96.0,
    "worker_medicines": [],
}
HIV_SOURCE: dict[str, Any] = {
    "source_hiv": "positive",
    "source_hiv_load": "detectable",
    "source_hiv_resistance": "no",
}
DAY = "2026-03-02T10:00:00-05:00"
"""The exposure day of the worked examples: Monday 2 March 2026, 10:00."""
SAME_DAY = "2026-03-02T11:00:00-05:00"


# -- the contract ---------------------------------------------------------------------------------


def assert_contract(told: dict[str, Any]) -> None:
    assert set(told) >= {"protocol", "decisions", "questions", "actions", "cautions"}
    assert set(told["protocol"]) == {"id", "edition", "digest"}
    assert all(isinstance(v, str) and v for v in told["protocol"].values())
    for id_, decision in told["decisions"].items():
        assert set(decision) == {"value", "possible", "because"}, id_
        value, possible = decision["value"], decision["possible"]
        assert len(set(possible)) == len(possible), id_
        if isinstance(value, list):
            assert value == possible, id_
        elif value is None:
            assert len(possible) > 1 or id_ == "hiv_pep_expert_advice", id_
        else:
            assert possible == [value], id_
            assert decision["because"], id_
        for reason in decision["because"]:
            assert set(reason) == {"table", "rule", "source", "standing"}
            assert reason["standing"] in {"read", "secondary", "memory", "derived", "unread"}
            assert all(reason.values())
    open_decisions = {id_ for id_, d in told["decisions"].items() if d["value"] is None}
    for question in told["questions"]:
        assert set(question) == {"fact", "changes"}
        assert question["fact"] in VOCABULARY
        assert question["changes"]
    assert len({q["fact"] for q in told["questions"]}) == len(told["questions"])
    if open_decisions:
        assert open_decisions <= {c for q in told["questions"] for c in q["changes"]}
    ids = [action["id"] for action in told["actions"]]
    assert len(set(ids)) == len(ids)
    for action in [*told["actions"], *told["actions_that_may_follow"]]:
        assert {"id", "what", "for", "due_from", "due_by", "target", "because"} <= set(action)
        assert action["for"] in {"worker", "source", "department"}
        assert action["what"]
        assert action["because"]
        assert all(isinstance(reason, str) and reason for reason in action["because"])
        instants = [
            datetime.fromisoformat(action[key])
            for key in ("due_from", "target", "due_by")
            if action[key] is not None
        ]
        assert all(instant.utcoffset() is not None for instant in instants)
        assert instants == sorted(instants), action
    assert told["cautions"]
    assert all(isinstance(caution, str) and caution for caution in told["cautions"])


@pytest.mark.parametrize("protocol", ["us", "uk"])
@pytest.mark.parametrize(
    "facts",
    [
        {},
        NEEDLE,
        {**NEEDLE, **HIV_SOURCE, **WELL},
        {"route": "intact_skin", "fluid": "blood"},
        {"route": "human_bite", "fluid": "saliva", "worker_tetanus_doses": "unknown"},
        {**NEEDLE, "fluid": "unknown", "source_access": "unidentified"},
    ],
    ids=["nothing known", "needle", "source positive", "intact skin", "bite", "needle in a bin"],
)
def test_the_object_has_the_keys_and_types_of_the_contract(
    protocol: str, facts: dict[str, Any]
) -> None:
    assert_contract(plan(toml(facts, DAY), "--as-of", SAME_DAY, "--protocol", protocol))


def test_a_decision_that_is_still_open_has_no_value_and_lists_what_is_possible() -> None:
    told = plan(toml({**NEEDLE, "source_hbsag": "positive"}, DAY), "--as-of", SAME_DAY)

    doses = told["decisions"]["hbig_doses"]
    assert (doses["value"], doses["because"]) == (None, [])
    # ACIP 2018, personnel table: none (responder), one (US-3a, US-4a) or two (US-2a).
    assert set(doses["possible"]) == {"0", "1", "2"}
    assert told["decisions"]["significance"]["value"] == "significant"


def test_an_action_is_due_at_instants_of_the_zone_that_the_file_is_written_in() -> None:
    told = plan(toml({**NEEDLE, **HIV_SOURCE, **WELL}, DAY), "--as-of", SAME_DAY)

    dose = by_id(told)["hiv_pep_first_dose"]
    assert dose["for"] == "worker"
    assert dose["due_from"] == DAY
    # US25: up to 72 hours after the exposure. The file's offset is kept.
    assert dose["due_by"] == "2026-03-05T10:00:00-05:00"
    assert any("HIVPEP-07" in reason or "FIRST" in reason for reason in dose["because"])


def test_an_amount_is_computed_from_the_weight() -> None:
    """Immunize.org: 0.06 mL/kg; 60 kg 3.6 mL, 70 kg 4.2 mL, 95 kg 5.7 mL."""
    for kg, amount in ((60, "3.6 mL"), (70, "4.2 mL"), (95, "5.7 mL")):
        facts = {**NEEDLE, "worker_hbv_infection": "none_known", "worker_hbv_series": "none"}
        facts |= {"source_hbsag": "positive", "worker_weight": kg}
        dose = by_id(plan(toml(facts, DAY), "--as-of", SAME_DAY))["hbig_first_dose"]

        assert dose["amount"].startswith(amount)


def test_the_weight_is_asked_for_while_a_dose_waits_for_it() -> None:
    facts = {**NEEDLE, "worker_hbv_infection": "none_known", "worker_hbv_series": "none"}
    told = plan(toml({**facts, "source_hbsag": "positive"}, DAY), "--as-of", SAME_DAY)

    assert "worker_weight" in {q["fact"] for q in told["questions"]}
    assert "0.06 mL/kg" in by_id(told)["hbig_first_dose"]["amount"]


def test_no_action_waits_for_one_that_will_never_be_done() -> None:
    """Nobody is told to stop prophylaxis that was never indicated."""
    facts = {**NEEDLE, **WELL, "source_hiv": "negative", "source_hiv_acute_illness": "no"}
    told = plan(toml(facts, DAY), "--as-of", SAME_DAY)

    listed = {**by_id(told), **by_id(told, "actions_that_may_follow")}
    waits = {a["counted_once_done"] for a in listed.values() if a["counted_once_done"]}
    assert told["decisions"]["hiv_pep"]["value"] == "not_indicated"
    assert "stop_hiv_pep" not in listed
    assert waits <= set(listed)


def test_a_shipped_protocol_or_a_folder_can_be_named(tmp_path: Path) -> None:
    import shutil

    from thimble.clinical.library import SHIPPED

    shutil.copytree(SHIPPED / "uk", tmp_path / "mine")
    facts = toml(NEEDLE, DAY)

    assert plan(facts)["protocol"]["id"] == "us"
    shipped = plan(facts, "--protocol", "uk", "--as-of", SAME_DAY)
    copied = plan(facts, "--protocol", tmp_path / "mine", "--as-of", SAME_DAY)
    assert shipped["protocol"]["id"] == "uk"
    assert copied == shipped


# -- the command itself -----------------------------------------------------------------------------


def _thimble(*arguments: object, cwd: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*COMMAND, *map(str, arguments)],
        capture_output=True,
        text=True,
        check=False,
        cwd=cwd,
        # A terminal of another place and another encoding changes nothing.
        env=environment(TZ="Pacific/Auckland"),
    )


def test_the_installed_command_prints_a_plan_and_ends_with_0(tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text(HEAD + 'route = "percutaneous"\n', encoding="utf-8")
    ended = _thimble("assess", "s.toml", "--as-of", "2026-03-02T04:00:00+01:00", cwd=tmp_path)

    assert (ended.returncode, ended.stderr) == (0, "")
    assert "Mon 2 Mar 2026, 04:00" in ended.stdout


def test_the_installed_command_refuses_with_2_and_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text(HEAD + 'route = "ear"\n', encoding="utf-8")
    ended = _thimble("assess", "s.toml", "--json", cwd=tmp_path)

    assert (ended.returncode, ended.stdout) == (2, "")
    assert ended.stderr.startswith("s.toml: facts.route: ")
    assert "Traceback" not in ended.stderr


def test_a_terminal_without_unicode_still_gets_its_plan(tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text(toml(NEEDLE, DAY), encoding="utf-8")
    ended = subprocess.run(
        [*COMMAND, "assess", "s.toml"],
        capture_output=True,
        check=False,
        cwd=tmp_path,
        env=environment(PYTHONIOENCODING="ascii"),
    )

    assert (ended.returncode, ended.stderr) == (0, b"")


# -- what is refused ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('occurred = 1\n[facts]\nroute = "percutaneous"\n', ["occurred", "occurred_at, facts"]),
        ("[facts]\n[weather]\nrain = true\n", ["weather", "occurred_at, facts"]),
        ("", ["facts", "missing"]),
        ("facts = 3\n", ["facts", "table", "3"]),
        ('[facts]\nrute = "percutaneous"\n', ["facts.rute", "'percutaneous'", "route, fluid"]),
        ('[facts]\nroute = "ear"\n', ["facts.route", "'ear'", "percutaneous, mucous_membrane"]),
        ("[facts]\nroute = true\n", ["facts.route", "True", "percutaneous"]),
        ("[facts]\nroute = 4\n", ["facts.route", "4", "percutaneous"]),
        ('[facts]\nroute = ["percutaneous"]\n', ["facts.route", "['percutaneous']"]),
        ('[facts]\nroute = ""\n', ["facts.route", "''", "percutaneous"]),
        ('[facts]\nroute = "Percutaneous"\n', ["facts.route", "'Percutaneous'"]),
        ('[facts]\nworker_weight = "72"\n', ["facts.worker_weight", "'72'", "number in kg"]),
        ("[facts]\nworker_weight = true\n", ["facts.worker_weight", "True", "number in kg"]),
        ("[facts]\nworker_weight = 1.9\n", ["facts.worker_weight", "1.9", "2 and 400"]),
        ("[facts]\nworker_weight = 400.1\n", ["facts.worker_weight", "400.1", "2 and 400"]),
        ("[facts]\nhours_since_exposure = nan\n", ["facts.hours_since_exposure", "nan"]),
        ("[facts]\nhours_since_exposure = inf\n", ["facts.hours_since_exposure", "inf"]),
        ("[facts]\nhours_since_exposure = -inf\n", ["facts.hours_since_exposure", "-inf"]),
        ("[facts]\nhours_since_exposure = -0.5\n", ["facts.hours_since_exposure", "-0.5", "0"]),
        ("[facts]\nworker_anti_hbs_now = -1\n", ["facts.worker_anti_hbs_now", "-1", "mIU/mL"]),
        ('[facts]\nworker_anti_hbs_now = "<10"\n', ["facts.worker_anti_hbs_now", "'<10'"]),
        ('[facts]\nworker_medicines = "metformin"\n', ["facts.worker_medicines", "list"]),
        ('[facts]\nworker_medicines = ["sugar"]\n', ["facts.worker_medicines", "'sugar'"]),
        ("[facts]\nworker_medicines = [1]\n", ["facts.worker_medicines", "1", "metformin"]),
        ("[facts]\nworker_medicines = [[]]\n", ["facts.worker_medicines", "[]", "metformin"]),
        ("[facts.route]\nx = 1\n", ["facts.route", "{'x': 1}"]),
        ("[facts]\nroute = 2026-03-02\n", ["facts.route", "2026"]),
        ("occurred_at = 2026-03-02T02:40:00\n[facts]\n", ["occurred_at", "offset", "02:40"]),
        ("occurred_at = 2026-03-02\n[facts]\n", ["occurred_at", "offset", "2026-03-02"]),
        ('occurred_at = "2026-03-02T02:40:00+01:00"\n[facts]\n', ["occurred_at", "not quoted"]),
        ("occurred_at = 02:40:00\n[facts]\n", ["occurred_at", "02:40"]),
        ("occurred_at = false\n[facts]\n", ["occurred_at", "False"]),
        (f"[facts]\nworker_weight = 1{'0' * 400}\n", ["facts.worker_weight", "2 and 400"]),
        (f"[facts]\nworker_weight = 1{'0' * 5000}\n", ["not TOML"]),
        (f"x = {'[' * 9000}{']' * 9000}\n[facts]\n", ["not TOML"]),
        ("[facts\n", ["not TOML", "line 1"]),
        ("[facts]\nroute = percutaneous\n", ["not TOML", "line 2"]),
        ('[facts]\nroute = "blood"\nroute = "blood"\n', ["not TOML", "line 3"]),
        ("[facts]\n[facts]\n", ["not TOML", "line 2"]),
        ('{"facts": {"route": "percutaneous"}}', ["not TOML"]),
        (b'[facts]\nroute = "\xff"\n', ["not UTF-8", "byte 17"]),
        ('[facts]\nroute = "percutaneous"\n'.encode("utf-16"), ["not UTF-8", "byte 0"]),
    ],
)
def test_a_file_that_is_not_understood_is_refused_in_a_sentence(
    text: str | bytes, told: list[str]
) -> None:
    ran = assess(text, "--json")

    assert (ran.status, ran.out) == (2, "")
    assert "situation.toml: " in ran.err
    for words in told:
        assert words in ran.err


def test_every_fault_of_a_file_is_told_at_once() -> None:
    ran = assess('x = 1\n[facts]\nroute = "ear"\nworker_weight = 900\nfluids = "blood"\n')

    assert ran.status == 2
    lines = ran.err.strip().splitlines()
    assert len(lines) == 4
    assert all("situation.toml: " in line and line.endswith(".") for line in lines)


@pytest.mark.parametrize("name", ["nowhere.toml", ""])
def test_a_file_that_cannot_be_read_is_refused(tmp_path: Path, name: str) -> None:
    ran = run("assess", tmp_path / name)

    assert (ran.status, ran.out) == (2, "")
    assert "cannot be read" in ran.err
    assert str(tmp_path) in ran.err


@pytest.mark.parametrize(
    "as_of",
    ["yesterday", "2026-03-02", "2026-03-02T04:00:00", "04:00", "2026-13-02T04:00:00+01:00", "0"],
)
def test_a_moment_without_offset_or_that_is_none_is_refused(as_of: str) -> None:
    ran = assess(HEAD, "--as-of", as_of)

    assert (ran.status, ran.out) == (2, "")
    assert "--as-of" in ran.err
    assert repr(as_of) in ran.err


def test_an_empty_moment_is_refused_and_not_read_as_now() -> None:
    ran = assess(HEAD, "--as-of", "")

    assert (ran.status, ran.out) == (2, "")
    assert "--as-of" in ran.err


def test_an_exposure_after_the_moment_to_decide_for_is_refused() -> None:
    ran = assess(HEAD, "--as-of", "2026-03-02T02:39:59+01:00")

    assert (ran.status, ran.out) == (2, "")
    assert "occurred_at: 2026-03-02T02:40:00+01:00 lies after" in ran.err
    assert assess(HEAD, "--as-of", "2026-03-02T02:40:00+01:00").status == 0


def test_a_byte_order_mark_is_no_fault() -> None:
    text = b"\xef\xbb\xbf" + toml(NEEDLE).encode().replace(b"\n", b"\r\n")

    assert assess(text).status == 0


def test_a_slip_of_the_pen_is_named() -> None:
    assert "Is it worker_weight?" in assess("[facts]\nworker_wieght = 72\n").err


def test_an_exposure_in_the_future_is_refused_without_a_moment_too() -> None:
    ran = assess("occurred_at = 2999-01-01T00:00:00+00:00\n[facts]\n")

    assert (ran.status, ran.out) == (2, "")
    assert "occurred_at" in ran.err


def test_hours_that_lead_into_the_future_are_refused() -> None:
    """An exposure in 2999 is no plan for a patient of today, whatever the hours beside it."""
    ran = assess("occurred_at = 2999-01-01T00:00:00+00:00\n[facts]\nhours_since_exposure = 2\n")

    assert (ran.status, ran.out) == (2, "")
    assert "occurred_at" in ran.err


@pytest.mark.parametrize("year", ["0001-01-01T00:00:00+14:00", "9999-12-31T23:00:00-12:00"])
def test_an_instant_at_the_edge_of_the_calendar_is_refused_or_answered_and_never_a_crash(
    year: str,
) -> None:
    for options in ([], ["--as-of", year], ["--as-of", "2026-03-02T04:00:00+01:00"]):
        ran = assess(f"occurred_at = {year}\n[facts]\nroute = 'percutaneous'\n", *options)

        assert ran.status in {0, 2}


@pytest.mark.parametrize(("hours", "agrees"), [(2.0, True), (2.016, True), (2.02, False)])
def test_hours_that_disagree_with_the_instants_by_over_a_minute_are_refused(
    hours: float, agrees: bool
) -> None:
    text = HEAD + f"hours_since_exposure = {hours}\n"
    ran = assess(text, "--as-of", "2026-03-02T04:40:00+01:00")

    assert ran.status == (0 if agrees else 2)
    if not agrees:
        assert "hours_since_exposure: 2.02 h" in ran.err
        assert "it is 2 h" in ran.err


@pytest.mark.parametrize(
    ("facts", "told"),
    [
        ({"source_hiv": "negative", "source_hiv_load": "detectable"}, ["negative", "viral load"]),
        ({"source_hiv": "positive", "source_hiv_likelihood": "raised"}, ["raised", "likely"]),
        (
            {"worker_hbv_series": "none", "worker_hbv_response": "responder"},
            ["worker_hbv_series = 'none'", "worker_hbv_response = 'responder'", "complete series"],
        ),
    ],
)
def test_facts_that_cannot_hold_together_are_refused_where_none_gives_way(
    facts: dict[str, str], told: list[str], tmp_path: Path
) -> None:
    folder = shutil.copytree(library.SHIPPED / "us", tmp_path / "strict")
    lines = (folder / "protocol.toml").read_text().splitlines(keepends=True)
    (folder / "protocol.toml").write_text(
        "".join(line for line in lines if not line.startswith("gives_way"))
    )
    ran = assess(toml(facts), "--protocol", str(folder))

    assert (ran.status, ran.out) == (2, "")
    assert "situation.toml: " in ran.err
    assert "cannot hold together" in ran.err
    for words in told:
        assert words in ran.err


def test_a_fact_that_makes_sense_only_after_another_gives_way_and_is_told() -> None:
    """The cautious reading: no response counts without a complete series (A18 by way of IMM)."""
    base = {
        "route": "percutaneous", "fluid": "blood", "hours_since_exposure": 2,
        "source_hbsag": "positive", "worker_hbv_infection": "none_known",
        "worker_hbv_series": "none",
    }  # fmt: skip
    contradictory = plan(toml({**base, "worker_hbv_response": "responder"}))

    assert values(contradictory)["hbig_doses"] == "1"
    assert values(contradictory) == values(plan(toml(base)))
    assert "does not count beside another" in contradictory["cautions"][0]


def test_an_unknown_protocol_is_refused_and_the_shipped_ones_named() -> None:
    ran = assess(HEAD, "--protocol", "mars")

    assert (ran.status, ran.out) == (2, "")
    assert "'mars'" in ran.err
    assert "uk, us" in ran.err


def test_a_folder_that_is_no_protocol_is_refused(tmp_path: Path) -> None:
    ran = assess(HEAD, "--protocol", tmp_path)

    assert (ran.status, ran.out) == (2, "")
    assert "protocol.toml" in ran.err


@pytest.mark.parametrize("options", [["--jsno"], ["--protocol"], []])
def test_options_that_are_not_understood_end_with_2(options: list[str]) -> None:
    assert run("assess", *options).status == 2


# -- the boundaries, with instants ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("occurred", "as_of", "hours"),
    [
        # Europe/Zurich goes from +01:00 to +02:00 on 29 March 2026: 72 hours end an hour later on
        # the wall.
        ("2026-03-27T02:40:00+01:00", "2026-03-30T03:40:00+02:00", 72),
        # and back on 25 October 2026: 72 hours end an hour earlier on the wall.
        ("2026-10-23T02:40:00+02:00", "2026-10-26T01:40:00+01:00", 72),
        ("2026-03-02T02:40:00+01:00", "2026-03-05T02:40:00+01:00", 72),
    ],
)
def test_72_hours_are_elapsed_hours_and_the_last_second_is_in_time(
    occurred: str, as_of: str, hours: float
) -> None:
    """US25: up to 72 h. Inclusive: every document says "up to", "within" or "no later than"."""
    facts = {**NEEDLE, **HIV_SOURCE, **WELL}
    moment = datetime.fromisoformat(as_of)

    def hiv_pep(at: datetime) -> tuple[Any, list[str]]:
        told = plan(toml(facts, occurred), "--as-of", at.isoformat())
        return (
            told["decisions"]["hiv_pep"]["value"],
            told["decisions"]["hiv_pep_expert_advice"]["value"],
        )

    assert hiv_pep(moment - timedelta(seconds=1)) == ("recommended", [])
    assert hiv_pep(moment) == ("recommended", [])
    assert hiv_pep(moment + timedelta(seconds=1)) == ("expert_decides", ["late_report"])
    for given, value in ((71.99, "recommended"), (72, "recommended"), (72.01, "expert_decides")):
        told = plan(toml({**facts, "hours_since_exposure": given}))
        assert told["decisions"]["hiv_pep"]["value"] == value
    assert hours == 72


def test_hours_and_an_instant_together_name_the_moment() -> None:
    told = plan(HEAD + "hours_since_exposure = 2\n")

    assert datetime.fromisoformat(told["as_of"]) == datetime.fromisoformat(
        "2026-03-02T04:40:00+01:00"
    )


def test_hours_alone_count_back_from_the_moment() -> None:
    facts = {**NEEDLE, **HIV_SOURCE, **WELL, "hours_since_exposure": 5}
    told = plan(toml(facts), "--as-of", "2026-03-02T12:00:00+01:00")

    dose = by_id(told)["hiv_pep_first_dose"]
    assert datetime.fromisoformat(dose["due_by"]) == datetime.fromisoformat(
        "2026-03-05T07:00:00+01:00"
    )
    assert dose["due_by"].endswith("+01:00")


def test_without_time_nothing_that_depends_on_time_is_decided() -> None:
    told = plan(toml({**NEEDLE, **HIV_SOURCE, **WELL}))

    assert values(told)["hiv_pep"] == ("recommended", "expert_decides")
    assert "hours_since_exposure" in {q["fact"] for q in told["questions"]}


@pytest.mark.parametrize(
    ("titre", "doses"), [(7.9, "1"), (9.99, "1"), (10, "0"), (10.0, "0"), (10.01, "0")]
)
def test_ten_is_a_response(titre: float, doses: str) -> None:
    """CDC: "at least 10" mIU/mL."""
    facts = {**NEEDLE, "worker_hbv_infection": "none_known", "worker_hbv_series": "one_complete"}
    facts |= {"worker_hbv_response": "not_known", "worker_anti_hbs_now": titre}
    told = plan(toml({**facts, "source_hbsag": "positive"}, DAY), "--as-of", SAME_DAY)

    assert values(told)["hbig_doses"] == doses


# -- worked examples of the trade ---------------------------------------------------------------------

HBV: dict[str, Any] = {**NEEDLE, "worker_hbv_infection": "none_known"}
UNVACCINATED = {**HBV, "worker_hbv_series": "none", "worker_weight": 72}
NON_RESPONDER = {
    **HBV,
    "worker_hbv_series": "two_complete",
    "worker_hbv_response": "non_responder",
    "worker_weight": 58,
}
UNTESTED = {**HBV, "worker_hbv_series": "one_complete", "worker_hbv_response": "not_known"}


@pytest.mark.parametrize(
    ("facts", "as_of", "expected"),
    [
        pytest.param(
            {**UNVACCINATED, "source_hbsag": "positive"},
            SAME_DAY,
            ("1", "start_series", "no", "yes", "yes"),
            id="1: unvaccinated, source positive",
        ),
        pytest.param(
            {
                **HBV,
                "worker_hbv_series": "one_complete",
                "worker_hbv_response": "responder",
                "worker_anti_hbs_now": 4,
                "source_hbsag": "positive",
            },
            SAME_DAY,
            ("0", "none", "no", "no", "no"),
            id="3: responder of 2015 with 4 today",
        ),
        pytest.param(
            {**NON_RESPONDER, "source_hbsag": "unknown"},
            SAME_DAY,
            ("2", "none", "no", "no", "yes"),
            id="4: below 10 after two series, source unknown",
        ),
        pytest.param(
            {**NON_RESPONDER, "source_hbsag": "negative"},
            "2026-03-05T10:00:00-05:00",
            ("0", "none", "no", "no", "no"),
            id="5: the same, source comes back negative",
        ),
        pytest.param(
            {
                **UNTESTED,
                "worker_anti_hbs_now": 7.9,
                "source_access": "refuses",
                "source_hbsag": "unknown",
            },
            SAME_DAY,
            ("1", "start_second_series", "yes", "yes", "yes"),
            id="6: series untested, 7.9, source refuses",
        ),
        pytest.param(
            {**UNTESTED, "worker_anti_hbs_now": 10.0, "source_hbsag": "unknown"},
            SAME_DAY,
            ("0", "none", "yes", "no", "no"),
            id="7: exactly 10.0",
        ),
        pytest.param(
            {**UNTESTED, "worker_anti_hbs_now": 3.0, "source_hbsag": "negative"},
            SAME_DAY,
            ("0", "start_second_series", "yes", "yes", "no"),
            id="8: <3.1, source negative",
        ),
        pytest.param(
            {
                **HBV,
                "worker_hbv_series": "incomplete",
                "worker_anti_hbs_now": 85,
                "source_hbsag": "negative",
            },
            SAME_DAY,
            ("0", "complete_series", "no", "yes", "no"),
            id="9: two doses of three, 85, source negative",
        ),
        pytest.param(
            {**UNVACCINATED, "source_hbsag": "positive"},
            "2026-03-11T10:00:00-04:00",
            ("clinician_decides", "start_series", "no", "yes", "yes"),
            id="10: day 9",
        ),
    ],
)
def test_hepatitis_b_comes_out_as_in_the_personnel_table(
    facts: dict[str, Any], as_of: str, expected: tuple[str, ...]
) -> None:
    """Schillie et al. 2018 (ACIP), personnel exposure table, rows US-1 to US-4b; computed examples."""
    told = plan(toml(facts, DAY), "--as-of", as_of)
    keys = ["hbig_doses", "hbv_vaccine", "hbv_test_anti_hbs_now"]
    keys += ["hbv_titre_after_vaccine", "hbv_infection_tests"]

    assert tuple(values(told)[key] for key in keys) == expected
    assert_contract(told)


def test_the_windows_and_amounts_of_the_first_hepatitis_b_example() -> None:
    """72 kg: 4.32 mL, best by 3 March 10:00, no later than 9 March; tests again on 2 September."""
    told = plan(toml({**UNVACCINATED, "source_hbsag": "positive"}, DAY), "--as-of", SAME_DAY)
    actions = by_id(told)

    hbig = actions["hbig_first_dose"]
    assert hbig["amount"] == "4.32 mL IM"
    assert (hbig["target"], hbig["due_by"]) == (
        "2026-03-03T10:00:00-05:00",
        "2026-03-09T10:00:00-05:00",
    )
    assert "baseline_hbv" in actions
    assert actions["follow_up_hbv"]["due_from"].startswith("2026-09-02")


def test_the_amount_of_the_fourth_hepatitis_b_example_and_its_second_dose() -> None:
    """58 kg: 3.48 mL now and again one month after the first dose, whose day is not known yet."""
    told = plan(toml({**NON_RESPONDER, "source_hbsag": "unknown"}, DAY), "--as-of", SAME_DAY)
    actions = by_id(told)

    assert actions["hbig_first_dose"]["amount"] == "3.48 mL IM"
    assert actions["hbig_second_dose"]["amount"] == "3.48 mL IM"
    assert actions["hbig_second_dose"]["counted_once_done"] == "hbig_first_dose"
    assert actions["hbig_second_dose"]["due_from"] is None


def test_a_known_non_responder_in_the_united_kingdom() -> None:
    """Example 14: 500 IU now, ideally within 48 h, at most 7 days; again a month later; Green Book
    (remembered), dose and time from UKHSA 2023 and the Lothian guidance."""
    facts = {**HBV, "worker_hbv_series": "one_complete", "worker_hbv_response": "non_responder"}
    told = plan(
        toml({**facts, "source_hbsag": "unknown"}, DAY), "--as-of", SAME_DAY, "--protocol", "uk"
    )
    hbig = by_id(told)["hbig_first_dose"]

    assert values(told)["hbig_doses"] == "2"
    assert values(told)["hbv_vaccine"] == "consider_booster"
    assert hbig["amount"] == "500 IU IM"
    assert (hbig["target"], hbig["due_by"]) == (
        "2026-03-04T10:00:00-05:00",
        "2026-03-09T10:00:00-05:00",
    )


HIV: dict[str, Any] = {**NEEDLE, **WELL, **HIV_SOURCE}


@pytest.mark.parametrize(
    ("facts", "expected"),
    [
        # Known positive, not suppressed, in time: start now; every set agrees on the needle, and
        # the United States and WHO on mucous membrane and broken skin.
        pytest.param(HIV, "recommended", id="needle, detectable"),
        pytest.param({**HIV, "source_hiv_load": "unknown"}, "recommended", id="load unknown"),
        pytest.param({**HIV, "route": "mucous_membrane"}, "recommended", id="splash"),
        pytest.param({**HIV, "route": "non_intact_skin"}, "recommended", id="broken skin"),
        # Tested negative and no acute illness: no prophylaxis; every set agrees.
        pytest.param(
            {**NEEDLE, **WELL, "source_hiv": "negative", "source_hiv_acute_illness": "no"},
            "not_indicated",
            id="source negative",
        ),
        # Intact skin, or a fluid that is not infectious: no prophylaxis; every set agrees.
        pytest.param({**HIV, "route": "intact_skin"}, "not_indicated", id="intact skin"),
        pytest.param({**HIV, "fluid": "saliva"}, "not_indicated", id="saliva"),
        pytest.param({**HIV, "fluid": "urine"}, "not_indicated", id="urine"),
        pytest.param({**HIV, "fluid": "sweat"}, "not_indicated", id="sweat"),
        pytest.param({**HIV, "fluid": "tears"}, "not_indicated", id="tears"),
        # The worker has HIV: no prophylaxis, refer.
        pytest.param({**HIV, "worker_hiv": "positive"}, "not_indicated", id="worker positive"),
        # Never an automatic no: an expert decides.
        pytest.param({**HIV, "hours_since_exposure": 73}, "expert_decides", id="late"),
        pytest.param({**HIV, "source_hiv_load": "suppressed"}, "expert_decides", id="suppressed"),
        pytest.param({**HIV, "worker_on_prep": "yes"}, "expert_decides", id="on PrEP"),
        pytest.param(
            {**NEEDLE, **WELL, "source_hiv": "unknown"}, "expert_decides", id="unknown source"
        ),
    ],
)
def test_hiv_prophylaxis_comes_out_as_the_documents_say(
    facts: dict[str, Any], expected: str
) -> None:
    """Kofman et al. 2025; Kuhar et al. 2013; safe reading where the newer one could not be read."""
    told = plan(toml({"hours_since_exposure": 2, **facts}))

    assert values(told)["hiv_pep"] == expected


@pytest.mark.parametrize(
    ("fact", "reason", "call"),
    [
        ({"worker_pregnancy": "pregnant"}, "pregnancy", "hiv_course_advice"),
        ({"worker_pregnancy": "possible"}, "pregnancy", "hiv_course_advice"),
        ({"worker_breastfeeding": "yes"}, "breastfeeding", "hiv_course_advice"),
        ({"worker_kidney_disease": "yes"}, "kidney_disease", "hiv_medicine_advice"),
        ({"source_hiv_resistance": "suspected"}, "resistance", "hiv_course_advice"),
        ({"worker_hbv_infection": "current"}, "hepatitis_b_infection", "hiv_course_advice"),
    ],
)
def test_a_reason_to_call_an_expert_never_holds_the_first_dose_back(
    fact: dict[str, Any], reason: str, call: str
) -> None:
    """Kuhar et al. 2013, Box 1: ask an expert, and do not wait for the answer."""
    told = plan(toml({"hours_since_exposure": 2, **HIV, **fact}))

    assert values(told)["hiv_pep"] == "recommended"
    assert reason in values(told)["hiv_pep_expert_advice"]
    assert "hiv_pep_first_dose" in by_id(told)
    assert call in by_id(told)


def test_what_was_never_asked_is_never_read_as_no() -> None:
    told = plan(toml({"route": "percutaneous", "fluid": "blood", "hours_since_exposure": 1}))

    assert "not_indicated" in values(told)["hiv_pep"]
    assert "recommended" in values(told)["hiv_pep"]
    assert told["decisions"]["hcv_follow_up"]["value"] is None


def test_an_unknown_fluid_is_handled_as_infectious() -> None:
    assert values(plan(toml({"route": "percutaneous", "fluid": "unknown"})))["significance"] == (
        "significant"
    )


# -- the text for a person ------------------------------------------------------------------------------


def test_the_text_says_what_to_do_first_and_what_is_uncertain_after() -> None:
    facts = toml({**HIV, "worker_weight": 72}, DAY)
    lines = assess(facts, "--as-of", SAME_DAY).out.splitlines()
    titles = [line for line in lines[2:] if line and not line.startswith(" ")]

    assert titles[:3] == ["First aid, at once", "Do now", "Decided"]
    assert titles.index("Still open") > titles.index("Ask next, what matters most first")
    assert titles[-1] == "Mind"
    assert lines[1].startswith("Exposure Mon 2 Mar 2026, 10:00; as of Mon 2 Mar 2026, 11:00, 1 h")
    now = lines[lines.index("Do now") : lines.index("Decided")]
    assert any("Give first aid" in line for line in now[:2])
    assert any("Give the first dose of HIV prophylaxis now" in line for line in now)
    assert "from Mon 25 May 2026" in " ".join(line.strip() for line in lines)
    assert lines[-2].startswith("  Decision support") or lines[-1].startswith("  Decision support")


def test_the_text_says_so_where_a_rule_was_not_read_in_its_document() -> None:
    out = assess(toml(HIV, DAY), "--as-of", SAME_DAY).out

    assert "HIV prophylaxis: Recommended: give the first dose now\n" in out
    assert "rule not yet confirmed against its source (HIVPEP-07: from a text that cites" in out


def test_the_text_calls_late_what_is_late() -> None:
    out = assess(toml(HIV, DAY), "--as-of", "2026-03-05T10:00:01-05:00").out

    assert "was due by Thu 5 Mar 2026, 10:00, LATE" in " ".join(out.split())
    assert "LATE" not in assess(toml(HIV, DAY), "--as-of", "2026-03-05T10:00:00-05:00").out


def test_the_text_shows_how_a_question_is_answered_in_the_file() -> None:
    out = assess("[facts]\n").out

    assert "route = percutaneous | mucous_membrane" in out
    assert "worker_creatinine_clearance = a number, mL/min" in out
    assert "worker_medicines = any of aluminium_magnesium" in out
