from django.urls import URLPattern

app_name = "takes"
urlpatterns: list[URLPattern] = []
