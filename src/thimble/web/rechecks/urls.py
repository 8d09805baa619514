"""Paths of what comes up again."""

from django.urls import path

from thimble.web.rechecks import views

app_name = "rechecks"
PREFIX = "rechecks/"
urlpatterns = [
    path("", views.listed, name="listed"),
    path("export.csv", views.export_csv, name="export_csv"),
    path("export.xlsx", views.export_xlsx, name="export_xlsx"),
]
NAVIGATION = ()
