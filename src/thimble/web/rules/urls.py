"""Paths of the protocol pages."""

from django.urls import path

from thimble.web.rules import views
from thimble.web.screens import Link

app_name = "rules"
PREFIX = "protocol/"
urlpatterns = [
    path("", views.protocol, name="protocol"),
    path("<slug:table>/", views.table, name="table"),
]
NAVIGATION = (Link("Protocol", "rules:protocol", "view_protocols", order=40, seldom=True),)
