"""Signing in and out, the way to one's first page, and one's own password."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import login, logout, update_session_auth_hash
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from thimble.web import log
from thimble.web.access import account_of, public, signed_in
from thimble.web.accounts.forms import OwnPasswordForm, SignInForm
from thimble.web.errors import help_now
from thimble.web.limits import give_back, over_limit
from thimble.web.screens import links

_TRY = "sign_in"


@public
@sensitive_post_parameters("password")
@require_http_methods(["GET", "POST"])
def sign_in(request: HttpRequest) -> HttpResponse:
    """Name and password; then the page that was asked for, or the role's first page."""
    if request.user.is_authenticated and request.method == "GET":
        return redirect(_next(request))
    form = SignInForm(request, data=request.POST or None)
    if request.method == "POST" and _too_many(request):
        log.event("sign_in_limited")
        return render(request, "accounts/too_many.html", {"help": help_now()}, status=429)
    if request.method == "POST" and form.is_valid():
        give_back(request, event=_TRY, seconds=settings.SIGN_IN_WINDOW_SECONDS)
        account = form.get_user()
        login(request, account)
        log.event("signed_in", account=account.pk)
        return redirect(_next(request))
    if request.method == "POST" and getattr(request, "axes_locked_out", False):
        return locked_out(request)
    if request.method == "POST":
        log.event("sign_in_failed")
    context = {
        "form": form,
        "ended": "ended" in request.GET,
        "next": request.POST.get("next") or request.GET.get("next", ""),
    }
    return render(request, "accounts/sign_in.html", context)


def _too_many(request: HttpRequest) -> bool:
    """Count a try of this address, before its password is looked at: tries sent at once all count.

    A right password is given back. A form without name or password guesses nothing.
    """
    if not (request.POST.get("username") and request.POST.get("password")):
        return False
    return over_limit(
        request,
        event=_TRY,
        most=settings.WRONG_SIGN_INS_PER_WINDOW,
        seconds=settings.SIGN_IN_WINDOW_SECONDS,
    )


def locked_out(request: HttpRequest, *_: Any, **__: Any) -> HttpResponse:
    """Too many wrong passwords for this name from this place."""
    log.event("sign_in_locked")
    return render(request, "accounts/locked_out.html", {"help": help_now()}, status=429)


@signed_in
@require_POST
def sign_out(request: HttpRequest) -> HttpResponse:
    """End the session."""
    log.event("signed_out", account=str(request.user.pk))
    logout(request)
    return redirect("accounts:sign_in")


@signed_in
@require_safe
def home(request: HttpRequest) -> HttpResponse:
    """On to the first page that this role has."""
    account = account_of(request)
    if account.must_change_password:
        return redirect("accounts:change_password")
    for link in links():
        if account.has_perm(link.capability):
            return redirect(link.url_name)
    return render(request, "accounts/home.html")


@signed_in
@sensitive_post_parameters()
@require_http_methods(["GET", "POST"])
def change_password(request: HttpRequest) -> HttpResponse:
    """A new password. Ends every other session of the account."""
    form = OwnPasswordForm(request.user, request.POST or None)
    if request.method == "POST" and form.is_valid():
        account = form.save(commit=False)
        account.must_change_password = False
        account.save(update_fields=["password", "must_change_password"])
        update_session_auth_hash(request, account)
        log.event("password_changed", account=str(request.user.pk))
        messages.info(request, "Your password is changed.")
        return redirect("accounts:home")
    return render(request, "accounts/change_password.html", {"form": form})


def _next(request: HttpRequest) -> str:
    """The page that was asked for, if it is one of ours: a path, never the name of a view."""
    wanted = request.POST.get("next") or request.GET.get("next", "")
    if wanted.startswith("/") and url_has_allowed_host_and_scheme(
        wanted, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    ):
        return wanted
    return reverse("accounts:home")
