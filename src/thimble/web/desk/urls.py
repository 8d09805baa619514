"""Paths of the desk."""

from django.urls import path

from thimble.web.desk import views
from thimble.web.screens import Link

app_name = "desk"
PREFIX = "case/"
NAVIGATION = (Link("New case", "desk:new", "record_facts", order=30),)
urlpatterns = [
    path("new", views.new, name="new"),
    path("<str:ref>/", views.case, name="case"),
    path("<str:ref>/answer", views.answer, name="answer"),
    path("<str:ref>/done", views.done, name="done"),
    path("<str:ref>/seen", views.seen, name="seen"),
    path("<str:ref>/otherwise/<str:subject>", views.otherwise, name="otherwise"),
    path("<str:ref>/sign", views.sign, name="sign"),
    path("<str:ref>/note", views.note, name="note"),
    path("<str:ref>/close", views.close, name="close"),
    path("<str:ref>/reopen", views.reopen, name="reopen"),
    path("<str:ref>/correct/<int:position>", views.correct, name="correct"),
]
