"""Paths of cohorts and of what would be if a dose were given."""

from django.urls import path

from thimble.web.cohort import views, what_if

app_name = "cohort"
PREFIX = ""
urlpatterns = [
    path("cohorts/", views.cohorts, name="list"),
    path("cohorts/one", views.one, name="one"),
    path("cohorts/demand", views.demand_csv, name="demand"),
    path("people/<str:person>/what-if", what_if.what_if, name="what_if"),
]
