"""The delivery sheet: what was sent, how it was recorded and checked; as a page, a PDF, data and plain text."""
