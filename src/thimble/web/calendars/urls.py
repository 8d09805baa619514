"""Paths of calendars."""

from django.urls import path

from thimble.web.calendars import views

app_name = "calendars"
PREFIX = ""
urlpatterns = [
    path("calendar/<str:secret>/visits.ics", views.feed, name="feed"),
    path("case/<str:ref>/visits/visits.ics", views.download, name="download"),
    path("case/<str:ref>/visits/calendar-link", views.make, name="make"),
    path("case/<str:ref>/visits/calendar-link/end", views.end, name="end"),
]
