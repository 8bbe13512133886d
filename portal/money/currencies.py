"""Currencies and their smallest units: ISO 4217, list of 2025-02 (codes in force in 2025; funds and metals left out
unless their minor unit is unusual). Payment firms' own tables differ (HUF, IDR, TWD): ISO's is the one we use.

Amounts are whole numbers of the smallest unit. What a person types is rounded to it once, halves away from zero.
"""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal

TWO_DIGITS = """
    AED AFN ALL AMD AOA ARS AUD AWG AZN BAM BBD BDT BGN BMD BND BOB BRL BSD BTN BWP BYN BZD CAD CDF CHF CNY COP CRC CUP
    CVE CZK DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP GEL GHS GIP GMD GTQ GYD HKD HNL HTG HUF IDR ILS INR IRR JMD KES KGS
    KHR KPW KYD KZT LAK LBP LKR LRD LSL MAD MDL MGA MKD MMK MNT MOP MRU MUR MVR MWK MXN MYR MZN NAD NGN NIO NOK NPR NZD
    PAB PEN PGK PHP PKR PLN QAR RON RSD RUB SAR SBD SCR SDG SEK SGD SHP SLE SOS SRD SSP STN SVC SYP SZL THB TJS TMT TOP
    TRY TTD TWD TZS UAH USD UYU UZS VED VES WST XCD XCG YER ZAR ZMW ZWG
"""
NO_DIGITS = "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF"
THREE_DIGITS = "BHD IQD JOD KWD LYD OMR TND"
FOUR_DIGITS = "CLF UYW"

MINOR_DIGITS = {
    code: digits
    for codes, digits in ((TWO_DIGITS, 2), (NO_DIGITS, 0), (THREE_DIGITS, 3), (FOUR_DIGITS, 4))
    for code in codes.split()
}
GROUP_MARK = "\N{NARROW NO-BREAK SPACE}"


def to_minor(amount: Decimal, currency: str) -> int:
    return int(amount.scaleb(MINOR_DIGITS[currency]).quantize(Decimal(1), rounding=ROUND_HALF_UP))


def to_decimal(amount_minor: int, currency: str) -> Decimal:
    """The amount with exactly the decimals that its currency has."""
    return Decimal(amount_minor).scaleb(-MINOR_DIGITS[currency])


def in_words(amount_minor: int, currency: str) -> str:
    """An amount as people read it: "1 234.50 EUR", "333 333 KRW"."""
    figure = f"{to_decimal(amount_minor, currency):,f}".replace(",", GROUP_MARK)
    return f"{figure}\N{NO-BREAK SPACE}{currency}"
