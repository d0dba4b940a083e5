"""The trade words by which an order book is understood: headers, units, kinds of work.

Promises: one readable table for each; matching is in `columns` and `kinds`. The words
are common practice, no source.

May import nothing but the standard library.
"""

from __future__ import annotations

from typing import Final

__all__ = ["FIELDS", "FLAGS", "HEADERS", "KEY_WORDS", "LENGTH_UNITS", "OTHER_THINGS"]

#: What an order book can tell, in the order in which it is shown.
FIELDS: Final = (
    "date", "type", "description", "quantity", "width", "height", "size",
    "print", "laminate", "cut", "price",
)  # fmt: skip

#: The fields that are yes or no.
FLAGS: Final = ("print", "laminate", "cut")

#: Header words by field, the surest first: English, then German, French, Spanish.
HEADERS: Final[dict[str, tuple[str, ...]]] = {
    "date": (
        "order date", "date ordered", "ordered on", "ordered", "date", "order day", "date received",
        "received", "booked", "created", "entered", "invoice date", "invoiced",
        "auftragsdatum", "bestelldatum", "datum", "date de commande", "fecha de pedido", "fecha",
    ),
    "type": (
        "job type", "type of job", "order type", "work type", "type of work", "kind of work",
        "product type", "job kind", "type", "kind", "category", "product", "job class", "class",
        "auftragsart", "produktart", "art", "produkt", "kategorie", "type de travail", "categorie",
        "tipo de trabajo", "tipo", "producto",
    ),
    "description": (
        "description", "job description", "desc", "details", "job", "job name", "title", "item",
        "what", "subject", "specification", "spec",
        "beschreibung", "bezeichnung", "artikel", "designation", "libelle", "descripcion",
    ),
    "quantity": (
        "quantity", "qty", "pieces", "pcs", "no of pieces", "number of pieces", "number off",
        "copies", "count", "pieces ordered", "units", "off",
        "menge", "anzahl", "stuck", "stk", "stueck", "quantite", "qte", "cantidad", "cant",
    ),
    "width": (
        "width", "piece width", "finished width", "w", "wide", "breite", "b", "largeur", "ancho",
    ),
    "height": (
        "height", "piece height", "finished height", "h", "length", "piece length", "high", "long",
        "l", "drop", "hohe", "hoehe", "lange", "laenge", "hauteur", "longueur", "alto", "largo",
    ),
    "size": (
        "size", "finished size", "piece size", "dimensions", "dims", "w x h", "width x height",
        "format", "grosse", "masse", "abmessungen", "dimensiones", "medidas",
    ),
    "print": (
        "print", "printed", "printing", "druck", "gedruckt", "drucken", "impression", "imprime",
        "impreso", "impresion",
    ),
    "laminate": (
        "laminate", "laminated", "lamination", "lam", "overlaminate", "overlam", "lamd",
        "laminiert", "laminat", "laminieren", "laminierung", "lamine", "laminado",
    ),
    "cut": (
        "cut", "contour cut", "contour", "cutting", "kiss cut", "plotted", "plot",
        "schnitt", "konturschnitt", "geschnitten", "schneiden", "plotten", "decoupe", "corte",
        "cortado",
    ),
    "price": (
        "order total", "total price", "order value", "price", "net total", "total net", "net price",
        "order price", "net", "total", "value", "amount", "sale", "sales", "revenue",
        "gesamtpreis", "auftragswert", "nettopreis", "netto", "preis", "betrag", "umsatz", "summe",
        "prix total", "prix", "montant", "precio total", "precio", "importe",
    ),
}  # fmt: skip

#: A header with one of these words is another thing, unless the whole header is a known phrase.
OTHER_THINGS: Final[dict[str, frozenset[str]]] = {
    "date": frozenset(
        [
            "due",
            "delivery",
            "deliver",
            "delivered",
            "ship",
            "shipped",
            "shipping",
            "required",
            "promised",
            "proof",
            "paid",
            "payment",
            "install",
            "installed",
            "approved",
            "quote",
            "quoted",
            "liefer",
            "lieferdatum",
            "livraison",
            "entrega",
        ]
    ),
    "type": frozenset(["customer", "client", "payment", "film", "media", "vinyl", "ink"]),
    "description": frozenset(["number", "no", "nr", "id", "customer", "client"]),
    "quantity": frozenset(["price", "cost", "per", "unit", "each"]),
    "width": frozenset(["roll", "media", "film", "bleed", "unit"]),
    "height": frozenset(["roll", "media", "film", "bleed", "unit", "text", "letter", "time"]),
    "size": frozenset(["file", "roll", "media"]),
    "print": frozenset(["time", "date", "cost", "price", "hours", "min", "minutes", "file", "by"]),
    "laminate": frozenset(
        ["time", "date", "cost", "price", "hours", "min", "minutes", "film", "type"]
    ),
    "cut": frozenset(["time", "date", "cost", "price", "hours", "min", "minutes", "file", "by"]),
    "price": frozenset(
        [
            "unit",
            "each",
            "per",
            "cost",
            "costs",
            "list",
            "material",
            "materials",
            "purchase",
            "bought",
            "tax",
            "vat",
            "gross",
            "discount",
            "deposit",
            "paid",
            "piece",
            "pc",
            "m2",
            "sqm",
            "ft2",
            "sqft",
            "stuckpreis",
            "einzelpreis",
            "einzel",
            "unitaire",
            "unitario",
            "mwst",
            "ust",
            "tva",
            "iva",
            "quantity",
            "qty",
            "no",
            "number",
        ]
    ),
}

#: Spelling of a length unit in headers and cells -> the unit in pint's words.
LENGTH_UNITS: Final[dict[str, str]] = {
    "mm": "mm", "millimetre": "mm", "millimetres": "mm", "millimeter": "mm", "millimeters": "mm",
    "cm": "cm", "centimetre": "cm", "centimetres": "cm", "centimeter": "cm", "centimeters": "cm",
    "m": "m", "metre": "m", "metres": "m", "meter": "m", "meters": "m", "mtr": "m",
    "in": "in", "inch": "in", "inches": "in", "ins": "in", "zoll": "in", '"': "in", "″": "in",
    "”": "in", "''": "in",
    "ft": "ft", "foot": "ft", "feet": "ft", "'": "ft", "′": "ft", "’": "ft", "fuss": "ft",
    "yd": "yd", "yard": "yd", "yards": "yd",
}  # fmt: skip

#: Kind by trade words in a description, the more telling kinds first.
KEY_WORDS: Final[dict[str, tuple[str, ...]]] = {
    "transfers": ("transfer", "shirt", "garment", "hoodie", "workwear"),
    "floor graphics": ("floor",),
    "window graphics": ("window", "glass", "frosted", "perf", "perforated"),
    "wall graphics": ("wall", "mural", "wallpaper"),
    "vehicle wraps": ("wrap", "wrapping"),
    "badges": ("badge", "emblem"),
    "stickers": ("sticker", "label", "decal", "seal"),
    "vehicle graphics": ("vehicle", "van", "car", "truck", "fleet", "livery", "trailer", "bus"),
    "banners": ("banner", "mesh"),
    "flags": ("flag", "pennant"),
    "posters": ("poster", "print", "canvas"),
    "stands": ("stand", "rollup", "display"),
    "magnets": ("magnet", "magnetic"),
    "boards and signs": ("board", "panel", "sign", "signboard", "fascia", "plate"),
    "lettering": ("letter", "lettering", "text", "number", "numeral", "logo"),
}
