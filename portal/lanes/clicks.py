"""The sounds of a click, as the pages play them: rendered by the engine, as in the prepared click."""

from __future__ import annotations

from urllib.parse import urlencode

import numpy as np
from django import forms
from django.urls import reverse

from analysis import ENGINE_VERSION
from analysis.maps import DEFAULT_PEAK_DBFS, SOUNDS, ClickStyle, click_sounds

# What browsers may be asked for (W3C Web Audio API, 1.1: 3 kHz and 768 kHz at the least); more is no device's.
LOWEST_RATE_HZ, HIGHEST_RATE_HZ = 3_000, 768_000
QUIETEST_DBFS = -120.0
USUAL_RATE_HZ = 48_000


class ClickForm(forms.Form):
    """What is left out is the plain click."""

    sound = forms.ChoiceField(choices=[(name, name) for name in SOUNDS], required=False)
    peak = forms.FloatField(min_value=QUIETEST_DBFS, max_value=0.0, required=False)
    rate = forms.IntegerField(min_value=LOWEST_RATE_HZ, max_value=HIGHEST_RATE_HZ, required=False)

    @property
    def style(self) -> ClickStyle:
        peak = self.cleaned_data["peak"]
        sound = self.cleaned_data["sound"] or SOUNDS[0]
        return ClickStyle(sound=sound, peak_dbfs=DEFAULT_PEAK_DBFS if peak is None else peak)

    @property
    def rate_hz(self) -> int:
        return self.cleaned_data["rate"] or USUAL_RATE_HZ


def click_address(style: ClickStyle) -> str:
    """Where these sounds are; a page adds the `rate` it plays at. Another engine has another address."""
    query = {"sound": style.sound, "peak": f"{style.peak_dbfs:g}", "engine": ENGINE_VERSION}
    return f"{reverse('lanes:click')}?{urlencode(query)}"


def click_bytes(style: ClickStyle, rate_hz: int) -> bytes:
    """Of a bar line, a beat and between beats, one after the other and alike in length: 32-bit floating point,
    little-endian."""
    return np.concatenate(click_sounds(style, rate_hz)).astype("<f4").tobytes()
