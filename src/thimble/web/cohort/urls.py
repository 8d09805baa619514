"""Paths of cohorts and of what would be if a dose were given."""

from django.urls import path

from thimble.web.cohort import letters, views, what_if

app_name = "cohort"
PREFIX = ""
urlpatterns = [
    path("cohorts/", views.cohorts, name="list"),
    path("cohorts/one", views.one, name="one"),
    path("cohorts/demand", views.demand_csv, name="demand"),
    path("cohorts/letters", letters.write, name="write"),
    path("cohorts/letters/<str:run>", letters.run, name="run"),
    path("cohorts/letters/<str:run>/go-on", letters.resume, name="resume"),
    path("cohorts/letters/<str:run>/handed-out", letters.handed, name="handed"),
    path("cohorts/letters/<str:run>/file", letters.file, name="file"),
    path("cohorts/letters/<str:run>/delete", letters.forget, name="forget"),
    path("people/<str:person>/what-if", what_if.what_if, name="what_if"),
]
