from django.contrib.auth import views as auth
from django.urls import path, reverse_lazy

from portal.people import views
from portal.people.forms import ForgottenPasswordForm, NewPasswordForm, SignInForm

app_name = "people"
urlpatterns = [
    path(
        "sign-in/",
        auth.LoginView.as_view(
            template_name="people/sign_in.html", authentication_form=SignInForm, redirect_authenticated_user=True
        ),
        name="sign-in",
    ),
    path("sign-out/", views.SignOutView.as_view(), name="sign-out"),
    path("invitations/<str:token>/", views.invitation, name="invitation"),
    path("me/", views.me, name="me"),
    path("people/<int:user_id>/", views.client, name="client"),
    path("address/<str:change_token>/", views.address, name="address"),
    path("house/", views.house, name="house"),
    path(
        "me/password/",
        auth.PasswordChangeView.as_view(
            template_name="people/password_change.html", success_url=reverse_lazy("people:password-changed")
        ),
        name="password-change",
    ),
    path(
        "me/password/changed/",
        auth.PasswordChangeDoneView.as_view(template_name="people/password_changed.html"),
        name="password-changed",
    ),
    path(
        "password-reset/",
        auth.PasswordResetView.as_view(
            template_name="people/password_reset.html",
            form_class=ForgottenPasswordForm,
            email_template_name="people/letter_password_reset.txt",
            subject_template_name="people/letter_password_reset_subject.txt",
            success_url=reverse_lazy("people:password-reset-sent"),
        ),
        name="password-reset",
    ),
    path(
        "password-reset/sent/",
        auth.PasswordResetDoneView.as_view(template_name="people/password_reset_sent.html"),
        name="password-reset-sent",
    ),
    path(
        "password-reset/<uidb64>/<token>/",
        auth.PasswordResetConfirmView.as_view(
            template_name="people/password_reset_confirm.html",
            form_class=NewPasswordForm,
            post_reset_login=True,
            post_reset_login_backend=views.BACKEND,
            success_url=reverse_lazy("people:password-reset-done"),
        ),
        name="password-reset-confirm",
    ),
    path(
        "password-reset/done/",
        auth.PasswordResetCompleteView.as_view(template_name="people/password_reset_done.html"),
        name="password-reset-done",
    ),
]
