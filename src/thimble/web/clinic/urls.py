"""Paths of clinic sessions."""

from django.urls import path

from thimble.web.clinic import code_views, label_views, sheet_views, views
from thimble.web.screens import Link

app_name = "clinic"
PREFIX = "clinic/"
urlpatterns = [
    path("", views.sessions, name="sessions"),
    path("new", views.new, name="new"),
    path("codes", code_views.all_codes, name="codes"),
    path("for/<str:person>", views.book, name="book"),
    path("for/<str:person>/cancel/<int:booking>", views.cancel, name="cancel"),
    path("<int:session>/", sheet_views.sheet, name="session"),
    path("<int:session>/scan", sheet_views.scan, name="scan"),
    path("<int:session>/code", sheet_views.name_code, name="name_code"),
    path("<int:session>/undo/<str:person>/<int:entry>", sheet_views.undo, name="undo"),
    path("<int:session>/labels", label_views.labels, name="labels"),
    path("<int:session>/call-off", views.call_off, name="call_off"),
]
NAVIGATION = (Link("Clinic", "clinic:sessions", "edit_people", order=15),)
