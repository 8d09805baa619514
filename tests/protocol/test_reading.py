"""A protocol folder is read as strictly as a compiler reads a program.

Each planted fault is refused with its file, row and column and with what is allowed.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest

from protocol.folders import FILES, MANIFEST, WEATHER, harbour, write
from thimble.protocol import Fault, ProtocolFaults, load_protocol

DANGER, SAIL, WORRIES, CASES = (
    FILES[name] for name in ("danger.csv", "sail.csv", "worries.csv", "cases.toml")
)
ACTIONS = """rule,boat,→ action,→ what,→ kind,→ for,→ counted_from,→ earliest,→ target,→ latest,source,standing,note
A-1,ship,rest,Rest.,review,worker,exposure,PT0H,-,PT72H,LAW: 1,read,-
A-2,-,eat,Eat.,review,worker,rest,P1D,P2W,P4M,LAW: 1,read,-
"""  # noqa: E501
ACTIONS_HEAD = """
[[tables]]
id = "chores"
file = "chores.csv"
hit_policy = "COLLECT"
role = "actions"
key = "action"
question = "What is to be done?"
"""
WITH_ACTIONS = {
    "protocol.toml": MANIFEST.replace("[severity.facts]", ACTIONS_HEAD + "[severity.facts]"),
    "chores.csv": ACTIONS,
}


def faults_of(folder: Path, changed: Mapping[str, str]) -> tuple[Fault, ...]:
    with pytest.raises(ProtocolFaults) as refused:
        load_protocol(write(folder, changed), WEATHER)
    return refused.value.faults


def swap(text: str, old: str, new: str) -> str:
    assert text.count(old) >= 1, old
    return text.replace(old, new, 1)


def test_the_folder_without_faults_is_read(tmp_path: Path) -> None:
    protocol = harbour(tmp_path)
    assert protocol.id == "harbour"
    assert [table.id for table in protocol.tables] == ["danger", "sail", "worries"]
    assert protocol.table("sail").rules[3].source == "LAW: 3; LAW: 4"
    assert protocol.table("danger").rules[1].row == 3
    assert protocol.table("danger").rules[2].note.startswith("an unknown sky")
    assert protocol.table("danger").rules[0].note == ""


def test_a_folder_with_actions_is_read(tmp_path: Path) -> None:
    assert harbour(tmp_path, WITH_ACTIONS).table("chores").key == "action"


# (file, old text, new text) → (file, row, column, words)
PLANTED: dict[str, tuple[str, str, str, str, int, str, tuple[str, ...]]] = {
    # the tables
    "unknown column": (
        "danger.csv", "rule,sky,wind", "rule,skye,wind",
        "danger.csv", 1, "skye", ("neither a fact nor an earlier decision", "did you mean 'sky'?"),
    ),
    "column far from any fact": (
        "danger.csv", "rule,sky,wind", "rule,zzz,wind",
        "danger.csv", 1, "zzz", ("add it to the vocabulary first",),
    ),
    "unknown value": (
        "danger.csv", '"clear, cloudy",< 10 m/s', '"clear, misty",< 10 m/s',
        "danger.csv", 2, "sky",
        ("'misty' is not known", "allowed are clear, cloudy, storm, unknown"),
    ),
    "wrong unit": (
        "danger.csv", "< 10 m/s", "< 10 kn",
        "danger.csv", 2, "wind", ("'kn'", "the unit is m/s"),
    ),
    "not a test": (
        "danger.csv", "< 10 m/s", "strong",
        "danger.csv", 2, "wind", ("'strong' is not a test of a number", "> 5 m/s"),
    ),
    "empty range": (
        "worries.csv", "(20..100]", "(100..20]",
        "worries.csv", 5, "wind", ("'(100..20]' is empty", "smaller number first"),
    ),
    "unknown value of an earlier decision": (
        "sail.csv", "S-1,low", "S-1,mild",
        "sail.csv", 2, "danger", ("'mild' is not known", "allowed are low, high"),
    ),
    "set fact without a member": (
        "worries.csv", "cargo.hay", "cargo",
        "worries.csv", 1, "cargo", ("is a set", "cargo.hay", "members are hay, glass, coal"),
    ),
    "unknown member": (
        "worries.csv", "cargo.hay", "cargo.straw",
        "worries.csv", 1, "cargo.straw", ("members are hay, glass, coal",),
    ),
    "member of a fact without members": (
        "sail.csv", "rule,danger,boat", "rule,danger,boat.dinghy",
        "sail.csv", 1, "boat.dinghy", ("boat has no members",),
    ),
    "member column takes yes or no": (
        "worries.csv", "W-1,-,yes", "W-1,-,true",
        "worries.csv", 2, "cargo.hay", ("'true' is not known", "allowed are no, yes"),
    ),
    "empty input cell": (
        "sail.csv", "S-2,high,ship,yes", "S-2,high,,yes",
        "sail.csv", 3, "boat", ("the cell is empty", "write - for any or none"),
    ),
    "empty output cell": (
        "sail.csv", "no,red,LAW: 3; LAW: 4", ",red,LAW: 3; LAW: 4",
        "sail.csv", 5, "→ sail", ("the cell is empty",),
    ),
    "empty note": (
        "sail.csv", "LAW: 3,secondary,-", "LAW: 3,secondary,",
        "sail.csv", 3, "note", ("the cell is empty",),
    ),
    "empty rule id": (
        "sail.csv", "S-2,", ",", "sail.csv", 3, "rule", ("the cell is empty",),
    ),
    "rule id used twice in a table": (
        "sail.csv", "S-3,", "S-1,",
        "sail.csv", 4, "rule", ("'S-1' stands in sail.csv, row 2 already", "give this rule its own"),
    ),
    "rule id used twice in the folder": (
        "sail.csv", "S-3,", "D-1,",
        "sail.csv", 4, "rule", ("'D-1' stands in danger.csv, row 2 already",),
    ),
    "unknown output value": (
        "sail.csv", "yes,white", "maybe,white",
        "sail.csv", 2, "→ sail", ("'maybe' is not known", "allowed are yes, ask, no"),
    ),
    "unknown reason": (
        "worries.csv", "fire,LAW", "flood,LAW",
        "worries.csv", 2, "→ worries", ("'flood' is not known", "fire, breakage, gale"),
    ),
    "output cell is a value, not a test": (
        "sail.csv", "yes,white", "-,white", "sail.csv", 2, "→ sail", ("'-' is not known",),
    ),
    "unknown source": (
        "sail.csv", "LAW: 3,read", "LORE: 3,read",
        "sail.csv", 2, "source", ("'LORE' is not among", "one of LAW"),
    ),
    "second source unknown": (
        "sail.csv", "LAW: 3; LAW: 4", "LAW: 3; LORE: 4",
        "sail.csv", 5, "source", ("'LORE' is not among",),
    ),
    "source without a place": (
        "sail.csv", "LAW: 3,read", "LAW,read", "sail.csv", 2, "source", ("write LAW: place",),
    ),
    "unknown standing": (
        "sail.csv", "LAW: 3,secondary", "LAW: 3,sure",
        "sail.csv", 3, "standing", ("'sure' is not a standing", "read, secondary, memory"),
    ),
    "row too short": (
        "danger.csv", "D-2,\"clear, cloudy\",>= 10,high,", "D-2,\"clear, cloudy\",>= 10,",
        "danger.csv", 3, "", ("has 6 cells where the header has 7", "double quotes"),
    ),
    "comma without quotes": (
        "danger.csv", 'D-1,"clear, cloudy"', "D-1,clear, cloudy",
        "danger.csv", 2, "", ("has 8 cells where the header has 7", "double quotes"),
    ),
    "first column": (
        "danger.csv", "rule,sky", "id,sky",
        "danger.csv", 1, "id", ("the first column must be 'rule'",),
    ),
    "last columns": (
        "danger.csv", "source,standing,note", "source,note,standing",
        "danger.csv", 1, "", ("the last columns must be source, standing, note",),
    ),
    "column twice": (
        "worries.csv", "cargo.glass", "cargo.hay",
        "worries.csv", 1, "cargo.hay", ("the column stands twice",),
    ),
    "outputs of another table": (
        "danger.csv", "→ danger", "→ sail",
        "danger.csv", 1, "", ("must be → danger", "found → sail"),
    ),
    "input after output": (
        "danger.csv", "rule,sky,wind,→ danger", "rule,sky,→ danger,wind",
        "danger.csv", 1, "", ("all input columns before the outputs",),
    ),
    "unclosed quote": (
        "danger.csv", "an unknown sky", '"an unknown sky',
        "danger.csv", 4, "", ("is not CSV",),
    ),
    "feeds itself at once": (
        "danger.csv", "rule,sky,wind", "rule,danger,wind",
        "danger.csv", 1, "", ("the table feeds itself: danger → danger", "break the circle"),
    ),
    # the manifest
    "unknown key": (
        "protocol.toml", 'edition = "1"', 'edition = "1"\nflavour = "salt"',
        "protocol.toml", 0, "flavour", ("unknown key", "allowed are id, title"),
    ),
    "missing key": (
        "protocol.toml", 'title = "Harbour rules"\n', "",
        "protocol.toml", 0, "title", ("this key is missing",),
    ),
    "empty key": (
        "protocol.toml", 'title = "Harbour rules"', 'title = ""',
        "protocol.toml", 0, "title", ("is empty",),
    ),
    "wrong type": (
        "protocol.toml", 'edition = "1"', "edition = 1",
        "protocol.toml", 0, "edition", ("must be a text in quotes; found 1",),
    ),
    "not a date": (
        "protocol.toml", "2026-01-01", '"2026-01-01"',
        "protocol.toml", 0, "in_force_from", ("write a date, for example 2026-01-01",),
    ),
    "not TOML": (
        "protocol.toml", 'id = "harbour"', "id = harbour",
        "protocol.toml", 0, "", ("is not TOML", "line 2"),
    ),
    "empty source": (
        "protocol.toml", 'LAW = "The harbour law"', 'LAW = " "',
        "protocol.toml", 0, "sources.LAW", ("a text that is not empty",),
    ),
    "unknown key of an output": (
        "protocol.toml", 'values = ["low", "high"]', 'values = ["low", "high"]\ncolour = "red"',
        "protocol.toml", 0, "outputs.danger.colour", ("unknown key", "allowed are values, label"),
    ),
    "output value twice": (
        "protocol.toml", 'values = ["low", "high"]', 'values = ["low", "high", "low"]',
        "protocol.toml", 0, "outputs.danger.values", ("lists a value twice",),
    ),
    "label of no value": (
        "protocol.toml", 'values = ["low", "high"]',
        'values = ["low", "high"]\nlabels = { none = "None" }',
        "protocol.toml", 0, "outputs.danger.labels", ("'none', which is not a value", "low, high"),
    ),
    "output named as a fact": (
        "protocol.toml", "[outputs.flag]", "[outputs.crew]",
        "protocol.toml", 0, "outputs.crew", ("is the name of a fact; choose another",),
    ),
    "output that nobody decides": (
        "protocol.toml", "[outputs.flag]", '[outputs.horn]\nvalues = ["long"]\n[outputs.flag]',
        "protocol.toml", 0, "outputs.horn", ("no table decides it",),
    ),
    "decision not declared": (
        "protocol.toml", 'decides = ["sail", "flag"]', 'decides = ["sail", "flg"]',
        "protocol.toml", 0, "tables[2].decides", ("'flg' is not declared", "[outputs.flg]"),
    ),
    "decided twice": (
        "protocol.toml", 'decides = ["sail", "flag"]', 'decides = ["sail", "danger"]',
        "protocol.toml", 0, "tables[2].decides", ("'danger' is decided by the table 'danger'",),
    ),
    "unknown hit policy": (
        "protocol.toml", '"COLLECT"', '"FIRST"',
        "protocol.toml", 0, "tables[3].hit_policy", ("'FIRST'", "write UNIQUE or COLLECT"),
    ),
    "unknown role": (
        "protocol.toml", 'role = "reasons"', 'role = "worries"',
        "protocol.toml", 0, "tables[3].role", ("reasons, actions, cautions",),
    ),
    "unknown key of a table": (
        "protocol.toml", 'role = "reasons"', 'role = "reasons"\nhit = "all"',
        "protocol.toml", 0, "tables[3].hit", ("unknown key", "allowed are id, file, hit_policy"),
    ),
    "UNIQUE decides nothing": (
        "protocol.toml", 'decides = ["danger"]\n', "",
        "protocol.toml", 0, "tables[1].decides", ("says what it decides",),
    ),
    "COLLECT decides": (
        "protocol.toml", 'role = "reasons"', 'role = "reasons"\ndecides = ["worries"]',
        "protocol.toml", 0, "tables[3].decides", ("only a UNIQUE table decides",),
    ),
    "reasons without declared values": (
        "protocol.toml", "[outputs.worries]", "[outputs.cares]",
        "protocol.toml", 0, "tables[3].id", ("declare the values", "[outputs.worries]"),
    ),
    "table id twice": (
        "protocol.toml", 'id = "sail"', 'id = "danger"',
        "protocol.toml", 0, "tables[2].id", ("'danger' is declared twice",),
    ),
    "table id in capitals": (
        "protocol.toml", 'id = "sail"', 'id = "Sail"',
        "protocol.toml", 0, "tables[2].id", ("lower-case letters",),
    ),
    "table file outside the folder": (
        "protocol.toml", 'file = "sail.csv"', 'file = "../sail.csv"',
        "protocol.toml", 0, "tables[2].file", ("the name of a CSV file in this folder",),
    ),
    "table file missing": (
        "protocol.toml", 'file = "sail.csv"', 'file = "sale.csv"',
        "sale.csv", 0, "", ("the file of this table is missing",),
    ),
    "file of no table": (
        "protocol.toml", 'file = "sail.csv"', 'file = "sale.csv"',
        "sail.csv", 0, "", ("belongs to no table",),
    ),
    "one file for two tables": (
        "protocol.toml", 'file = "sail.csv"', 'file = "danger.csv"',
        "protocol.toml", 0, "tables[2].file", ("'danger.csv' holds another table already",),
    ),
    "later decision": (
        "danger.csv", "rule,sky,wind", "rule,sail,wind",
        "danger.csv", 1, "", ("the table feeds itself", "danger → sail → danger"),
    ),
    "key that is no output": (
        "protocol.toml", 'role = "reasons"', 'role = "reasons"\nkey = "worry"',
        "protocol.toml", 0, "tables.key", ("the key of 'worries'", "output columns: worries"),
    ),
    "stopped by no action": (
        "protocol.toml", 'role = "reasons"', 'role = "reasons"\nclock_stops_with = "anchor"',
        "protocol.toml", 0, "tables[3].clock_stops_with", ("'anchor' is no action",),
    ),
    # orders
    "order of an unknown fact": (
        "protocol.toml", 'sky = ["clear"', 'skye = ["clear"',
        "protocol.toml", 0, "severity.facts.skye", ("not declared",),
    ),
    "order of an unknown value": (
        "protocol.toml", 'sky = ["clear"', 'sky = ["bright"',
        "protocol.toml", 0, "severity.facts.sky", ("'bright' is not known", "clear, cloudy"),
    ),
    "order names a value twice": (
        "protocol.toml", 'sky = ["clear", "cloudy"', 'sky = ["clear", ["cloudy", "clear"]',
        "protocol.toml", 0, "severity.facts.sky", ("lists 'clear' twice",),
    ),
    "order of a number": (
        "protocol.toml", 'sky = ["clear", "cloudy", "storm"]', 'wind = ["weak", "strong"]',
        "protocol.toml", 0, "severity.facts.wind", ("only codes can be ordered",),
    ),
    "order of a set": (
        "protocol.toml", 'sky = ["clear", "cloudy", "storm"]', 'cargo = ["hay", "glass"]',
        "protocol.toml", 0, "severity.facts.cargo", ("only codes can be ordered",),
    ),
    "order that is no list": (
        "protocol.toml", 'sky = ["clear", "cloudy", "storm"]', 'sky = "clear"',
        "protocol.toml", 0, "severity.facts.sky", ("must be a list",),
    ),
    "order of an unknown outcome": (
        "protocol.toml", 'danger = ["low", "high"]', 'danger = ["low", "dire"]',
        "protocol.toml", 0, "severity.outcomes.danger", ("'dire' is not known", "low, high"),
    ),
    "unknown kind of order": (
        "protocol.toml", "[severity.outcomes]", "[severity.results]",
        "protocol.toml", 0, "severity.results", ("unknown key; allowed are facts, outcomes",),
    ),
    # impossible situations
    "impossible over an unknown fact": (
        "protocol.toml", '{ boat = "dinghy"', '{ bot = "dinghy"',
        "protocol.toml", 0, "impossible[1].when.bot", ("is not a fact", "did you mean 'boat'?"),
    ),
    "impossible over an unknown value": (
        "protocol.toml", '{ boat = "dinghy"', '{ boat = "raft"',
        "protocol.toml", 0, "impossible[1].when.boat", ("'raft' is not known", "dinghy, ship"),
    ),
    "impossible over a set": (
        "protocol.toml", '{ boat = "dinghy"', '{ cargo = "hay"',
        "protocol.toml", 0, "impossible[1].when.cargo", ("is a set", "cargo.hay"),
    ),
    "impossible without a reason": (
        "protocol.toml", 'because = "a dinghy has no crew"', "",
        "protocol.toml", 0, "impossible[1].because", ("this key is missing",),
    ),
    "giving way by a fact that is not concerned": (
        "protocol.toml", 'because = "a dinghy has no crew"',
        'because = "a dinghy has no crew"\ngives_way = "sky"',
        "protocol.toml", 0, "impossible[1].gives_way", ("'sky' is not among", "boat, crew"),
    ),
    "beside a decision that is none": (
        "protocol.toml", "[outputs.flag]", '[outputs.flag]\nbeside = "sky"',
        "protocol.toml", 0, "outputs.flag.beside", ("'sky' is no other decision",),
    ),
    "beside itself": (
        "protocol.toml", "[outputs.flag]", '[outputs.flag]\nbeside = "flag"',
        "protocol.toml", 0, "outputs.flag.beside", ("'flag' is no other decision",),
    ),
    "an inner decision that is neither true nor false": (
        "protocol.toml", "[outputs.flag]", '[outputs.flag]\ninner = "yes"',
        "protocol.toml", 0, "outputs.flag.inner", ("true or false",),
    ),
    "impossible written as one table": (
        "protocol.toml", "[[impossible]]", "[impossible]",
        "protocol.toml", 0, "impossible", ("[[impossible]]",),
    ),
    "impossible with a cell that is no text": (
        "protocol.toml", '{ boat = "dinghy"', "{ wind = 5",
        "protocol.toml", 0, "impossible[1].when.wind", ("must be a text in quotes; found 5",),
    ),
    # cases
    "case with an unknown fact": (
        "cases.toml", "facts = { wind = 3 }", "facts = { wnd = 3 }",
        "cases.toml", 0, "case 'sky not looked at, calm'.facts", ("'wnd' is not a fact", "'wind'"),
    ),
    "case with an unknown value": (
        "cases.toml", 'sky = "clear"', 'sky = "blue"',
        "cases.toml", 0, "case 'a fine day'.facts", ("found 'blue'", "clear, cloudy"),
    ),
    "case with a number out of range": (
        "cases.toml", "facts = { wind = 3 }", "facts = { wind = 101 }",
        "cases.toml", 0, "case 'sky not looked at, calm'.facts", ("between 0 and 100", "101"),
    ),
    "case with an unknown decision": (
        "cases.toml", "expect = { danger =", "expect = { dangr =",
        "cases.toml", 0, "case 'a fine day'.expect", ("'dangr' is not decided here", "danger"),
    ),
    "case with an outcome that cannot be": (
        "cases.toml", 'expect = { danger = "low"', 'expect = { danger = "mild"',
        "cases.toml", 0, "case 'a fine day'.expect.danger", ("'mild' is not known", "low, high"),
    ),
    "case with a set of outcomes that cannot be": (
        "cases.toml", 'possible = { danger = ["low", "high"]', 'possible = { danger = ["low", "x"]',
        "cases.toml", 0, "case 'sky not looked at, calm'.possible.danger", ("'x' is not known",),
    ),
    "case that excludes what cannot be": (
        "cases.toml", '["gale"]', '["flood"]',
        "cases.toml", 0, "case 'sky not looked at, calm'.excludes.worries", ("'flood' is not known",),
    ),
    "case name twice": (
        "cases.toml", '"sky not looked at, calm"', '"a fine day"',
        "cases.toml", 0, "case 'a fine day'", ("two cases have this name",),
    ),
    "case with an unknown key": (
        "cases.toml", "excludes =", "without =",
        "cases.toml", 0, "case[2].without", ("unknown key", "excludes"),
    ),
    "case without a source": (
        "cases.toml", 'source = "own"\n', "",
        "cases.toml", 0, "case[1].source", ("this key is missing",),
    ),
    "case with facts that are no table": (
        "cases.toml", "facts = { wind = 3 }", 'facts = ["wind"]',
        "cases.toml", 0, "case 'sky not looked at, calm'.facts", ("a table of keys and values",),
    ),
}  # fmt: skip


@pytest.mark.parametrize("planted", list(PLANTED.values()), ids=list(PLANTED))
def test_a_planted_fault_is_refused_where_it_stands(
    tmp_path: Path, planted: tuple[str, str, str, str, int, str, tuple[str, ...]]
) -> None:
    changed, old, new, file, row, column, words = planted
    found = faults_of(tmp_path, {changed: swap(FILES[changed], old, new)})
    here = [f for f in found if (f.file, f.row, f.column) == (file, row, column)]
    assert here, found
    assert any(all(word in fault.message for word in words) for fault in here), found


ACTION_FAULTS: dict[str, tuple[str, str, int, str, tuple[str, ...]]] = {
    "unknown kind": ("Eat.,review", "Eat.,meal", 3, "→ kind", ("'meal'", "first_aid, sample")),
    "unknown person": ("review,worker,rest", "review,captain,rest", 3, "→ for", ("worker, source",)),
    "not a duration": ("P2W", "2 weeks", 3, "→ target", ("'2 weeks' is not a duration", "P6W")),
    "fraction of an hour": ("PT72H", "PT1.5H", 2, "→ latest", ("is not a duration",)),
    "counted from nothing known": (
        "worker,rest,", "worker,sleep,", 3, "→ counted_from",
        ("'sleep' is no action", "exposure or one of eat, rest"),
    ),
    "columns out of order": (
        "→ kind,→ for", "→ for,→ kind", 1, "", ("must be → action, → what, → kind, → for",),
    ),
}  # fmt: skip


@pytest.mark.parametrize("planted", list(ACTION_FAULTS.values()), ids=list(ACTION_FAULTS))
def test_faults_of_action_tables(
    tmp_path: Path, planted: tuple[str, str, int, str, tuple[str, ...]]
) -> None:
    old, new, row, column, words = planted
    found = faults_of(tmp_path, {**WITH_ACTIONS, "chores.csv": swap(ACTIONS, old, new)})
    here = [f for f in found if (f.file, f.row, f.column) == ("chores.csv", row, column)]
    assert any(all(word in fault.message for word in words) for fault in here), found


def chores_that_wait(cell: str) -> dict[str, str]:
    table = ACTIONS.replace("→ latest,", "→ latest,→ not_before,")
    table = table.replace("-,PT72H,", "-,PT72H,-,").replace("P2W,P4M,", f"P2W,P4M,{cell},")
    return {**WITH_ACTIONS, "chores.csv": table}


@pytest.mark.parametrize("cell", ["-", "rest P1D"])
def test_a_window_may_wait_for_an_action_of_the_protocol(tmp_path: Path, cell: str) -> None:
    read = load_protocol(write(tmp_path, chores_that_wait(cell)), WEATHER)
    assert read.table("chores").rules[1].outputs["not_before"] == cell


@pytest.mark.parametrize("cell", ["sleep P1D", "rest soon", "rest"])
def test_what_a_window_waits_for_is_an_action_and_a_duration(tmp_path: Path, cell: str) -> None:
    (fault,) = faults_of(tmp_path, chores_that_wait(cell))
    assert (fault.file, fault.row, fault.column) == ("chores.csv", 3, "→ not_before")
    assert f"{cell!r} is not understood; write an action" in fault.message


@pytest.mark.parametrize("name", ["protocol.toml", "cases.toml", "danger.csv"])
def test_a_missing_file(tmp_path: Path, name: str) -> None:
    (fault,) = (f for f in faults_of(tmp_path, {name: ""}) if f.file == name)
    assert "missing" in fault.message


def test_a_missing_folder(tmp_path: Path) -> None:
    for folder in (tmp_path / "nowhere", write(tmp_path) / "danger.csv"):
        with pytest.raises(ProtocolFaults, match=r"protocol.toml: the file is missing"):
            load_protocol(folder, WEATHER)


@pytest.mark.parametrize("name", ["danger.csv", "protocol.toml", "cases.toml"])
def test_a_file_that_is_not_utf_8(tmp_path: Path, name: str) -> None:
    write(tmp_path)
    (tmp_path / name).write_bytes(FILES[name].encode() + b"\xff")
    with pytest.raises(ProtocolFaults, match=f"{name}: is not UTF-8 at byte"):
        load_protocol(tmp_path, WEATHER)


@pytest.mark.parametrize(
    ("text", "words"), [("\n\n", "is empty"), (DANGER.partition("\n")[0] + "\n", "has no rule")]
)
def test_a_table_without_rules(tmp_path: Path, text: str, words: str) -> None:
    faults = faults_of(tmp_path, {"danger.csv": text})
    assert any(f.file == "danger.csv" and words in f.message for f in faults)


def test_a_table_that_stands_before_its_feeder(tmp_path: Path) -> None:
    first, rest = MANIFEST.split("[[tables]]", 1)
    danger, sail, others = rest.split("[[tables]]", 2)
    manifest = "[[tables]]".join([first, sail, danger, others])
    (fault,) = faults_of(tmp_path, {"protocol.toml": manifest})
    assert (fault.file, fault.row, fault.column) == ("sail.csv", 1, "danger")
    assert "move 'danger' before 'sail'" in fault.message


def test_a_circle_of_two_is_told_at_both(tmp_path: Path) -> None:
    danger = swap(swap(DANGER, "rule,sky", "rule,sail"), '"storm, unknown"', "no")
    danger = danger.replace('"clear, cloudy"', "yes")
    faults = faults_of(tmp_path, {"danger.csv": danger})
    assert {f.file for f in faults if "feeds itself" in f.message} == {"danger.csv", "sail.csv"}


def test_rows_are_counted_as_an_editor_counts_lines(tmp_path: Path) -> None:
    """A note over two lines, an empty line and a byte-order mark move nothing."""
    text = DANGER.replace("LAW: 1,read,-", 'LAW: 1,read,"one\ntwo"', 1)
    lines = text.split("\n")
    text = "\n".join([*lines[:3], "", *lines[3:]]).replace(">= 10", "=> 10")
    write(tmp_path)
    (tmp_path / "danger.csv").write_bytes(("\ufeff" + text).replace("\n", "\r\n").encode())
    with pytest.raises(ProtocolFaults) as refused:
        load_protocol(tmp_path, WEATHER)
    (fault,) = refused.value.faults
    assert (fault.file, fault.row, fault.column) == ("danger.csv", 5, "wind")


def test_all_faults_are_told_at_once_in_order(tmp_path: Path) -> None:
    faults = faults_of(
        tmp_path,
        {
            "protocol.toml": swap(MANIFEST, 'edition = "1"', 'edition = "1"\nflavour = "salt"'),
            "danger.csv": swap(
                swap(DANGER, "< 10 m/s", "< 10 kn"), "LAW: 2,memory", "LORE: 2,guess"
            ),
            "sail.csv": swap(swap(SAIL, "S-1,low", "S-1,mild"), "S-3,", "S-1,"),
            "worries.csv": swap(WORRIES, "cargo.hay", "cargo.straw"),
            "cases.toml": swap(CASES, "facts = { wind = 3 }", "facts = { wind = -1 }"),
        },
    )
    assert [(f.file, f.row, f.column) for f in faults] == [
        ("cases.toml", 0, "case 'sky not looked at, calm'.facts"),
        ("danger.csv", 2, "wind"),
        ("danger.csv", 4, "source"),
        ("danger.csv", 4, "standing"),
        ("protocol.toml", 0, "flavour"),
        ("sail.csv", 2, "danger"),
        ("sail.csv", 4, "rule"),
        ("worries.csv", 1, "cargo.straw"),
    ]


def test_a_fault_reads_as_a_sentence_with_its_place(tmp_path: Path) -> None:
    (fault,) = faults_of(tmp_path, {"danger.csv": swap(DANGER, "< 10 m/s", "< 10 kn")})
    assert str(fault) == (
        "danger.csv, row 2, column 'wind': 'kn' in '< 10 kn' is not understood; the unit is m/s"
    )


def test_the_digest_follows_the_content_not_the_line_ends(tmp_path: Path) -> None:
    plain = tmp_path / "plain"
    other = tmp_path / "other"
    plain.mkdir()
    other.mkdir()
    first = harbour(plain).digest
    write(other)
    for path in other.iterdir():
        path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    assert load_protocol(other, WEATHER).digest == first
    assert harbour(plain, {"danger.csv": swap(DANGER, "LAW: 2", "LAW: 3")}).digest != first


# -- amounts of doses -----------------------------------------------------------------------------

AMOUNTS = """[[amounts]]
actions = ["eat"]
amount = "danger"
per = "sail"
unit = "flag"
weight = "wind"
route = "by spoon"
"""
DOSED = ACTIONS.replace("Eat.,review", "Eat.,dose")


def dosed(amounts: str = AMOUNTS) -> dict[str, str]:
    """The harbour with chores, of which one is a dose with an amount."""
    manifest = WITH_ACTIONS["protocol.toml"].replace(
        "[severity.facts]", amounts + "[severity.facts]"
    )
    return {"protocol.toml": manifest, "chores.csv": DOSED}


def test_amounts_are_read(tmp_path: Path) -> None:
    protocol = harbour(tmp_path, dosed())

    (amount,) = protocol.amounts
    assert (amount.actions, amount.weight, amount.route) == (("eat",), "wind", "by spoon")
    assert protocol.amount_parts == {"danger", "sail", "flag"}


@pytest.mark.parametrize(
    ("old", "new", "column", "words"),
    [
        ('"eat"', '"rest"', "amounts[1].actions", ("'rest' is no dose", "doses are eat")),
        ('"eat"', '"sleep"', "amounts[1].actions", ("'sleep' is no dose",)),
        ('"danger"', '"dangr"', "amounts[1].amount", ("'dangr' is not decided here", "danger")),
        ('"sail"', '"wind"', "amounts[1].per", ("'wind' is not decided here",)),
        ('unit = "flag"\n', "", "amounts[1].unit", ("this key is missing",)),
        ('"wind"', '"sky"', "amounts[1].weight", ("'sky' is no fact that is a number",)),
        ('"wind"', '"wnd"', "amounts[1].weight", ("did you mean 'wind'?",)),
        ("route", "root", "amounts[1].root", ("route",)),
        ('["eat"]', '"eat"', "amounts[1].actions", ("must be a list of texts",)),
    ],
)
def test_a_fault_in_an_amount_is_told_with_its_place(
    tmp_path: Path, old: str, new: str, column: str, words: tuple[str, ...]
) -> None:
    (fault,) = faults_of(tmp_path, dosed(swap(AMOUNTS, old, new)))

    assert (fault.file, fault.column) == ("protocol.toml", column)
    assert all(word in str(fault) for word in words), str(fault)


def test_a_dose_has_one_amount(tmp_path: Path) -> None:
    (fault,) = faults_of(tmp_path, dosed(AMOUNTS + AMOUNTS))

    assert (fault.column, "has an amount already" in str(fault)) == ("amounts[2].actions", True)


# -- named actions --------------------------------------------------------------------------------


def named(body: str) -> dict[str, str]:
    """The harbour with chores, some of which have a name that programs know."""
    changed = dosed("")
    manifest = changed["protocol.toml"].replace(
        "[severity.facts]", f"[named_actions]\n{body}\n[severity.facts]"
    )
    return {**changed, "protocol.toml": manifest}


def test_named_actions_are_read(tmp_path: Path) -> None:
    assert harbour(tmp_path, named('meals = ["eat"]')).named_actions == {"meals": ("eat",)}


@pytest.mark.parametrize(
    ("body", "words"),
    [('meals = ["drink"]', "'drink' is no action"), ('meals = "eat"', "must be a list of texts")],
)
def test_a_fault_in_a_named_action_is_told(tmp_path: Path, body: str, words: str) -> None:
    (fault,) = faults_of(tmp_path, named(body))

    assert (fault.column, words in str(fault)) == ("named_actions.meals", True)
