"""Path of the safety officer's overview."""

from django.urls import path

from thimble.web.safety import views
from thimble.web.screens import Link

app_name = "safety"
PREFIX = "safety/"
urlpatterns = [path("", views.overview_page, name="overview")]
NAVIGATION = (
    Link("Safety overview", "safety:overview", "view_safety_overview", order=50, seldom=True),
)
