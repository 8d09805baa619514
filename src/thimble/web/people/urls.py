"""Paths of the register of people."""

from django.urls import path

from thimble.web.people import views
from thimble.web.screens import Link

app_name = "people"
PREFIX = "people/"
urlpatterns = [
    path("", views.register, name="register"),
    path("new", views.new, name="new"),
    path("<str:person>/", views.person, name="person"),
    path("<str:person>/details", views.details, name="details"),
    path("<str:person>/card", views.card, name="card"),
    path("<str:person>/add/<slug:what>", views.add, name="add"),
    path("<str:person>/verify", views.verify, name="verify"),
    path("<str:person>/withdraw/<int:entry>", views.withdraw, name="withdraw"),
    path("<str:person>/scan", views.attach, name="attach"),
    path("<str:person>/scan/<int:entry>", views.scan, name="scan"),
    path("<str:person>/scan/<int:entry>/looked-at", views.look_at, name="look_at"),
    path("<str:person>/history", views.history, name="history"),
]
NAVIGATION = (Link("People", "people:register", "view_people", order=14),)
