"""Threads between house and client, message rules, the outbox."""
