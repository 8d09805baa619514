"""Paths of the laboratory's messages."""

from django.urls import path

from thimble.web.laboratory import placing, views
from thimble.web.screens import Link

app_name = "laboratory"
PREFIX = "laboratory/"
NAVIGATION = (Link("Laboratory", "laboratory:inbox", "resolve_results", order=17),)
urlpatterns = [
    path("", views.inbox, name="inbox"),
    path("<int:number>/", views.message, name="message"),
    path("<int:number>/assign", placing.assign, name="assign"),
    path("<int:number>/place", placing.place, name="place"),
    path("<int:number>/hold-again", views.hold_again, name="hold_again"),
    path("of/<str:person>/seen", views.seen, name="seen"),
    path("<int:number>/settle", views.settle, name="settle"),
]
