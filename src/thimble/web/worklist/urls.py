"""Paths of the worklist."""

from django.urls import path

from thimble.web.screens import Link
from thimble.web.worklist import views

app_name = "worklist"
PREFIX = "worklist/"
urlpatterns = [
    path("", views.worklist, name="worklist"),
    path("handover/", views.handover, name="handover"),
]
NAVIGATION = (Link("Worklist", "worklist:worklist", "view_worklist", order=10),)
