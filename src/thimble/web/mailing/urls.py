"""Paths of what the worker agrees to, and of sending a mail now."""

from django.urls import path

from thimble.web.mailing import views

app_name = "mailing"
PREFIX = ""
urlpatterns = [
    path("case/<str:ref>/reach/", views.reach, name="reach"),
    path("case/<str:ref>/reach/send", views.send, name="send"),
]
