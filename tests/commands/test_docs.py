"""What `docs/assess.md` and `docs/deployment.md` show is so."""

from __future__ import annotations

import re
import tomllib
from dataclasses import fields
from pathlib import Path
from typing import Any

import pytest

from commands.running import assess, plan, run
from thimble.clinical.site import Site, SiteError, parse_site

DOCS = Path(__file__).parents[2] / "docs"


def blocks(name: str, language: str) -> list[str]:
    text = (DOCS / name).read_text(encoding="utf-8")
    return re.findall(rf"```{language}\n(.*?)```", text, flags=re.S)


def keys_of_table(name: str, head: str) -> set[str]:
    """The names in the first column of the table that starts with this head."""
    text = (DOCS / name).read_text(encoding="utf-8")
    table = text[text.index(head) :].split("\n\n")[0]
    return {
        key for row in table.splitlines()[2:] for key in re.findall(r"`([^`]+)`", row.split("|")[1])
    }


def test_the_situation_in_the_documentation_is_understood() -> None:
    (example,) = blocks("assess.md", "toml")

    assert assess(example, "--as-of", "2026-03-02T04:00:00+01:00").status == 0


def test_the_keys_in_the_documentation_are_those_of_the_object() -> None:
    (example,) = blocks("assess.md", "toml")
    told = plan(example, "--as-of", "2026-03-02T04:00:00+01:00")
    action: dict[str, Any] = (told["actions"] + told["actions_that_may_follow"])[0]

    assert keys_of_table("assess.md", "| key | holds |") == set(told)
    assert keys_of_table("assess.md", "| key of an action |") == set(action)


def test_the_settings_in_the_documentation_are_whole_and_understood() -> None:
    example = "\n".join(blocks("deployment.md", "toml"))
    settings = tomllib.loads(example)
    site = parse_site(settings)

    assert set(settings) == {field.name for field in fields(Site)} - {"stocked"} | {
        "stock_places",
        "stock_products",
    }
    assert str(site.zone) == "Europe/Zurich"


@pytest.mark.parametrize("key", ["holidays_subdivision", "closed_days", "consent_wording"])
def test_what_may_be_left_out_may(key: str) -> None:
    example = "\n".join(blocks("deployment.md", "toml"))
    settings = tomllib.loads(example)
    del settings[key]

    assert parse_site(settings)


@pytest.mark.parametrize("key", ["name", "zone", "protocol", "expert_phone", "invented"])
def test_what_is_needed_is_needed(key: str) -> None:
    example = "\n".join(blocks("deployment.md", "toml"))
    settings = tomllib.loads(example)
    del settings[key]

    with pytest.raises(SiteError, match=key):
        parse_site(settings)


COMMANDS_OF_TWO_WORDS = ("account", "certificate", "ledger", "protocol", "source-identities")


@pytest.mark.parametrize(
    "page", [DOCS.parent / "README.md", *sorted(DOCS.glob("*.md"))], ids=lambda page: page.name
)
def test_every_command_in_the_documentation_exists(page: Path) -> None:
    typed = re.findall(
        r"(?:^|`)(?:[\w./$()]*/)?thimble ([a-z][a-z-]*)(?: ([a-z][a-z-]*)\b(?!\.))?",
        page.read_text(encoding="utf-8"),
        re.MULTILINE,
    )
    for first, second in typed:
        known = [first, second] if first in COMMANDS_OF_TWO_WORDS and second else [first]
        assert run(*known, "--help").status == 0, known


def test_the_documentation_shows_every_command() -> None:
    pages = [
        *DOCS.glob("*.md"),
        DOCS.parent / "README.md",
        DOCS.parent / "src/thimble/demo/README.md",
    ]
    told = "".join(page.read_text(encoding="utf-8") for page in pages)
    names = re.findall(r"^    ([a-z-]+)(?: |$)", run("--help").out, re.MULTILINE)
    assert "assess" in names
    assert [name for name in names if f"thimble {name}" not in told] == []
