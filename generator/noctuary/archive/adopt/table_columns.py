"""Which column of a person's table holds what: by its usual headings in several languages, or as the person maps
it."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, Sequence
from pathlib import Path

from noctuary.archive.adopt.table_rows import TableFault
from noctuary.archive.did_you_mean import meant

#: What a column can hold → the headings that people give it: English, German, French, Spanish, Italian, Dutch.
HEADINGS: Mapping[str, str] = {
    "file": "file | files | filename | file name | picture | picture file | image | image file | jpg | datei "
    "| dateiname | bild "
    "| bilddatei | fichier | nom de fichier | nom du fichier | archivo | nombre de archivo | fichero | file immagine "
    "| nome file | nome del file | bestand | bestandsnaam",
    "title": "title | titel | titre | título | titolo | bildtitel",
    "objects": "object | objects | target | targets | objekt | objekte | ziel | objet | objets | cible | objeto "
    "| objetos | oggetto | oggetti | soggetto | doel | doelwit",
    "night": "night | date taken | capture date | captured | date captured | taken on | shot on "
    "| date of capture | nacht "
    "| aufnahmedatum | aufgenommen | aufnahme | nuit | date de prise de vue | noche | fecha de captura | notte "
    "| data di ripresa | opnamedatum | datum opname | date obs",
    "date": "date | datum | fecha | data",
    "finished": "finished | processed | date processed | processing date | completed | fertig "
    "| fertiggestellt | bearbeitet "
    "| terminé | traité | terminado | procesado | finito | elaborato | klaar | voltooid | year | jahr | année "
    "| año | anno "
    "| jaar",
    "rig": "rig | setup | equipment | gear | ausrüstung | aufbau | équipement | setup utilisé | equipo "
    "| attrezzatura "
    "| uitrusting",
    "camera": "camera | kamera | appareil | appareil photo | caméra | cámara | fotocamera | sensor",
    "optic": "optic | optics | lens | telescope | scope | teleskop | objektiv | optik | télescope | lunette "
    "| objectif "
    "| optique | telescopio | objetivo | óptica | obiettivo | ottica | telescoop | lens telescope",
    "focal_length": "focal length | brennweite | focale | longueur focale | distancia focal | lunghezza focale "
    "| brandpuntsafstand",
    "f_ratio": "f ratio | f number | f stop | aperture ratio | öffnungsverhältnis | blende | rapport f d "
    "| relación focal "
    "| rapporto focale",
    "place": "place | location | site | observing site | where | ort | standort | beobachtungsort | lieu | site "
    "d observation | lugar | ubicación | luogo | sito | plaats | locatie",
    "exposure": "exposure | sub exposure | sub length | exposure time | sub | seconds | belichtung "
    "| einzelbelichtung "
    "| belichtungszeit | pose | temps de pose | pose unitaire | exposición | tiempo de exposición "
    "| esposizione | posa "
    "| belichtingstijd | belichting",
    "kept": "kept | frames | subs | number of subs | number of frames | count | subs kept | no of subs | of subs "
    "| anzahl | anzahl bilder | einzelbilder | aufnahmen | nombre de poses | poses | nombre | tomas "
    "| número de tomas "
    "| pose numero | numero pose | scatti | aantal | aantal opnames",
    "frames": "exposures | frames x exposure | integration detail | subs x exposure | belichtungen "
    "| tomas x exposición",
    "integration": "integration | total | total exposure | total integration | integration time | total time "
    "| total hours "
    "| hours | gesamtbelichtung | gesamtbelichtungszeit | gesamtzeit | stunden | integrationszeit | temps total "
    "| intégration | heures | integración | tiempo total | horas | integrazione | tempo totale | ore | totale "
    "belichtingstijd | integratietijd | uren",
    "filter": "filter | filters | filtre | filtres | filtro | filtros | filtri",
    "iso": "iso | iso speed | empfindlichkeit",
    "gain": "gain | verstärkung",
    "sensor_temperature": "sensor temperature | temperature | sensor temp | temp | sensortemperatur | temperatur "
    "| température | temperatura | temperatuur",
    "sky_brightness": "sqm | sky brightness | himmelshelligkeit",
    "description": "description | notes | note | comment | comments | remarks | beschreibung | notizen | bemerkung "
    "| bemerkungen | kommentar | remarques | commentaires | notas | comentarios | descripción | descrizione "
    "| commenti "
    "| opmerkingen | beschrijving",
    "tags": "tags | keywords | stichworte | schlagworte | mots clés | etiquetas | parole chiave | trefwoorden",
}


def folded(text: str) -> str:
    """A heading or a name in lower-case letters and digits, accents and separators gone.

    >>> folded("Exposure (s)"), folded("Öffnungs-Verhältnis")
    ('exposure s', 'offnungs verhaltnis')
    """
    letters = "".join(c for c in unicodedata.normalize("NFKD", text.casefold()) if not unicodedata.combining(c))
    return " ".join(re.sub(r"[^0-9a-z\u00df-\uffff]+", " ", letters).split())


_UNITS: Mapping[str, float] = {
    **dict.fromkeys(("s", "sec", "secs", "seconds", "sekunden", "secondes", "segundos", "secondi", "seconden"), 1.0),
    **dict.fromkeys(("min", "mins", "minutes", "minuten", "minutos", "minuti", "m"), 60.0),
    **dict.fromkeys(("h", "hr", "hrs", "hours", "std", "stunden", "heures", "horas", "ore", "uren"), 3600.0),
}
_KEY_OF = {folded(name): key for key, names in HEADINGS.items() for name in names.split("|")}


def columns(headings: Sequence[str], chosen: Mapping[str, str]) -> dict[str, int]:
    """Key → the number of its column. What the person chose comes first, then the first heading that fits.

    Raises :class:`TableFault` where a chosen heading is not there, or where no column names the files.
    """
    found: dict[str, int] = {}
    plain = [folded(heading) for heading in headings]
    for key, heading in chosen.items():
        if folded(heading) not in plain:
            raise TableFault(
                f"no column is headed “{heading[:60]}”",
                meant(heading, [h for h in headings if h], "see its first row"),
            )
        found[key] = plain.index(folded(heading))
    for number, heading in enumerate(plain):
        fitting = _KEY_OF.get(heading) or _KEY_OF.get(_without_unit(heading))
        if fitting is not None and number not in found.values():
            found.setdefault(fitting, number)
    if "file" not in found:
        names = ", ".join(f"“{h}”" for h in headings if h)[:300]
        raise TableFault(
            f"no column holds the names of the files (there are {names})",
            "head it “file”, or write file: HEADING into a file and name that with --columns",
        )
    return found


def _without_unit(heading: str) -> str:
    name, _, unit = heading.rpartition(" ")
    return name if unit in _UNITS or unit in ("mm", "c", "px") else heading


def seconds_of_unit(heading: str) -> float | None:
    """How many seconds are one of the unit of time that a heading ends with: ``Total (h)`` 3600; else ``None``."""
    return _UNITS.get(folded(heading).rpartition(" ")[2])


def read_choices(path: Path) -> dict[str, str]:
    """The columns that a person maps: a text of lines ``key: heading``.

    Raises :class:`TableFault` where a key is none that a column can hold, and OSError.
    """
    chosen: dict[str, str] = {}
    for number, line in enumerate(path.read_bytes().decode("utf-8-sig", "replace").splitlines(), start=1):
        bare = line.strip()
        if not bare or bare.startswith("#"):
            continue
        key, colon, heading = (part.strip() for part in bare.partition(":"))
        heading = heading.strip("\"'")
        if not colon or not heading:
            raise TableFault(f"{path.name}:{number}: a line is key: heading", "such as  file: Dateiname")
        if key not in HEADINGS:
            raise TableFault(
                f"{path.name}:{number}: no column can hold “{key[:40]}”",
                meant(key, list(HEADINGS), f"known are {', '.join(HEADINGS)}"),
            )
        chosen[key] = heading
    return chosen
