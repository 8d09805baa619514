"""Paths of the source patient's pages."""

from django.urls import path

from thimble.web.source import chase_views, status_views, steps_views, views

app_name = "source"
PREFIX = "case/"
urlpatterns = [
    path("<str:ref>/source/", views.source, name="source"),
    path("<str:ref>/source/step", steps_views.step, name="step"),
    path("<str:ref>/source/call", chase_views.call, name="call"),
    path("<str:ref>/source/settle", chase_views.settle, name="settle"),
    path("<str:ref>/source/chart", status_views.chart, name="chart"),
    path("<str:ref>/source/take-back", steps_views.take_back, name="take_back"),
    path("<str:ref>/source/result", status_views.result, name="result"),
    path("<str:ref>/source/identity", views.identity, name="identity"),
]
