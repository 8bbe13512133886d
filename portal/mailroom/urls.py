from django.urls import path

from portal.mailroom import views

app_name = "mailroom"
urlpatterns = [
    path("mail/", views.mail, name="mail"),
    path("mail/<int:mail_id>/again/", views.send_again, name="send-again"),
    path("messages/", views.threads, name="threads"),
    path("messages/<int:message_id>/", views.message, name="message"),
    path("bookings/<int:booking_id>/messages/", views.write, name="write"),
    path("bookings/<int:booking_id>/people/", views.invite, name="invite"),
    path("message-rules/", views.rules, name="rules"),
]
