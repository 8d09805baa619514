"""Small protocols that know no medicine, written to a folder for a test."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from thimble.protocol import Fact, Protocol, Vocabulary, load_protocol

WEATHER = Vocabulary(
    {
        fact.id: fact
        for fact in (
            Fact("sky", "code", "How is the sky?", ("clear", "cloudy", "storm", "unknown")),
            Fact("wind", "number", "How strong is the wind?", unit="m/s", low=0, high=100),
            Fact("boat", "code", "Which boat?", ("dinghy", "ship")),
            Fact("cargo", "set", "What is on board?", ("hay", "glass", "coal")),
            Fact("crew", "code", "Is there a crew?", ("yes", "no")),
        )
    }
)

MANIFEST = """
id = "harbour"
title = "Harbour rules"
jurisdiction = "Nowhere"
edition = "1"
in_force_from = 2026-01-01

[sources]
LAW = "The harbour law"

[outputs.danger]
values = ["low", "high"]
[outputs.sail]
values = ["yes", "ask", "no"]
[outputs.flag]
values = ["white", "red"]
[outputs.worries]
values = ["fire", "breakage", "gale"]

[[tables]]
id = "danger"
file = "danger.csv"
hit_policy = "UNIQUE"
question = "Is it dangerous out there?"
decides = ["danger"]

[[tables]]
id = "sail"
file = "sail.csv"
hit_policy = "UNIQUE"
question = "May she sail?"
decides = ["sail", "flag"]

[[tables]]
id = "worries"
file = "worries.csv"
hit_policy = "COLLECT"
role = "reasons"
question = "What to worry about?"

[severity.facts]
sky = ["clear", "cloudy", "storm"]
[severity.outcomes]
danger = ["low", "high"]

[[impossible]]
when = { boat = "dinghy", crew = "yes" }
because = "a dinghy has no crew"
"""

FILES = {
    "protocol.toml": MANIFEST,
    "danger.csv": """rule,sky,wind,→ danger,source,standing,note
D-1,"clear, cloudy",< 10 m/s,low,LAW: 1,read,-
D-2,"clear, cloudy",>= 10,high,LAW: 1,read,-
D-3,"storm, unknown",-,high,LAW: 2,memory,an unknown sky is never read as clear
""",
    "sail.csv": """rule,danger,boat,crew,→ sail,→ flag,source,standing,note
S-1,low,-,-,yes,white,LAW: 3,read,-
S-2,high,ship,yes,ask,red,LAW: 3,secondary,-
S-3,high,ship,no,no,red,LAW: 3,read,-
S-4,high,dinghy,-,no,red,LAW: 3; LAW: 4,read,-
""",
    "worries.csv": """rule,danger,cargo.hay,cargo.glass,wind,→ worries,source,standing,note
W-1,-,yes,-,-,fire,LAW: 5,read,-
W-2,high,-,yes,-,breakage,LAW: 5,read,-
W-3,-,-,yes,> 20,breakage,LAW: 5,read,-
W-4,-,-,-,(20..100],gale,LAW: 6,read,-
""",
    "cases.toml": """
[[case]]
name = "a fine day"
source = "own"
facts = { sky = "clear", wind = 3, boat = "dinghy", crew = "no", cargo = ["hay"] }
expect = { danger = "low", sail = "yes", flag = "white", worries = ["fire"] }

[[case]]
name = "sky not looked at, calm"
source = "own"
facts = { wind = 3 }
possible = { danger = ["low", "high"], sail = ["yes", "ask", "no"] }
excludes = { worries = ["gale"] }
""",
}


def write(folder: Path, changed: Mapping[str, str] | None = None) -> Path:
    """The harbour protocol in `folder`, with some files changed ("" leaves a file out)."""
    for name, text in {**FILES, **(changed or {})}.items():
        if text:
            (folder / name).write_text(text, encoding="utf-8")
    return folder


def harbour(folder: Path, changed: Mapping[str, str] | None = None) -> Protocol:
    return load_protocol(write(folder, changed), WEATHER)
