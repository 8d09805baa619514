"""Who may open what: every path is public on purpose, the account's own, or guarded; by role."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.http import HttpResponse
from django.test import Client, RequestFactory
from django.urls import URLPattern, URLResolver, get_resolver

from thimble.web.access import MARK, PUBLIC, SIGNED_IN, needs
from thimble.web.models import Account
from thimble.web.roles import CAPABILITIES, GRANTED, LABELS, Role, may

PUBLIC_PAGES = {
    "report:start",
    "report:now",
    "report:reported",
    "report:alive",
    "accounts:sign_in",
    "calendars:feed",
    "fitness:manager",
    "certificates:check",
    "certificates:check_number",
    "certificates:own_pdf",
    "certificates:public_keys",
    "own_page:open",
    "own_page:birth_date",
    "own_page:own",
    "own_page:leave",
    "own_page:bring",
    "own_page:scan",
    "own_page:withdraw",
    "own_page:book",
    "own_page:cancel",
    "own_page:calendar",
}
OWN_PAGES = {"accounts:sign_out", "accounts:home", "accounts:change_password"}


def _patterns(
    resolver: URLResolver, prefix: str = "", space: str = ""
) -> Iterator[tuple[str, str, URLPattern]]:
    for entry in resolver.url_patterns:
        if isinstance(entry, URLResolver):
            inner = entry.namespace or space
            yield from _patterns(entry, prefix + str(entry.pattern), inner)
        else:
            yield f"{space}:{entry.name}", prefix + str(entry.pattern), entry


PAGES = list(_patterns(get_resolver()))


def _address(route: str) -> str:
    """The route with something in each place: access is decided before anything is looked up."""
    out = []
    for part in route.split("/"):
        if part.startswith("<"):
            kind = part.strip("<>").partition(":")[0]
            out.append("1" if kind == "int" else "K7QM-2F49")
        else:
            out.append(part)
    return "/" + "/".join(out)


@pytest.mark.parametrize(("name", "route", "pattern"), PAGES, ids=[p[0] for p in PAGES])
def test_every_page_says_who_may_see_it(name: str, route: str, pattern: URLPattern) -> None:
    mark = getattr(pattern.callback, MARK, None)

    if mark == PUBLIC:
        assert name in PUBLIC_PAGES
    elif mark == SIGNED_IN:
        assert name in OWN_PAGES
    else:
        assert isinstance(mark, frozenset), f"{name} says nothing about who may see it"
        assert mark
        assert mark <= set(CAPABILITIES)


def test_the_lists_of_open_pages_name_pages_that_exist() -> None:
    assert {name for name, _, _ in PAGES} >= PUBLIC_PAGES | OWN_PAGES


@pytest.mark.django_db
@pytest.mark.parametrize(("name", "route", "pattern"), PAGES, ids=[p[0] for p in PAGES])
def test_a_visitor_without_sign_in_reaches_public_pages_alone(
    name: str, route: str, pattern: URLPattern
) -> None:
    answer = Client().get(_address(route))

    if name not in PUBLIC_PAGES:
        assert answer.status_code == 302
        assert answer["Location"].startswith("/sign-in?next=")


@pytest.mark.django_db
@pytest.mark.parametrize("role", list(Role))
def test_a_role_is_refused_every_page_whose_capability_it_lacks(
    role: Role, signed_in: Callable[[Role], Client]
) -> None:
    client = signed_in(role)
    refused = 0
    for name, route, pattern in PAGES:
        mark = getattr(pattern.callback, MARK)
        if isinstance(mark, frozenset) and not mark <= GRANTED[role]:
            refused += 1
            for method in (client.get, client.post):
                assert method(_address(route)).status_code == 403, f"{role} opened {name}"
    # The administrator's own pages need no other role's; the others are refused at least those.
    assert refused or role is Role.ADMINISTRATOR


@pytest.mark.django_db
@pytest.mark.parametrize("role", [role for role in Role if may(role, "manage_accounts")])
def test_the_administrator_opens_each_of_their_pages(
    role: Role, signed_in: Callable[[Role], Client], make_account: Callable[..., Account]
) -> None:
    client = signed_in(role)
    other = make_account(Role.SAFETY_OFFICER, "other")
    for path in ("accounts", "accounts/new", f"accounts/{other.pk}", "site", "checks"):
        assert client.get(f"/administration/{path}").status_code == 200, path


def test_the_administrator_and_the_safety_officer_see_no_case_and_no_name() -> None:
    clinical = {
        "view_case",
        "view_worklist",
        "record_facts",
        "sign_plan",
        "depart",
        "correct_entry",
        "print_documents",
        "close_case",
        "see_worker_identity",
        "see_source",
        "see_source_identity",
        "see_immunity",
        "view_people",
        "edit_people",
        "import_people",
        "certify_clearance",
    }
    assert not GRANTED[Role.ADMINISTRATOR] & clinical
    assert not GRANTED[Role.SAFETY_OFFICER] & clinical


def test_no_role_both_treats_and_manages_accounts_and_each_has_a_label() -> None:
    assert set(GRANTED) == set(LABELS) == set(Role)
    for granted in GRANTED.values():
        assert granted <= set(CAPABILITIES)
        assert not {"view_case", "manage_accounts"} <= granted


def test_a_misspelt_capability_is_an_error_and_never_a_quiet_no() -> None:
    with pytest.raises(ValueError, match="veiw_case"):
        may(Role.OCCUPATIONAL_NURSE, "veiw_case")
    with pytest.raises(ValueError, match="veiw_case"):
        needs("veiw_case")
    with pytest.raises(ValueError, match="at least one"):
        needs()


@pytest.mark.parametrize("role", ["", "superuser", "Administrator"])
def test_an_unknown_role_may_nothing(role: str) -> None:
    assert not any(may(role, name) for name in CAPABILITIES)


def test_a_closed_account_may_nothing_even_with_a_live_session() -> None:
    account = Account(role=Role.OCCUPATIONAL_PHYSICIAN.value, is_active=False)
    assert not any(account.has_perm(name) for name in CAPABILITIES)


@pytest.mark.django_db
def test_a_view_without_a_mark_is_closed_to_everyone(
    make_account: Callable[..., Account],
) -> None:
    from django.core.exceptions import PermissionDenied

    from thimble.web.access import AccessMiddleware

    def forgotten(_request: Any) -> HttpResponse:
        return HttpResponse("open")

    request = RequestFactory().get("/")
    request.user = make_account(Role.OCCUPATIONAL_PHYSICIAN)
    with pytest.raises(PermissionDenied):
        AccessMiddleware(forgotten).process_view(request, forgotten, (), {})


@pytest.mark.django_db
def test_a_one_time_password_leads_to_no_page_but_its_own_change(
    make_account: Callable[..., Account],
) -> None:
    account = make_account(Role.ADMINISTRATOR)
    account.must_change_password = True
    account.save()
    client = Client()
    client.force_login(account, backend="django.contrib.auth.backends.ModelBackend")

    assert client.get("/administration/accounts")["Location"] == "/password"
    assert client.get("/password").status_code == 200
