"""Paths of what comes up again."""

from django.urls import path

from thimble.web.rechecks import views
from thimble.web.screens import Link

app_name = "rechecks"
PREFIX = "rechecks/"
urlpatterns = [
    path("", views.listed, name="listed"),
    path("export.csv", views.export_csv, name="export_csv"),
    path("export.xlsx", views.export_xlsx, name="export_xlsx"),
]
NAVIGATION = (Link("Rechecks", "rechecks:listed", "view_people", order=15),)
