"""Paths of the source patient's pages."""

from django.urls import path

from thimble.web.source import views

app_name = "source"
PREFIX = "case/"
urlpatterns = [
    path("<str:ref>/source/", views.source, name="source"),
    path("<str:ref>/source/step", views.step, name="step"),
    path("<str:ref>/source/call", views.call, name="call"),
    path("<str:ref>/source/settle", views.settle, name="settle"),
    path("<str:ref>/source/chart", views.chart, name="chart"),
    path("<str:ref>/source/take-back", views.take_back, name="take_back"),
    path("<str:ref>/source/result", views.result, name="result"),
    path("<str:ref>/source/identity", views.identity, name="identity"),
]
