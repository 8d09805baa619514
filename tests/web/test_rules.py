"""The protocol pages: every table, every rule, its source and standing, and the rule that fired."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date, timedelta
from html import unescape
from itertools import product
from pathlib import Path

import pytest
from django.test import Client

from thimble import actions
from thimble.clinical.library import NOT_FOR_A_SITE, shipped
from thimble.clinical.library import protocol as shipped_protocol
from thimble.clinical.vocabulary import vocabulary
from thimble.documents.words import input_in_words
from thimble.protocol import STANDINGS
from thimble.protocol.citing import cited
from thimble.web.context import get_store
from thimble.web.roles import Role
from thimble.web.rules.overview import protocol_page
from thimble.web.rules.proof import proof_of
from thimble.web.rules.table import table_page
from thimble.web.rules.wording import column_label, output_label

from ..protocol.folders import FILES, harbour
from .conftest import NIGHT

pytestmark = pytest.mark.django_db
READS = {
    Role.EMERGENCY_CLINICIAN,
    Role.OCCUPATIONAL_NURSE,
    Role.OCCUPATIONAL_PHYSICIAN,
    Role.SAFETY_OFFICER,
}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "harbour"
    made.mkdir()
    return made


def _case(**facts: str) -> str:
    return actions.report(
        get_store(), facts={"route": "percutaneous", "fluid": "blood", **facts},
        occurred_at=NIGHT - timedelta(hours=2), occurred_at_precision="minute",
        vocabulary=vocabulary(), now=NIGHT,
    ).case  # fmt: skip


@pytest.mark.parametrize("path", ["/protocol/", "/protocol/hiv_pep/"])
def test_whoever_works_by_the_rules_may_read_them(
    path: str, signed_in: Callable[[Role], Client]
) -> None:
    assert Client().get(path).status_code == 302
    for role in Role:
        assert signed_in(role).get(path).status_code == (200 if role in READS else 403), role


@pytest.mark.parametrize("name", shipped())
def test_every_rule_of_every_table_stands_on_its_page_with_source_and_standing(
    name: str, signed_in: Callable[[Role], Client]
) -> None:
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    own = shipped_protocol(name)
    overview = client.get(f"/protocol/?of={name}").text
    for table in own.tables:
        assert f"/protocol/{table.id}/" in overview
        text = client.get(f"/protocol/{table.id}/?of={name}").text
        for rule in table.rules:
            assert text.count(f'id="{rule.id}"') == 1
            assert STANDINGS[rule.standing] in text
        keys = {source.key for rule in table.rules for source in cited(rule.source, own.sources)}
        for key in keys:
            assert f"#source-{key}" in text
            assert f'id="source-{key}"' in overview


def test_a_rule_that_is_asked_for_is_marked_and_no_other(
    signed_in: Callable[[Role], Client],
) -> None:
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    rule = shipped_protocol("us").table("hiv_pep").rules[2].id
    text = client.get(f"/protocol/hiv_pep/?rule={rule}").text

    assert re.findall(r'<tbody[^>]*id="([^"]+)" class="rule fired"', text) == [rule]
    assert "fired" not in client.get("/protocol/hiv_pep/?rule=NO-SUCH").text
    assert "no rule NO-SUCH" in client.get("/protocol/hiv_pep/?rule=NO-SUCH").text


def test_the_header_names_the_page_beside_the_menu(signed_in: Callable[[Role], Client]) -> None:
    text = signed_in(Role.OCCUPATIONAL_NURSE).get("/protocol/hiv_pep/").text

    assert re.findall(r'<p class="here">([^<]+)</p>', text) == ["Protocol"]
    opened = text.split('<details class="menu menu--phone">')[1].split("</details>")[0]
    # Without a script: the links, who is signed in, and the way out.
    assert 'href="/worklist/"' in opened
    assert 'aria-current="page">Protocol<' in opened
    assert "Sign out" in opened


def test_a_rule_that_is_asked_for_is_no_markup(signed_in: Callable[[Role], Client]) -> None:
    text = signed_in(Role.OCCUPATIONAL_NURSE).get("/protocol/hiv_pep/?rule=<script>x</script>").text

    assert "<script>x" not in text


def test_the_rule_that_applies_to_a_case_is_marked(signed_in: Callable[[Role], Client]) -> None:
    reference = _case()
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    own = shipped_protocol("us")
    fired = own.evaluate({"route": "percutaneous", "fluid": "blood"}).findings["significance"]
    text = client.get(f"/protocol/significance/?case={reference}").text

    # Needlestick with blood: settled by route and fluid alone.
    assert fired.value == "significant"
    marked = re.findall(r'id="([^"]+)"[^>]*class="[^"]*fired', text)
    assert marked == [reason.rule for reason in fired.because]
    assert reference in text


def test_what_is_open_for_a_case_is_said_to_be_open(signed_in: Callable[[Role], Client]) -> None:
    reference = _case()
    text = signed_in(Role.OCCUPATIONAL_NURSE).get(f"/protocol/hiv_pep/?case={reference}").text

    assert "HIV prophylaxis is still open" in text
    assert "fired" not in text


def test_a_case_is_shown_only_to_those_who_may_open_it(
    signed_in: Callable[[Role], Client],
) -> None:
    reference = _case()
    officer, nurse = signed_in(Role.SAFETY_OFFICER), signed_in(Role.OCCUPATIONAL_NURSE)

    assert officer.get(f"/protocol/hiv_pep/?case={reference}").status_code == 403
    # The same answer whether the case exists or not.
    assert officer.get("/protocol/hiv_pep/?case=K7QM-2F49").status_code == 403
    assert nurse.get(f"/protocol/hiv_pep/?case={reference.lower()}").status_code == 200
    assert nurse.get("/protocol/hiv_pep/?case=K7QM-2F49").status_code == 404
    assert nurse.get("/protocol/hiv_pep/?case=nonsense").status_code == 404


@pytest.mark.parametrize(
    "path", ["/protocol/no_such_table/", "/protocol/?of=xx", "/protocol/?of=../us"]
)
def test_a_table_or_protocol_that_is_not_there_is_not_found(
    path: str, signed_in: Callable[[Role], Client]
) -> None:
    assert signed_in(Role.OCCUPATIONAL_NURSE).get(path).status_code == 404


def test_a_protocol_that_the_site_does_not_follow_says_so(
    signed_in: Callable[[Role], Client],
) -> None:
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    other = next(name for name in shipped() if name != "us")

    assert "does not follow it" in client.get(f"/protocol/?of={other}").text
    assert "not to act on" in client.get(f"/protocol/significance/?of={other}").text
    assert "not to act on" not in client.get("/protocol/significance/").text


@pytest.mark.parametrize("name", sorted(NOT_FOR_A_SITE))
def test_tables_beside_a_protocol_are_shown_and_asked_of_no_case(
    name: str, signed_in: Callable[[Role], Client]
) -> None:
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    case = actions.report(
        get_store(), facts={"route": "percutaneous"}, occurred_at=NIGHT,
        occurred_at_precision="minute", vocabulary=vocabulary(), now=NIGHT,
    ).case  # fmt: skip
    assert "used beside" in client.get(f"/protocol/?of={name}").text
    for table in shipped_protocol(name).tables:
        page = client.get(f"/protocol/{table.id}/?of={name}&rule={table.rules[-1].id}")
        assert table.question in unescape(page.text)
        assert "not to act on" not in page.text
        assert client.get(f"/protocol/{table.id}/?of={name}&case={case}").status_code == 404


# -- words and proof, on a protocol that knows no medicine ---------------------------------------


def test_cells_are_said_in_words(folder: Path) -> None:
    own = harbour(folder)
    rules = table_page(own, own.table("danger"), frozenset()).rules

    assert [cell.words for cell in rules[0].inputs] == ["clear or cloudy", "less than 10 m/s"]
    assert [cell.words for cell in rules[1].inputs] == ["clear or cloudy", "10 m/s or more"]
    assert rules[2].tested == rules[2].inputs[:1]  # the wind does not matter in a storm
    assert rules[2].note == "an unknown sky is never read as clear"
    assert [rule.confirmed for rule in rules] == [True, True, False]


def test_a_deciding_table_keeps_a_column_for_each_input_and_output() -> None:
    for name in shipped():
        own = shipped_protocol(name)
        for table in own.tables:
            if table.hit_policy == "UNIQUE":
                shown = table_page(own, table, frozenset())
                assert not shown.worded
                assert [c.id for c in shown.inputs] == list(table.inputs), table.id
                assert [c.id for c in shown.outputs] == list(table.outputs), table.id
                assert shown.same == ()


def test_no_cell_that_says_something_is_lost_where_columns_are_left_out() -> None:
    """Read back from the tables: each tested cell and each output stands in its row or above it."""
    for name in shipped():
        own = shipped_protocol(name)
        for table in own.tables:
            shown = table_page(own, table, frozenset())
            above = {cell.label: cell.words for cell in shown.same}
            for rule, row in zip(table.rules, shown.rules, strict=True):
                tested = [
                    (column_label(c, own), input_in_words(c, test, own))
                    for c, test in zip(table.inputs, rule.tests, strict=True)
                    if test.text.strip() != "-"
                ]
                assert [(cell.label, cell.words) for cell in row.tested] == tested, rule.id
                beside = {cell.label for cell in row.outputs}
                assert beside.isdisjoint(above)
                wanted = {output_label(c, own) for c in rule.outputs if c != "action"}
                assert beside | set(above) == wanted, rule.id
                assert row.name == rule.outputs.get("action", "")
                note = f"{row.note} {row.rest}".strip()
                assert note.split() == ([] if rule.note == "-" else rule.note.split()), rule.id


def test_what_is_said_once_is_so_in_every_rule() -> None:
    own = shipped_protocol("us")
    table = own.table("hiv_expert_call")
    shown = table_page(own, table, frozenset())

    assert {rule.outputs["kind"] for rule in table.rules} == {"advice"}
    assert ("Kind", "Advice") in [(cell.label, cell.words) for cell in shown.same]
    assert len({rule.outputs["target"] for rule in table.rules}) > 1
    assert "Best by" in [column.label for column in shown.outputs]


@pytest.mark.parametrize(
    ("note", "opening", "rest"),
    [
        ("Short. And shorter.", "Short. And shorter.", ""),
        ("A" * 100 + ". " + "B" * 78, "A" * 100 + ". " + "B" * 78, ""),  # 180, the most
        ("A" * 100 + ". " + "B" * 79, "A" * 100 + ".", "B" * 79),  # 181
        ("A" * 300, "A" * 300, ""),  # nowhere to part it
    ],
)
def test_a_long_note_opens_with_its_first_sentence(
    folder: Path, note: str, opening: str, rest: str
) -> None:
    table = FILES["danger.csv"].replace("an unknown sky is never read as clear", note)
    own = harbour(folder, {"danger.csv": table})
    row = table_page(own, own.table("danger"), frozenset()).rules[2]

    assert (row.note, row.rest) == (opening, rest)


def test_lines_run_from_a_table_to_every_table_that_uses_its_answer() -> None:
    """Walk the drawing: the rails met in a row are those begun by the tables that the row uses."""
    for name in shipped():
        own = shipped_protocol(name)
        lines = protocol_page(own, date(2026, 6, 1)).tables
        begun: dict[int, int] = {}
        open_: set[int] = set()
        for number, line in enumerate(lines, 1):
            rails = line.rails
            assert {begun[x] for x in rails.takes} == set(line.uses)
            assert set(rails.takes) <= open_
            assert set(rails.through) | set(rails.ends) == open_, line.table.id
            assert not set(rails.through) & set(rails.ends)
            assert set(rails.ends) <= set(rails.takes)
            met = (*rails.takes, *rails.begins)
            assert rails.left == min(met, default=None)
            deciders = {own.tables[n - 1].id for n in line.uses}
            wanted = {t.id for t in own.tables if set(t.decides) & set(line.table.inputs)}
            assert deciders == wanted
            open_ -= set(rails.ends)
            for x in rails.begins:
                assert x not in begun
                begun[x] = number
                open_.add(x)
        assert open_ == set()


def test_a_table_names_what_it_needs_and_what_needs_it(folder: Path) -> None:
    own = harbour(folder)
    danger, sail = (table_page(own, own.table(t), frozenset()) for t in ("danger", "sail"))

    assert [t.id for t in sail.asks] == ["danger"]
    assert [t.id for t in danger.feeds] == ["sail", "worries"]
    assert danger.asks == ()
    assert sail.feeds == ()


def test_two_sources_of_one_rule_are_told_apart(folder: Path) -> None:
    own = harbour(folder)
    rule = own.table("sail").rules[3]

    assert [(c.key, c.locator) for c in cited(rule.source, own.sources)] == [
        ("LAW", "3"),
        ("LAW", "4"),
    ]


def test_a_source_names_how_many_rules_rest_on_it(folder: Path) -> None:
    shown = protocol_page(harbour(folder), date(2026, 6, 1))

    assert [(s.key, s.rules) for s in shown.sources] == [("LAW", 11)]
    assert dict(shown.standings) == {
        STANDINGS["read"]: 9, STANDINGS["secondary"]: 1, STANDINGS["memory"]: 1
    }  # fmt: skip
    assert shown.in_force.startswith("In force since 1 January 2026")
    assert protocol_page(harbour(folder), date(2025, 12, 31)).in_force.startswith("Not in force")


def test_the_number_of_situations_is_that_of_what_the_table_can_tell_apart(folder: Path) -> None:
    """Sky in two classes (clear like cloudy, storm like unknown), wind below 10 or not."""
    own = harbour(folder)

    assert proof_of(own).situations["danger"] == len(list(product(range(2), range(2))))


def test_a_gap_and_a_case_that_does_not_come_out_are_shown_as_faults(folder: Path) -> None:
    gap = FILES["danger.csv"].replace(">= 10,high", ">= 12,high")
    cases = FILES["cases.toml"].replace('danger = "low", sail', 'danger = "high", sail')
    own = harbour(folder, {"danger.csv": gap, "cases.toml": cases})
    shown = table_page(own, own.table("danger"), frozenset())

    assert any("no rule covers" in fault for fault in shown.faults)
    assert [case.name for case in shown.failing] == ["a fine day"]
    assert protocol_page(own, date(2026, 6, 1)).faults


def test_cases_that_check_a_table_are_those_that_expect_something_of_it(folder: Path) -> None:
    own = harbour(folder)
    names = {
        table.id: [case.name for case in table_page(own, table, frozenset()).cases]
        for table in own.tables
    }

    both = ["a fine day", "sky not looked at, calm"]
    assert names == {"danger": both, "sail": both, "worries": both}
