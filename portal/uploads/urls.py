from django.urls import URLPattern

app_name = "uploads"
urlpatterns: list[URLPattern] = []
