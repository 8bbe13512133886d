from django.urls import URLPattern

app_name = "intake"
urlpatterns: list[URLPattern] = []
