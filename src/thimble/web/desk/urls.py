"""Paths of the desk."""

from django.urls import path

from thimble.web.desk import deciding_views, keeping_views, views
from thimble.web.screens import Link

app_name = "desk"
PREFIX = "case/"
NAVIGATION = (Link("New case", "desk:new", "record_facts", order=30),)
urlpatterns = [
    path("new", keeping_views.new, name="new"),
    path("<str:ref>/", views.case, name="case"),
    path("<str:ref>/answer", views.answer, name="answer"),
    path("<str:ref>/done", views.done, name="done"),
    path("<str:ref>/seen", views.seen, name="seen"),
    path("<str:ref>/otherwise/<str:subject>", deciding_views.otherwise, name="otherwise"),
    path("<str:ref>/sign", deciding_views.sign, name="sign"),
    path("<str:ref>/note", views.note, name="note"),
    path("<str:ref>/reopen", keeping_views.reopen, name="reopen"),
    path("<str:ref>/correct/<int:position>", keeping_views.correct, name="correct"),
]
