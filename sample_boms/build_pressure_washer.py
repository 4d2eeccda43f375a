"""Build the sample audit ``pressure_washer_messy``: a client's spreadsheet as it comes, in German, all of it invented.

A cover sheet before the bill, title rows, section headings between the lines, two-line headers, decimal commas kept as
text, prices per 100, dates in four notations, a price on request, a price range, an alternative between the lines,
subtotals and a total, a repeated header, charges, remarks below. The quotes are a text file of the same office:
semicolons, decimal commas, the Windows code page.

Run ``python sample_boms/build_pressure_washer.py``: the same files again, byte by byte.
"""

from __future__ import annotations

import argparse
from datetime import date, datetime, time
from pathlib import Path

import xlsxwriter

HERE = Path(__file__).resolve().parent
STAMP = datetime(2026, 6, 30)  # noqa: DTZ001  (a fixed day)

TITLES = (
    "Hochdruckreiniger HD 140 K, Stückliste Kalkulation",
    "ERFUNDENE DATEN: kein wirkliches Erzeugnis, kein wirklicher Lieferant",
    "Stand: 14.11.2018   Bearbeiter: Technik   Jahresmenge: 4.500 Stück   alle Preise netto",
)
HEADER = (
    "Pos.", "Art.-Nr.", "Bezeichnung", "Menge", "ME", "Preis netto\n(EUR)", "PE", "Preisstand", "Lieferant", "GP (EUR)",
    "Bemerkung",
)  # fmt: skip

# position | article | description | quantity | unit | price as written | price unit | price date as written | supplier
#   | remark. "#" a section heading, "=" its subtotal, "H" the header again.
BILL = """
# Baugruppe 1: Antrieb
10 | HD140-101 | Drehstrommotor 400 V 4 kW | 1 | Stk | 128,40 | 1 | 03/2016 | Erfundene Motoren |
20 | HD140-102 | Motorflansch, Aluminium-Druckguss | 1 | Stk | 14,85 | 1 | 03/2016 | Erfundener Guss |
30 | HD140-103 | Kupplung elastisch | 1 | Stk | 6,30 | 1 | 12.05.2016 | |
40 | HD140-104 | Motorschutzschalter 10 A | 1 | Stk | 23,90 | 1 | 12.05.2016 | Erfundene Elektrik |
50 | HD140-105 | Lüfterhaube, Spritzguss | 1 | Stk | 3,15 | 1 | 2017-02-20 | Erfundene Kunststoffe |
= Zwischensumme Antrieb
# Baugruppe 2: Pumpe
60 | HD140-201 | Axialkolbenpumpe 140 bar | 1 | Stk | 1.084,00 | 10 | 09/2015 | Erfundene Pumpen | Preis je 10 Stück
70 | HD140-202 | Pumpenkopf Messing, bearbeitet | 1 | Stk | 38,75 | 1 | 09/2015 | Erfundene Dreherei |
75 | HD140-202A | Pumpenkopf Grauguss | 1 | Stk | 31,00 | 1 | 09/2015 | Erfundener Guss | alternativ zu Pos. 70
80 | HD140-203 | Keramikplunger | 3 | Stk | 5,60 | 1 | 09/2015 | Erfundene Keramik |
90 | HD140-204 | Dichtungssatz | 1 | Satz | 8,45 | 1 | 09/2015 | Erfundene Dichtungen |
100 | HD140-205 | Überströmventil mit Druckschalter | 1 | Stk | 17,20 | 1 | 09/2015 | Erfundene Ventile |
110 | HD140-206 | Sicherheitsventil 180 bar | 1 | Stk | 12,60 | 1 | 09/2015 | Erfundene Ventile | sicherheitsrelevant
120 | HD140-207 | Kugellager, abgedichtet | 3 | Stk | 2,35 | 1 | 12.05.2016 | |
130 | HD140-208 | Öl für Pumpe | 0,4 | l | 3,80 | 1 | | |
= Zwischensumme Pumpe
# Baugruppe 3: Fahrgestell
140 | HD140-301 | Rahmen, Schweißbaugruppe Stahl | 1 | Stk | 41,00 | 1 | 20.02.2017 | Erfundene Blechtechnik |
150 | HD140-302 | Rad 250 mm | 2 | Stk | 4,90 | 1 | 20.02.2017 | Erfundene Räder |
160 | HD140-303 | Lenkrolle 100 mm | 1 | Stk | 5,75 | 1 | 20.02.2017 | Erfundene Räder |
170 | HD140-304 | Achse, Drehteil | 1 | Stk | 3,40 | 1 | 20.02.2017 | Erfundene Dreherei |
180 | HD140-305 | Haube, Spritzguss ABS | 1 | Stk | 16,20 | 1 | 20.02.2017 | Erfundene Kunststoffe |
190 | HD140-306 | Schubbügel, Rohr gebogen | 1 | Stk | 9,10 | 1 | 20.02.2017 | Erfundene Blechtechnik |
200 | HD140-307 | Sechskantschraube M8 x 20 | 14 | Stk | 4,20 | 100 | 20.02.2017 | |
210 | HD140-308 | Sicherungsmutter M8 | 14 | Stk | 2,60 | 100 | 20.02.2017 | |
220 | HD140-309 | Gummifuß | 2 | Stk | 0,65 | 1 | | | Preis geschätzt
= Zwischensumme Fahrgestell
H
# Baugruppe 4: Wasser und Schlauch
230 | HD140-401 | Hochdruckschlauch DN 8, 15 m | 1 | Stk | 27,90 | 1 | 05/2017 | Erfundene Schläuche |
240 | HD140-402 | Spritzpistole | 1 | Stk | 19,40 | 1 | 05/2017 | Erfundene Pistolen |
250 | HD140-403 | Strahlrohr mit Düse | 1 | Stk | 13,30 | 1 | 05/2017 | Erfundene Pistolen |
260 | HD140-404 | Wasserfilter | 1 | Stk | 2,85 | 1 | 05/2017 | Erfundene Kunststoffe |
270 | HD140-405 | Schlauchtrommel | 1 | Stk | auf Anfrage | 1 | | Erfundene Kunststoffe | Angebot fehlt
280 | HD140-406 | Saugschlauch PVC | 1,2 | m | 1,75 | 1 | 05/2017 | Erfundene Schläuche |
290 | HD140-407 | Reinigungsmitteltank, Spritzguss | 1 | Stk | 5,95 | 1 | 05/2017 | Erfundene Kunststoffe |
300 | HD140-408 | Dosierpumpe für Reinigungsmittel, elektronisch | 1 | Stk | 34,50 | 1 | 09/2015 | Erfundene Pumpen |
310 | HD140-409 | Durchflusssensor | 1 | Stk | 7,80 | 1 | KW 14/2016 | Erfundene Sensoren |
= Zwischensumme Wasser und Schlauch
# Baugruppe 5: Elektrik
320 | HD140-501 | Steuerplatine bestückt | 1 | Stk | 26,40 | 1 | KW 14/2016 | Erfundene Elektronik |
330 | HD140-502 | Anzeige LCD | 1 | Stk | 11,90 | 1 | KW 14/2016 | Erfundene Elektronik |
340 | HD140-503 | Kabelbaum | 1 | Stk | 14,60 | 1 | 12.05.2016 | Erfundene Kabel |
350 | HD140-504 | Netzkabel mit Stecker 5 m | 1 | Stk | 9,85 | 1 | 12.05.2016 | Erfundene Kabel | sicherheitsrelevant
360 | HD140-505 | Schütz 400 V | 1 | Stk | 12,10 | 1 | 12.05.2016 | Erfundene Elektrik |
370 | HD140-506 | Taster mit Leuchte | 2 | Stk | 2,95 | 1 | 12.05.2016 | Erfundene Elektrik |
380 | HD140-507 | Kondensator | 2 | Stk | 1,00 - 1,20 | 1 | | | alt
390 | HD140-508 | Schaltkasten, Blech | 1 | Stk | 13,75 | 1 | 20.02.2017 | Erfundene Blechtechnik |
400 | HD140-509 | Anschlussklemme | 6 | Stk | 38,00 | 100 | 12.05.2016 | |
= Zwischensumme Elektrik
# Baugruppe 6: Verpackung und Sonstiges
410 | HD140-601 | Karton bedruckt | 1 | Stk | 4,65 | 1 | 14.11.2018 | Erfundene Verpackung |
420 | HD140-602 | Palette | 0,25 | Stk | 8,00 | 1 | 14.11.2018 | Erfundene Verpackung |
430 | HD140-603 | Betriebsanleitung gedruckt | 1 | Stk | 1,20 | 1 | 14.11.2018 | |
440 | HD140-604 | Aufklebersatz | 1 | Satz | 0,95 | 1 | 14.11.2018 | |
450 | HD140-605 | Kleinteile pauschal | 1 | psch | 3,00 | 1 | | |
460 | HD140-901 | Fracht | 1 | psch | 6,50 | 1 | 14.11.2018 | |
470 | HD140-902 | Arbeitslohn | 1 | psch | 22,80 | 1 | 14.11.2018 | |
= Zwischensumme Verpackung und Sonstiges
"""
REMARKS = (
    "Anmerkungen:",
    "Preise ohne Datum: aus der alten Stückliste HD 120 übernommen.",
    "Pos. 270: Lieferant hat nicht geantwortet.",
)

# article | date | price | currency | from | per year | supplier | kind
QUOTES = """
HD140-101 | 08.03.2016 | 128,40 | EUR | 500 | 3000 | Erfundene Motoren | verbindlich
HD140-101 | 17.09.2021 | 149,90 | EUR | 500 | 4500 | Erfundene Motoren | Einkauf
HD140-102 | 22.03.2016 | 14,85 | EUR | 500 | 3000 | Erfundener Guss | verbindlich
HD140-201 | 14.09.2015 | 108,40 | EUR | 250 | 3000 | Erfundene Pumpen | verbindlich
HD140-201 | 14.09.2015 | 116,20 | EUR | 50 | 3000 | Erfundene Pumpen | verbindlich
HD140-201 | 30.05.2019 | 111,75 | EUR | 250 | 4500 | Erfundene Pumpen | Einkauf
HD140-205 | 15.09.2015 | 17,20 | EUR | 250 | 3000 | Erfundene Ventile | verbindlich
HD140-301 | 20.02.2017 | 41,00 | EUR | 250 | 3000 | Erfundene Blechtechnik | verbindlich
HD140-301 | 11.01.2023 | 58,60 | EUR | 250 | 4500 | Erfundene Blechtechnik | verbindlich
HD140-305 | 20.02.2017 | 16,20 | EUR | 250 | 3000 | Erfundene Kunststoffe | Richtpreis
HD140-408 | 21.09.2015 | 34,50 | EUR | 250 | 3000 | Erfundene Pumpen | Richtpreis
HD140-409 | 05.04.2016 | 7,80 | EUR | 250 | 3000 | Erfundene Sensoren | verbindlich
HD140-409 | 19.06.2020 | 6,95 | EUR | 250 | 4500 | Erfundene Sensoren | Einkauf
HD140-501 | 06.04.2016 | 26,40 | EUR | 250 | 3000 | Erfundene Elektronik | verbindlich
HD140-501 | 24.10.2022 | 31,10 | EUR | 250 | 4500 | Erfundene Elektronik | Einkauf
HD140-502 | 06.04.2016 | 11,90 | EUR | 250 | 3000 | Erfundene Elektronik | verbindlich
HD140-503 | 12.05.2016 | 14,60 | EUR | 250 | 3000 | Erfundene Kabel | verbindlich
"""
QUOTE_HEADER = "Artikelnummer;Angebotsdatum;Preis;Währung;ab Menge;Jahresmenge;Lieferant;Art"

# article | alternative | description | price | date | remark
ALTERNATES = """
HD140-202 | ALT-202 | Pumpenkopf Aluminium-Druckguss, beschichtet | 33,90 | 09/2015 | Messing war bewährt
HD140-502 | ALT-502 | Folientastatur mit LED | 10,40 | KW 14/2016 | Anzeige gewählt
HD140-408 | ALT-408 | Venturi-Dosierung mit Magnetventil | 21,00 | 09/2015 | elektronisch gewählt, dosiert genauer
"""
ALTERNATE_HEADER = ("Artikel", "Alternative", "Bezeichnung", "Preis EUR", "Preisstand", "Bemerkung")


def rows(block: str) -> list[list[str]]:
    """Cells of a table written as a text block."""
    return [[c.strip() for c in line.split("|")] for line in block.strip().splitlines()]


def amount(text: str) -> float:
    """Number of a German notation, the middle of a range."""
    values = [float(t.replace(".", "").replace(",", ".")) for t in text.split("-")]
    return sum(values) / len(values)


def german(value: float) -> str:
    """Money in German notation."""
    return f"{value:,.2f}".translate(str.maketrans(",.", ".,"))


def bill_rows() -> list[tuple[object, ...]]:
    """Rows of the bill as the spreadsheet shows them: numbers and texts mixed, as somebody typed them."""
    result: list[tuple[object, ...]] = []
    part_sum = total = 0.0
    for k, cells in enumerate(rows(BILL)):
        first = cells[0]
        if first == "H":
            result += [(), HEADER]
        elif first.startswith("#"):
            result += [(), (first.lstrip("# "),)]
        elif first.startswith("="):
            result.append((None, None, first.lstrip("= "), *[None] * 6, round(part_sum, 2)))
            part_sum = 0.0
        else:
            pos, article, what, qty, unit, price, per, day, supplier, remark = (*cells, "")[:10]
            known, counts = price != "auf Anfrage", not remark.startswith("alternativ")
            cost = round(amount(price) / float(per) * amount(qty), 2) if known and counts else None
            as_text = not known or "-" in price or k % 3 == 0  # every third price was typed as text
            typed = f"{price} €" if known and k % 9 == 0 else price if as_text else amount(price)
            given = (typed, int(per), when(day), supplier, cost, remark)
            result.append((int(pos), article, what, amount(qty), unit, *given))
            part_sum, total = part_sum + (cost or 0.0), total + (cost or 0.0)
    return [*result, (), (None, None, "Gesamtsumme Material je Gerät", *[None] * 6, round(total, 2)), ()]


def when(text: str) -> object:
    """A date where the office wrote one that its program understood, else the text."""
    parts = text.split(".")
    return date(int(parts[2]), int(parts[1]), int(parts[0])) if len(parts) == 3 else text  # noqa: PLR2004


def write_bill(path: Path) -> None:
    """Workbook with a cover sheet before the bill."""
    book = xlsxwriter.Workbook(path, {"in_memory": True})
    book.set_properties({"title": TITLES[0], "created": STAMP})
    bold, day = book.add_format({"bold": True, "text_wrap": True}), book.add_format({"num_format": "dd.mm.yyyy"})
    cover = book.add_worksheet("Deckblatt")
    for r, text in enumerate((*TITLES, "Verteiler: Einkauf, Technik, Geschäftsführung")):
        cover.write(r + 1, 1, text)
    sheet = book.add_worksheet("Stückliste")
    for r, text in enumerate(TITLES):
        sheet.write(r, 0, text, bold)
    sheet.write_row(5, 0, HEADER, bold)
    table = bill_rows()
    for r, cells in enumerate(table, start=6):
        for c, value in enumerate(cells):
            if isinstance(value, date):
                sheet.write_datetime(r, c, datetime.combine(value, time()), day)
            elif value not in (None, ""):
                sheet.write(r, c, value, bold if len(cells) == 1 or cells is HEADER else None)
    for r, text in enumerate(REMARKS, start=6 + len(table)):
        sheet.write(r, 0, text)
    for c, width in enumerate((6, 12, 44, 7, 6, 12, 6, 12, 24, 10, 24)):
        sheet.set_column(c, c, width)
    book.close()


def write_alternates(path: Path) -> None:
    """Workbook of the alternatives that were once looked at."""
    book = xlsxwriter.Workbook(path, {"in_memory": True})
    book.set_properties({"title": "Alternativen (erfunden)", "created": STAMP})
    sheet = book.add_worksheet("Alternativen")
    sheet.write(0, 0, "Geprüfte Alternativen HD 140 K (ERFUNDENE DATEN)")
    sheet.write_row(2, 0, ALTERNATE_HEADER)
    for r, (article, other, what, price, day, remark) in enumerate(rows(ALTERNATES), start=3):
        sheet.write_row(r, 0, (article, other, what, amount(price), day, remark))
    book.close()


def build(out: Path) -> None:
    """Write the data files of the sample audit into a folder."""
    write_bill(out / "Stueckliste_HD140.xlsx")
    write_alternates(out / "Alternativen.xlsx")
    text = "\n".join([QUOTE_HEADER, *(";".join(cells) for cells in rows(QUOTES))]) + "\n"
    (out / "Angebote.csv").write_bytes(text.replace("\n", "\r\n").encode("cp1252"))


if __name__ == "__main__":
    arguments = argparse.ArgumentParser(description="Write the files of the sample audit pressure_washer_messy again.")
    arguments.add_argument("--out", type=Path, default=HERE / "pressure_washer_messy")
    given = arguments.parse_args()
    given.out.mkdir(parents=True, exist_ok=True)
    build(given.out)
