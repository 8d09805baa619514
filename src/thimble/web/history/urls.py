"""Paths of the history."""

from django.urls import path

from thimble.web.history import views

app_name = "history"
PREFIX = "case/"
urlpatterns = [path("<str:ref>/history/", views.history, name="history")]
