"""Paths of a worker's immunity on record."""

from django.urls import path

from thimble.web.on_record import views

app_name = "on_record"
PREFIX = ""
urlpatterns = [
    path("case/<str:ref>/on-record/", views.show, name="show"),
    path("case/<str:ref>/on-record/take", views.take, name="take"),
    path("case/<str:ref>/on-record/aside", views.aside, name="aside"),
]
NAVIGATION = ()
