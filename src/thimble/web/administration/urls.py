"""Paths of the administrator's pages."""

from django.urls import path

from thimble.web.administration import views
from thimble.web.screens import Link

app_name = "administration"
PREFIX = "administration/"
urlpatterns = [
    path("accounts", views.accounts, name="accounts"),
    path("accounts/new", views.new_account, name="new_account"),
    path("accounts/<slug:account_id>", views.account, name="account"),
    path("site", views.site, name="site"),
    path("checks", views.checks, name="checks"),
]
NAVIGATION = [
    Link("Accounts", "administration:accounts", "manage_accounts", 80),
    Link("Site", "administration:site", "view_site", 81, seldom=True),
    Link("Checks", "administration:checks", "verify_ledger", 82, seldom=True),
]
