"""The path of the end of a case."""

from django.urls import path

from thimble.web.closing import views

app_name = "closing"
PREFIX = ""
urlpatterns = [path("case/<str:ref>/closing/", views.closing, name="closing")]
