"""Paths of the patient's own protection."""

from django.urls import path

from thimble.web.linked import views

app_name = "linked"
PREFIX = ""
urlpatterns = [
    path("case/<str:ref>/patient/", views.patient, name="patient"),
    path("case/<str:ref>/patient/answer", views.answer, name="answer"),
    path("case/<str:ref>/patient/open", views.open_case, name="open"),
]
