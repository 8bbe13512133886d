from django.urls import path

from portal.listening import views

app_name = "listening"
urlpatterns = [
    path("songs/<int:song_id>/excerpts/", views.ask, name="ask"),
    path("excerpts/<int:excerpt_id>/", views.excerpt, name="excerpt"),
    path("excerpts/<int:excerpt_id>/answer/", views.answer, name="answer"),
    path("excerpts/<int:excerpt_id>/audio/", views.audio, name="audio"),
]
