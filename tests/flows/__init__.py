"""Journeys through a whole running house, in a real browser, as the people of a booking make them."""
