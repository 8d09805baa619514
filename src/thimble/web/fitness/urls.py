"""The paths of fitness for work."""

from django.urls import path

from thimble.web.fitness import links, person, views
from thimble.web.screens import Link

app_name = "fitness"
PREFIX = ""
NAVIGATION = [Link("Fitness", "fitness:reviews", "decide_fitness", 45)]
urlpatterns = [
    path("fitness/", views.reviews, name="reviews"),
    path("people/<str:person>/fitness/", person.person, name="person"),
    path("people/<str:person>/fitness/letter.pdf", person.letter, name="person_letter"),
    path("case/<str:ref>/fitness/", views.fitness, name="fitness"),
    path("case/<str:ref>/fitness/letter.pdf", views.letter_pdf, name="letter"),
    path("case/<str:ref>/fitness/address", links.make, name="make_link"),
    path("case/<str:ref>/fitness/address/end", links.end, name="end_link"),
    path("fitness/for-the-manager/<str:secret>/", links.manager, name="manager"),
]
