from django.urls import URLPattern

app_name = "delivery"
urlpatterns: list[URLPattern] = []
