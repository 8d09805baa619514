"""Paths of the visits and of the recall list."""

from django.urls import path

from thimble.web.screens import Link
from thimble.web.visits import views
from thimble.web.visits.recall import views as recall

app_name = "visits"
PREFIX = ""
NAVIGATION = (Link("Recall", "visits:recall", "view_worklist", order=15),)
urlpatterns = [
    path("case/<str:ref>/visits/earlier-doses", views.earlier_doses, name="earlier_doses"),
    path("recall/", recall.recall, name="recall"),
    path("case/<str:ref>/visits/", views.visits, name="visits"),
    path("case/<str:ref>/visits/agree", views.agree, name="agree"),
    path("case/<str:ref>/visits/missed", views.missed, name="missed"),
    path("case/<str:ref>/visits/contact", views.contacted, name="contact"),
    path("case/<str:ref>/visits/decide", views.decided, name="decide"),
]
