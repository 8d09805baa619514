"""Paths of the worker's pages."""

from django.urls import path

from thimble.web.report import views

app_name = "report"
PREFIX = ""
urlpatterns = [
    path("", views.start, name="start"),
    path("now/<slug:slug>", views.now_page, name="now"),
    path("reported", views.reported, name="reported"),
    path("alive", views.alive, name="alive"),
]
