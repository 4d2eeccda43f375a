"""Currency marks: symbols, ISO 4217 codes and words in cells, headers and number formats → currency codes."""

from __future__ import annotations

import re

ISO_CODES = frozenset([
    "AED", "ARS", "AUD", "BAM", "BDT", "BGN", "BHD", "BOB", "BRL", "BYN", "CAD", "CHF", "CLP", "CNY", "COP", "CRC",
    "CZK", "DKK", "DOP", "DZD", "EEK", "EGP", "EUR", "GBP", "GEL", "GTQ", "HKD", "HRK", "HUF", "IDR", "ILS", "INR",
    "ISK", "JOD", "JPY", "KES", "KRW", "KWD", "KZT", "LKR", "LTL", "LVL", "MAD", "MDL", "MKD", "MXN", "MYR", "NGN",
    "NOK", "NZD", "OMR", "PEN", "PHP", "PKR", "PLN", "PYG", "QAR", "RON", "RSD", "RUB", "SAR", "SEK", "SGD", "SKK",
    "THB", "TND", "TRY", "TWD", "TZS", "UAH", "UGX", "USD", "UYU", "UZS", "VND", "XOF", "ZAR",
])  # fmt: skip
"""Codes looked for; those of ISO 4217 that trade in parts uses, and a few withdrawn ones that old bills still hold."""
RARE_CODES = frozenset([
    "AFN", "ALL", "AMD", "ANG", "AOA", "AWG", "AZN", "BBD", "BIF", "BMD", "BND", "BSD", "BTN", "BWP", "BZD", "CDF",
    "CUP", "CVE", "CYP", "DJF", "ERN", "ETB", "FJD", "FKP", "GHS", "GIP", "GMD", "GNF", "GYD", "HNL", "HTG", "IQD",
    "IRR", "JMD", "KGS", "KHR", "KMF", "KPW", "KYD", "LAK", "LBP", "LRD", "LSL", "LYD", "MGA", "MMK", "MNT", "MOP",
    "MRU", "MTL", "MUR", "MVR", "MWK", "MZN", "NAD", "NIO", "NPR", "PAB", "PGK", "ROL", "RWF", "SBD", "SCR", "SDG",
    "SHP", "SIT", "SLE", "SLL", "SOS", "SRD", "SSP", "STN", "SVC", "SYP", "SZL", "TJS", "TMT", "TOP", "TRL", "TTD",
    "VES", "VUV", "WST", "XAF", "XCD", "XPF", "YER", "ZMW", "ZWL",
])  # fmt: skip
"""The other codes of ISO 4217: read where a column holds currencies, not looked for in texts, where ALL is a word."""

_SYMBOLS = {
    "US$": "USD", "CA$": "CAD", "C$": "CAD", "A$": "AUD", "AU$": "AUD", "NZ$": "NZD", "HK$": "HKD", "NT$": "TWD",
    "S$": "SGD", "R$": "BRL", "MX$": "MXN", "€": "EUR", "£": "GBP", "₽": "RUB", "₩": "KRW", "₹": "INR", "₺": "TRY",
    "₴": "UAH", "₪": "ILS", "฿": "THB", "₫": "VND", "₱": "PHP", "円": "JPY", "元": "CNY", "원": "KRW", "圓": "TWD",
    "$": "USD", "¥": "JPY", "￥": "JPY",
}  # fmt: skip
_WORDS = {
    "zł": "PLN", "zl": "PLN", "kč": "CZK", "ft": "HUF", "euro": "EUR", "euros": "EUR", "eur.": "EUR", "rub.": "RUB",
    "руб": "RUB", "руб.": "RUB", "р.": "RUB", "грн": "UAH", "грн.": "UAH", "лв": "BGN", "rmb": "CNY", "yen": "JPY",
    "dollar": "USD", "dollars": "USD", "dólares": "USD", "rs.": "INR", "fr.": "CHF", "sfr": "CHF", "lei": "RON",
    "din": "RSD", "pesos": "MXN", "kr": "SEK", "kr.": "SEK", "tl": "TRY",
}  # fmt: skip
AMBIGUOUS = {
    "$": ("USD", "another dollar"), "¥": ("JPY", "yuan"), "￥": ("JPY", "yuan"), "kr": ("SEK", "NOK or DKK"),
    "kr.": ("SEK", "NOK or DKK"), "pesos": ("MXN", "another peso"),
}  # fmt: skip
"""Marks that more than one currency uses: what is assumed, and what else it may be."""

_SYMBOL = "|".join(re.escape(s) for s in sorted(_SYMBOLS, key=len, reverse=True))
_WORD = "|".join(re.escape(w) for w in sorted(_WORDS, key=len, reverse=True))
_ISO = "|".join(sorted(ISO_CODES))
MARK = re.compile(
    rf"(?P<symbol>{_SYMBOL})|(?<![A-Za-z])(?P<iso>{_ISO})(?![A-Za-z])|(?<![^\W\d_])(?P<word>{_WORD})(?![^\W\d_])",
    re.IGNORECASE,
)
"""A currency mark anywhere in a text."""
_LOCALE = re.compile(r"\[\$([^\-\]]*)(?:-([0-9A-Fa-f]+))?\]")
_LOCALE_DOLLARS = {
    "409": "USD", "1009": "CAD", "C09": "AUD", "1409": "NZD", "C04": "HKD", "404": "TWD", "4809": "SGD", "416": "BRL",
    "80A": "MXN", "240A": "COP", "411": "JPY", "804": "CNY", "41D": "SEK", "414": "NOK", "406": "DKK", "C0C": "CAD",
    "340A": "CLP", "2C0A": "ARS",
}  # fmt: skip
"""Windows locale numbers [MS-LCID] in number formats, for marks that several currencies share."""


def mark_in(text: str) -> tuple[str, str]:
    """Return the first currency in a text, and the mark that names it; empty strings where there is none."""
    match = MARK.search(text)
    return ("", "") if match is None else (code_of(match), match.group(0))


def code_of(match: re.Match[str]) -> str:
    """ISO code of a match of :data:`MARK`."""
    if match["symbol"]:
        return _SYMBOLS[match["symbol"].upper()]
    if match["iso"]:
        return match["iso"].upper()
    return _WORDS[match["word"].lower()]


def code_in_format(number_format: str) -> tuple[str, str]:
    """Currency of a number format such as ``#,##0.00 [$€-407]``, and its mark; the locale decides shared marks."""
    for mark, locale in _LOCALE.findall(number_format):
        by_locale = _LOCALE_DOLLARS.get(locale.lstrip("0").upper(), "")
        if mark.strip() in ("$", "¥", "￥", "kr", "kr.") and by_locale:
            return by_locale, f"{mark} (locale {locale})"
        code, found = mark_in(mark)
        if code:
            return code, found
    plain = _LOCALE.sub("", number_format)
    if '"' in plain:
        quoted = "".join(re.findall(r'"([^"]*)"', plain))
        code, found = mark_in(quoted)
        if code:
            return code, found
    symbol = re.search(r"[$€£¥₽₩₹]", re.sub(r'"[^"]*"', "", plain))
    return mark_in(symbol.group(0)) if symbol else ("", "")
