"""Path of the course of a case."""

from django.urls import path

from thimble.web.course import views

app_name = "course"
PREFIX = ""
urlpatterns = [path("case/<str:ref>/course/", views.course, name="course")]
