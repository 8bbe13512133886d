from django.urls import URLPattern

app_name = "mailroom"
urlpatterns: list[URLPattern] = []
