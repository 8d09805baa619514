"""Paths of the results."""

from django.urls import path

from thimble.web.results import views

app_name = "results"
PREFIX = "case/"
urlpatterns = [
    path("<str:ref>/results/", views.results, name="results"),
    path("<str:ref>/results/enter", views.enter, name="enter"),
]
