"""Paths of imports and of the export."""

from django.urls import path

from thimble.web.people_import import evidence, export, undoing, views

app_name = "people_import"
PREFIX = "people-import/"
urlpatterns = [
    path("", views.start, name="start"),
    path("export.csv", export.export_csv, name="export_csv"),
    path("export.xlsx", export.export_xlsx, name="export_xlsx"),
    path("evidence.csv", evidence.evidence_csv, name="evidence_csv"),
    path("evidence.xlsx", evidence.evidence_xlsx, name="evidence_xlsx"),
    path("<slug:import_id>/", views.look, name="look"),
    path("<slug:import_id>/columns", views.columns, name="columns"),
    path("<slug:import_id>/decide", views.decide, name="decide"),
    path("<slug:import_id>/refused.xlsx", views.refused, name="refused"),
    path("<slug:import_id>/write", views.write, name="write"),
    path("<slug:import_id>/drop", views.drop, name="drop"),
    path("<slug:import_id>/undo", undoing.undo, name="undo"),
]
NAVIGATION = ()
