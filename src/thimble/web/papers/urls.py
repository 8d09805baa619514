"""Paths of the printed documents."""

from django.urls import path

from thimble.web.papers import letters, views
from thimble.web.screens import Link

app_name = "papers"
PREFIX = ""
NAVIGATION = (Link("Print", "papers:for_all", "print_documents", order=60, seldom=True),)
urlpatterns = [
    path("papers/", views.for_all, name="for_all"),
    path("papers/ward-card.pdf", views.ward_card_pdf, name="ward_card"),
    path("papers/downtime-pack.pdf", views.downtime_pack_pdf, name="downtime_pack"),
    path("case/<str:ref>/papers/", views.papers, name="papers"),
    path("case/<str:ref>/papers/worker-plan.pdf", views.worker_plan_pdf, name="worker_plan"),
    path("case/<str:ref>/papers/summary.pdf", views.summary_pdf, name="summary"),
    path("case/<str:ref>/papers/source-request.pdf", views.request_pdf, name="source_request"),
    path(
        "case/<str:ref>/papers/closing-statement.pdf", views.closing_pdf, name="closing_statement"
    ),
    path("case/<str:ref>/papers/all-clear.pdf", views.all_clear_pdf, name="all_clear"),
    path("case/<str:ref>/papers/letters/", letters.letters, name="letters"),
    path("case/<str:ref>/papers/visit-dates.pdf", letters.visit_dates_pdf, name="visit_dates"),
    path("case/<str:ref>/papers/missed-visit.pdf", letters.missed_pdf, name="missed_visit"),
    path("case/<str:ref>/papers/results.pdf", letters.results_pdf, name="results_explained"),
]
