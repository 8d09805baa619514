"""Everybody can use every page: axe finds nothing, the keyboard reaches everything, no script is needed."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from itertools import product
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from browser.conftest import DESKTOP, NIGHT, PHONE, Hospital, Opens
from thimble.exchange.inbox import Inbox
from thimble.exchange.receiving import Receiver
from thimble.web.report.choices import CHOICES
from thimble.web.roles import Role
from thimble.web.screens import modules

CASES = ("just-now", "needle-in-a-bin", "source-turned-negative", "closed-all-clear")
"""Nothing answered; left to an expert; signed and changed; closed."""
PUBLIC = "the exposed worker"
SIGN_IN = {
    Role.EMERGENCY_CLINICIAN: "night",
    Role.OCCUPATIONAL_NURSE: "nurse",
    Role.OCCUPATIONAL_PHYSICIAN: "physician",
    Role.SAFETY_OFFICER: "safety",
    Role.ADMINISTRATOR: "admin",
}
NOT_PAGES = {
    "source:call",
    "source:settle",
    "source:chart",
    # Answered with a file, a plain text or a step onwards.
    "accounts:home",
    "accounts:sign_out",
    "report:alive",
    "calendars:feed",
    "calendars:download",
    "certificates:public_keys",
    # Looked at once one is issued.
    "certificates:withdraw",
    "certificates:confirm",
    "certificates:many",
    "certificates:print_many",
    "people:scan",
    "cohort:demand",
    "cohort:file",
    "cohort:resume",
    "cohort:forget",
    "cohort:handed",
    "people_import:export_csv",
    "people_import:export_xlsx",
    "people_import:evidence_csv",
    "people_import:evidence_xlsx",
    "rechecks:export_csv",
    "rechecks:export_xlsx",
    # Shown only after a list was sent: looked at below.
    "people_import:look",
    "people_import:undo",
    "people_import:refused",
    # Only ever posted to; the browser then shows one of the pages below.
    "desk:answer",
    "desk:done",
    "desk:seen",
    "desk:note",
    "desk:reopen",
    "source:step",
    "source:result",
    "source:take_back",
    "visits:agree",
    "visits:earlier_doses",
    "visits:missed",
    "visits:contact",
    "visits:decide",
    "mailing:send",
    "linked:answer",
    "linked:open",
    "support:offered",
    "calendars:make",
    "calendars:end",
    "fitness:make_link",
    "fitness:end_link",
    # Opened by a secret: looked at where it is made.
    "fitness:manager",
    "own_page:open",
    "own_page:birth_date",
    "own_page:own",
    "own_page:leave",
    "own_page:make",
    "own_page:bring",
    "own_page:scan",
    "own_page:withdraw",
    "own_page:book",
    "own_page:cancel",
    "own_page:calendar",
    "clinic:cancel",
    "clinic:scan",
    "clinic:labels",
    "clinic:name_code",
    "clinic:undo",
    "clinic:call_off",
    "people:look_at",
    "own_page:end",
    "results:enter",
    "laboratory:assign",
    "laboratory:place",
    "laboratory:hold_again",
    "laboratory:seen",
    "laboratory:settle",
    "people:verify",
    "people:attach",
    "on_record:take",
    "on_record:aside",
    "people_import:columns",
    "people_import:decide",
    "people_import:write",
    "people_import:drop",
}
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
ALL_RULES = {"type": "tag", "values": TAGS}
CONTRAST = {"type": "rule", "values": ["color-contrast"]}
OWN = {
    Role.EMERGENCY_CLINICIAN: {"desk:case", "desk:sign"},
    Role.OCCUPATIONAL_NURSE: {"desk:case", "worklist:worklist"},
    Role.SAFETY_OFFICER: {"safety:overview", "rules:protocol"},
}
"""Pages that differ by role. The physician and the administrator together may open all others."""


@dataclass(frozen=True)
class Screen:
    """One named page of the site."""

    name: str
    path: str

    @property
    def is_document(self) -> bool:
        return self.path.endswith(".pdf")


def screens(hospital: Hospital) -> Iterator[Screen]:
    """Every path of the project, with each kind of value that it takes."""
    for module in modules():
        for pattern in module.urlpatterns:
            name = f"{module.app_name}:{pattern.name}"
            path = "/" + module.PREFIX + str(pattern.pattern)
            taken = re.findall(r"<\w+:(\w+)>", path)
            for values in _values(name, taken, hospital):
                filled = path
                for value in values:
                    filled = re.sub(r"<\w+:\w+>", value, filled, count=1)
                yield Screen(name, filled)


def _a_message(folder: Path) -> str:
    """The number of a laboratory message that waits; one that came before comes again."""
    raw = (
        b"MSH|^~\\&|LAB|INVENTED|THIMBLE|HOSP|20260303010000||ORU^R01^ORU_R01|M1|P|2.5.1\r"
        b"PID|1||M-1^^^INVENTED^MR||Invented^Vera||19700102|F\r"
        b"OBR|1|R-1|F-9|24110-9^panel^LN|||||||||||||||||||||F\r"
        b"OBX|1|CE|5195-3^HBsAg^LN||260385009^Negative^SCT||||||F\r"
    )
    with Inbox(folder) as inbox:
        Receiver(inbox, control_id=lambda: "A").take(raw, NIGHT, "")
        return str(next(inbox.unprocessed()).id)


def _a_run_of_letters(folder: Path) -> str:
    """Letters of which one failed, one waits and nobody is at work."""
    person, at = _a_person(folder), NIGHT.isoformat(" ")
    with closing(sqlite3.connect(folder / "thimble.sqlite3")) as database, database:
        database.execute(
            'INSERT OR IGNORE INTO web_letterrun (id, about, cohort, said, "by", role, at, file, in_file, '
            "fault) VALUES ('l1', 'missing', '', '{}', 'u-1', 'occupational_nurse', ?, '', 0, '')",
            [at],
        )
        for who, state, reason in (
            (person, "failed", "The name was erased"),
            ("P-0", "waiting", ""),
        ):
            database.execute(
                "INSERT OR IGNORE INTO web_letterto (run_id, person, how, state, reason, letter) "
                "VALUES ('l1', ?, 'paper', ?, ?, '')",
                [who, state, reason],
            )
    return "l1"


def _a_person(folder: Path) -> str:
    """The reference of the person of the register with the most entries, who has evidence of every sort."""
    with closing(sqlite3.connect(folder / "thimble.sqlite3")) as database:
        first = database.execute(
            'SELECT "case" FROM web_personentry GROUP BY "case" ORDER BY COUNT(*) DESC, MIN(number)'
        ).fetchone()
    return str(first[0])


def _values(name: str, taken: list[str], hospital: Hospital) -> list[tuple[str, ...]]:
    if not taken:
        return [()]
    cases = [hospital.cases[story] for story in CASES]
    if taken == ["ref"]:
        return [(case,) for case in (cases if name == "desk:case" else cases[2:3])]
    if taken == ["ref", "subject"]:
        return [(cases[1], "hiv_pep")]
    if taken == ["ref", "position"]:
        return [(cases[1], "1")]
    if taken == ["slug"]:
        return [(choice.slug,) for choice in CHOICES[:2]]
    if taken == ["secret"]:
        return [("unknown",)]
    if taken == ["table"]:
        return [("hiv_pep",)]
    if taken == ["account_id"]:
        return [("ACCOUNT",)]
    if taken[:1] == ["person"]:
        person = _a_person(hospital.folder)
        rest = {
            "number": ["C-K7QM-2F49"],
            "what": ["result", "declined"],
            "entry": ["2"],
            "booking": ["1"],
        }
        return [(person, *more) for more in product(*(rest[name] for name in taken[1:]))]
    if taken == ["run"]:
        return [(_a_run_of_letters(hospital.folder),)]
    if taken == ["import_id"]:
        return [("i0",)]
    if taken[:1] in (["session"], ["booking"], ["entry"]):
        return [("1",) * len(taken)]
    if taken == ["number"]:
        return [(_a_message(hospital.folder),)]
    pytest.fail(f"{name} takes {taken}: say here with which values it is to be looked at")


FINISH = """document.getAnimations().forEach(each => {
    if (each.effect.getComputedTiming().endTime === Infinity) each.cancel(); else each.finish();
})"""


def look(page: Page, screen: Screen) -> list[str]:
    """What is wrong with the page: axe's findings, light and dark, and what does not fit its width."""
    found: list[str] = []
    # The dark page differs from the light one in its colours alone.
    for scheme, rules in (("light", ALL_RULES), ("dark", CONTRAST)):
        page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
        # A colour on its way from light to dark is neither. Nothing waits for it: what a closed
        # disclosure holds is not drawn, and its colours would stay on their way for ever.
        page.evaluate(FINISH)
        found += [
            f"{screen.name} ({page.url}), {scheme}: {v['id']}: {v['help']}: "
            + "; ".join(str(node["target"]) for node in v["nodes"][:3])
            for v in Axe().run(page, options={"runOnly": rules}).response["violations"]
        ]
    wide = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
    if wide > 0:
        found.append(f"{screen.name} ({page.url}): scrolls sideways by {wide} px")
    return found


@pytest.mark.parametrize("width", [PHONE, DESKTOP], ids=["phone", "desk"])
@pytest.mark.parametrize("who", [PUBLIC, *Role], ids=str)
def test_axe_finds_no_violation_on_any_page(
    hospital: Hospital, opens: Opens, who: str, width: dict[str, int]
) -> None:
    """Each page that this person may open, light and dark."""
    page = opens("/", sign_in="" if who == PUBLIC else SIGN_IN[Role(who)], viewport=width)
    mine = {str(role): pages for role, pages in OWN.items()}.get(who, set())
    found: list[str] = []
    seen: set[str] = set()
    for screen in screens(hospital):
        if screen.name in NOT_PAGES or screen.is_document:
            continue
        if mine and (screen.name not in mine or screen.name in seen):
            continue
        path = screen.path
        if path.endswith("/ACCOUNT"):
            links = page.request.get(f"{hospital.address}/administration/accounts").text()
            match = re.search(r"/administration/accounts/(u-\w+)", links)
            if match is None:
                continue
            path = match[0]
        answer = page.request.get(hospital.address + path, max_redirects=0)
        if answer.status != 200:
            # Refused to this role, or a step onwards: its page is looked at by who may open it.
            assert answer.status in {302, 403, 404}, (path, answer.status)
            continue
        page.goto(path)
        seen.add(screen.name)
        found += look(page, screen)
    assert found == []
    assert len(seen) >= 2


def test_every_page_is_opened_by_somebody(hospital: Hospital, opens: Opens) -> None:
    """No page hides from the test above because its path was guessed wrong."""
    left = {s.name for s in screens(hospital) if s.name not in NOT_PAGES and not s.is_document}
    for who in (PUBLIC, *Role):
        page = opens("/", sign_in="" if who == PUBLIC else SIGN_IN[Role(who)])
        for screen in screens(hospital):
            if screen.name in left and "ACCOUNT" not in screen.path:
                answer = page.request.get(hospital.address + screen.path, max_redirects=0)
                if answer.status == 200:
                    left.discard(screen.name)
    # Shown only after a report was sent, and by an account's id: looked at below.
    assert left <= {"report:reported", "administration:account"}


@pytest.mark.parametrize("width", [PHONE, DESKTOP], ids=["phone", "desk"])
def test_axe_finds_no_violation_on_what_only_follows_an_action(
    hospital: Hospital, opens: Opens, width: dict[str, int]
) -> None:
    found: list[str] = []

    def both(page: Page, name: str) -> None:
        found.extend(look(page, Screen(name, "")))

    page = opens("/now/needle-or-sharp", viewport=width)
    page.get_by_role("button", name="Send the report").click()
    expect(page.get_by_role("alert").first).to_be_visible()
    both(page, "a report with errors")
    page.get_by_label("Just now").check()
    page.get_by_label("What was it?").select_option("blood")
    page.get_by_role("button", name="Send the report").click()
    page.wait_for_url("**/reported")
    both(page, "reported")
    reference = page.locator(".reference").inner_text().strip()
    page.goto("/nowhere")
    both(page, "not found")
    desk = opens(f"/case/{reference}/", sign_in="physician", viewport=width)
    desk.locator('form.ask--big button[name=value][value="positive"]').click()
    desk.locator("#recorded").wait_for()
    both(desk, "an answer recorded")
    for details in desk.locator("details").all():
        details.evaluate("e => { e.open = true; }")
    both(desk, "everything opened")
    assert found == []


@pytest.fixture(autouse=True)
def _missing_pages_are_foreseen(watch: object) -> None:
    watch.expected.append("404")  # type: ignore[attr-defined]
    watch.expected.append("422")  # type: ignore[attr-defined]


def _tab_to(page: Page, wanted: str, most: int = 80) -> None:
    """Press Tab until the wanted element has the focus; it must be seen to have it."""
    for _ in range(most):
        page.keyboard.press("Tab")
        if page.evaluate("w => document.activeElement?.matches(w) ?? false", wanted):
            outline = page.evaluate(
                "(() => { const e = document.activeElement, s = getComputedStyle(e);"
                " const n = e.type === 'radio' ? getComputedStyle(e.closest('label') ?? e) : s;"
                " return s.outlineStyle !== 'none' || n.outlineStyle !== 'none'"
                " || s.boxShadow !== 'none' || n.boxShadow !== 'none'; })()"
            )
            assert outline, f"{wanted} has the focus and does not show it"
            return
    pytest.fail(f"the keyboard does not reach {wanted}")


def test_a_report_and_the_first_answer_by_keyboard_alone(hospital: Hospital, opens: Opens) -> None:
    page = opens("/")
    page.keyboard.press("Tab")
    expect(page.locator(":focus")).to_have_attribute("href", "#main")
    _tab_to(page, "ul.doors a")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="First aid, now")).to_be_visible()
    _tab_to(page, "input[name=when]")
    page.keyboard.press("Space")
    expect(page.locator("input[name=when]:checked")).to_have_count(1)
    _tab_to(page, "select[name=fluid]")
    page.keyboard.type("Blood")
    _tab_to(page, "form.form button.button")
    page.keyboard.press("Enter")
    page.wait_for_url("**/reported")
    reference = page.locator(".reference").inner_text().strip()

    desk = opens(f"/case/{reference}/", sign_in="night")
    _tab_to(desk, "form.ask--big button[name=value]")
    desk.keyboard.press("Enter")
    desk.locator("#recorded").wait_for()
    expect(desk.locator("#facts")).to_contain_text("HIV positive")
    # The focus goes to the next question, not back to the top, and the change is said aloud.
    assert desk.evaluate("document.activeElement.id") in {"question-title", "recorded"}
    expect(desk.locator("#said")).to_contain_text("Next question")


@pytest.mark.parametrize("who", [PUBLIC, "night"])
def test_text_twice_as_large_still_fits_a_phone(hospital: Hospital, opens: Opens, who: str) -> None:
    """WCAG 1.4.10: at 320 px, which is 1280 px at 400 %, nothing scrolls sideways."""
    narrow = {"width": 320, "height": 640}
    page = opens("/", sign_in="" if who == PUBLIC else who, viewport=narrow)
    paths = ["/", "/now/needle-or-sharp"]
    if who != PUBLIC:
        paths = ["/worklist/", f"/case/{hospital.cases['needle-in-a-bin']}/"]
    for path in paths:
        page.goto(path)
        assert page.evaluate("document.documentElement.scrollWidth") <= 320, path
