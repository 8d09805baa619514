"""Path of what the worker said to an offer of support."""

from django.urls import path

from thimble.web.support import views

app_name = "support"
PREFIX = ""
urlpatterns = [path("case/<str:ref>/support", views.offered, name="offered")]
