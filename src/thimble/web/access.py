"""Every view says who may come in. A view that says nothing lets nobody in.

`@public` opens a view to everyone, `@signed_in` to every account, `@needs("capability")` to the roles
that hold it. `AccessMiddleware` refuses a view without such a mark, so that a forgotten decorator is
a closed door.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, TypeVar

from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect

from thimble.web.models import Account
from thimble.web.roles import CAPABILITIES

View = TypeVar("View", bound=Callable[..., HttpResponseBase])
MARK = "thimble_access"
PUBLIC = "public"
SIGNED_IN = "signed_in"


def public(view: View) -> View:
    """Open to everyone, without sign-in."""
    login_not_required(view)
    setattr(view, MARK, PUBLIC)
    return view


def signed_in(view: View) -> View:
    """Open to every account that is signed in (its own password, sign-out)."""
    setattr(view, MARK, SIGNED_IN)
    return view


def account_of(request: HttpRequest) -> Account:
    """The account that is signed in.

    Raises:
        PermissionDenied: nobody is.
    """
    if not isinstance(request.user, Account):
        raise PermissionDenied("sign in first")
    return request.user


def can(request: HttpRequest, capability: str) -> bool:
    """Whether whoever is signed in, if anybody is, may use a capability."""
    return isinstance(request.user, Account) and request.user.has_perm(capability)


def needs(*capabilities: str) -> Callable[[Callable[..., HttpResponseBase]], Any]:
    """Open to accounts whose role holds all of these capabilities.

    Raises:
        ValueError: at import, where a capability does not exist.
    """
    for name in capabilities:
        if name not in CAPABILITIES:
            raise ValueError(f"there is no capability {name!r}")
    if not capabilities:
        raise ValueError("name at least one capability")

    def mark(view: Callable[..., HttpResponseBase]) -> Callable[..., HttpResponseBase]:
        @wraps(view)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
            if not all(account_of(request).has_perm(name) for name in capabilities):
                raise PermissionDenied(f"this page needs {' and '.join(capabilities)}")
            return view(request, *args, **kwargs)

        setattr(guarded, MARK, frozenset(capabilities))
        return guarded

    return mark


class AccessMiddleware:
    """Refuses unmarked views, and sends an account with a one-time password to change it."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(
        self,
        request: HttpRequest,
        view: Callable[..., HttpResponseBase],
        _args: Any,
        _kwargs: Any,
    ) -> HttpResponseBase | None:
        mark = getattr(view, MARK, None)
        if mark is None:
            raise PermissionDenied("this page says nothing about who may see it")
        if (
            isinstance(mark, frozenset)
            and request.user.is_authenticated
            and getattr(request.user, "must_change_password", False)
        ):
            return redirect("accounts:change_password")
        return None
