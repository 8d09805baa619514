"""Paths of a person's own page."""

from django.urls import path

from thimble.web.own_page import booking, evidence, links, views

app_name = "own_page"
PREFIX = ""
urlpatterns = [
    path("own/", views.own, name="own"),
    path("own/open/<str:secret>", views.open_link, name="open"),
    path("own/birth-date", views.birth_date, name="birth_date"),
    path("own/scan", evidence.bring, name="bring"),
    path("own/scan/<int:entry>", evidence.scan, name="scan"),
    path("own/scan/<int:entry>/withdraw", evidence.withdraw, name="withdraw"),
    path("own/book", booking.book, name="book"),
    path("own/booking/<int:booking>/cancel", booking.cancel, name="cancel"),
    path("own/booking/<int:booking>/appointment.ics", booking.calendar_file, name="calendar"),
    path("own/leave", views.leave, name="leave"),
    path("people/<str:person>/own-page", links.make, name="make"),
    path("people/<str:person>/own-page/end", links.end, name="end"),
]
