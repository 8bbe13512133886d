"""Accounts, invitations, the house itself."""
